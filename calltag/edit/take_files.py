"""Formats that write a file for each take: names, refusals, and a take that fails alone."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from calltag.edit.formats import WriteOptions
from calltag.edit.markers import TakeMarkers
from calltag.errors import InputError, MediaError, WriteError, reason_of
from calltag.overwriting import refuse_existing, refuse_footage
from calltag.paths import folded, is_folder, is_there
from calltag.records.take import Problem

_DRIVE = re.compile(r"(?<![^/])([A-Za-z]):(?=/)")


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
    refuse_existing(paths, replace=options.replace, named="folder")
    make_folder(out)
    written = []
    for path, source, one in zip(paths, sources, marked, strict=True):
        with surviving(one, options):
            copy(source, path, one)
            written.append(path)
    return written


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
        raise WriteError(out, reason_of(error)) from error


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
    takes = [_below(one.take.path) for one in take_markers]
    paths = [out / Path(take).with_suffix(suffix) for take in takes]
    in_full = [out / f"{take}{suffix}" for take in takes]
    while True:  # a name in full may be that of another take without its suffix
        counts = Counter(map(folded, paths))
        apart = [
            path if counts[folded(path)] == 1 else whole
            for path, whole in zip(paths, in_full, strict=True)
        ]
        if apart == paths:
            return paths
        paths = apart


def _below(take: str) -> str:
    """The name of a take as a path below any folder, also where it tells the drive or share."""
    return _DRIVE.sub(r"\1", take).lstrip("/")
