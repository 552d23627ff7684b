"""Formats that markers are written in, one module each.

A module here is a format when it has a `NAME`; `Format` says what else it has to offer. It is found
by being here. Formats agree on frames because all take them from `calltag.edit.markers.place` or,
for a take that is not played at its own speed, from `calltag.edit.retime.place_played`.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, cast

from calltag.edit.markers import TakeMarkers
from calltag.errors import InputError, MediaError, WriteError
from calltag.files import is_folder, is_there, refuse_existing
from calltag.records import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class WriteOptions:
    """How to write markers.

    Attributes
    ----------
    title : str
        Name of the timeline or list; the file's own name when empty.
    record_start : str
        Timecode that timelines and edit lists begin at.
    replace : bool
        Whether existing files may be replaced.
    on_problem : callable or None
        Told of each take that cannot be read, or whose own file cannot be written, so that the
        others are still written; None raises instead.
    """

    title: str = ""
    record_start: str = "01:00:00:00"
    replace: bool = False
    on_problem: Callable[[Problem], None] | None = None


class Format(Protocol):
    """What each module of this package offers."""

    NAME: str
    """What `--as` calls it."""

    SUFFIX: str
    """Suffix of its files."""

    PER_TAKE: bool
    """Whether it writes a file for each take, into a folder."""

    def write(
        self, take_markers: Sequence[TakeMarkers], out: Path, options: WriteOptions
    ) -> list[Path]:
        """Write markers and return the files written."""
        ...


def all_formats() -> dict[str, Format]:
    """Find the formats.

    Returns
    -------
    dict of str to Format
        Each by its name, in order of names.
    """
    found = {}
    for module in pkgutil.iter_modules(__path__):
        loaded = importlib.import_module(f"{__name__}.{module.name}")
        if hasattr(loaded, "NAME"):
            found[loaded.NAME] = cast(Format, loaded)
    return dict(sorted(found.items()))


def choose_format(out: Path, name: str | None = None) -> Format:
    """Choose the format that an output is to be written in.

    Parameters
    ----------
    out : Path
        The file, whose suffix tells the format, or a folder, which means WebVTT.
    name : str or None
        The format's name, where it is told.

    Returns
    -------
    Format
        The format.

    Raises
    ------
    InputError
        If there is none of that name or suffix.
    """
    formats = all_formats()
    if name is not None:
        if name not in formats:
            raise InputError(f"format {name!r}: there is {', '.join(formats)}")
        return formats[name]
    if not out.suffix or is_folder(out):
        return formats["webvtt"]
    for candidate in formats.values():
        if out.suffix.lower() == candidate.SUFFIX and not candidate.PER_TAKE:
            return candidate
    files = ", ".join(f.SUFFIX for f in formats.values() if not f.PER_TAKE)
    raise InputError(f"{out}: end the name in one of {files}, name a folder, or choose with --as")


def check_own_speed(take_markers: Sequence[TakeMarkers], what: str) -> None:
    """Refuse takes that are not played at their own speed, for formats that copy the take.

    Parameters
    ----------
    take_markers : sequence of TakeMarkers
        Takes and their markers.
    what : str
        What is written, for the sentence.

    Raises
    ------
    InputError
        If one is conformed or has a speed.
    """
    for one in take_markers:
        if one.speed != 1 or one.conformed_from is not None:
            raise InputError(
                f"{one.take.path}: {what} plays at the take's own speed;"
                " leave out --speed and --conform"
            )


@contextmanager
def surviving(one: TakeMarkers, options: WriteOptions) -> Iterator[None]:
    """Go on with the other takes where one cannot be read or written, if the options want that.

    Parameters
    ----------
    one : TakeMarkers
        The take that is about to be read, and its markers written.
    options : WriteOptions
        Whom to tell.

    Raises
    ------
    MediaError
        If the take cannot be read and nobody wants to be told.
    WriteError
        If its markers cannot be written and nobody wants to be told.
    """
    try:
        yield
    except (MediaError, WriteError) as error:
        if options.on_problem is None:
            raise
        reason = error.reason
        if isinstance(error, WriteError):
            reason = f"{error.path} cannot be written ({reason})"
        options.on_problem(Problem(path=one.take.path, reason=reason))


def write_copies(
    marked: Sequence[TakeMarkers],
    paths: Sequence[Path],
    out: Path,
    options: WriteOptions,
    copy: Callable[[Path, Path, TakeMarkers], None],
) -> list[Path]:
    """Write a copy of each take; all names are looked at before the first is written.

    Parameters
    ----------
    marked : sequence of TakeMarkers
        Takes and their markers.
    paths : sequence of Path
        A file for each.
    out : Path
        The folder they go into.
    options : WriteOptions
        Whether existing files may be replaced, and whom to tell of a take that cannot be copied.
    copy : callable
        Copies one take; is given the take's file, the file to write, and its markers.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        If a path is a take's, or a file exists already or cannot be written.
    MediaError
        If a take cannot be read and nobody wants to be told.
    """
    sources = [one.take.file for one in marked]
    refuse_footage(paths, sources)
    refuse_existing(paths, replace=options.replace)
    make_folder(out)
    written = []
    for path, source, one in zip(paths, sources, marked, strict=True):
        with surviving(one, options):
            copy(source, path, one)
            written.append(path)
    return written


def refuse_footage(paths: Sequence[Path], sources: Sequence[Path]) -> None:
    """Make sure that no take is overwritten by its copy.

    Parameters
    ----------
    paths : sequence of Path
        Files that are about to be written.
    sources : sequence of Path
        The takes.

    Raises
    ------
    InputError
        If one is the other.
    """
    footage = {source.resolve() for source in sources}
    for path in paths:
        if path.resolve() in footage:
            raise InputError(
                f"{path}: this is a take, which is never written to; name one outside the rushes"
            )


def make_folder(out: Path) -> None:
    """Make the folder that a file for each take goes into.

    Parameters
    ----------
    out : Path
        The folder; it may be there already.

    Raises
    ------
    WriteError
        If it cannot be made, so that no take could be written.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WriteError(out, (error.strerror or str(error)).lower()) from error


def per_take_paths(take_markers: Sequence[TakeMarkers], out: Path, suffix: str) -> list[Path]:
    """Name a file for each take.

    Parameters
    ----------
    take_markers : sequence of TakeMarkers
        Takes and their markers.
    out : Path
        The folder; takes keep their folders below it.
    suffix : str
        Suffix of the files, in place of the take's; after it, where two takes would share a name.

    Returns
    -------
    list of Path
        One for each take.

    Raises
    ------
    InputError
        If `out` is a file.
    """
    if is_there(out) and not is_folder(out):
        raise InputError(f"{out}: this is a file; name a folder, one file is written for each take")
    plain = [out / Path(one.take.path).with_suffix(suffix) for one in take_markers]
    folded = [str(path).casefold() for path in plain]  # some disks take a.vtt and A.vtt for one
    return [
        path if folded.count(name) == 1 else out / f"{one.take.path}{suffix}"
        for path, name, one in zip(plain, folded, take_markers, strict=True)
    ]
