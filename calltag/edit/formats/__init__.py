"""Formats that markers are written in, one module each.

Each module here is a format, and is found by being here; `Format` says what it has to offer. They
agree on frames because all take them from `calltag.edit.markers.place` or, for a take that is not
played at its own speed, from `calltag.edit.retime.place_played`. What those share that write a file
for each take is in `calltag.edit.take_files`.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, cast

from calltag.edit.markers import TakeMarkers
from calltag.errors import InputError
from calltag.paths import is_folder
from calltag.records.take import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class WriteOptions:
    """How to write markers.

    Attributes
    ----------
    title : str
        Name of the timeline or list; the file's own name when empty.
    record_start : str
        Timecode that files with `Format.OWN_START` begin at.
    replace : bool
        Whether existing files may be replaced.
    on_problem : callable or None
        Told of each take that cannot be read, whose own file cannot be written, or that the format
        cannot count, so that the others are still written; None raises instead.
    on_note : callable or None
        Told, in a sentence, what an editor should know of a file that was written.
    """

    title: str = ""
    record_start: str = "01:00:00:00"
    replace: bool = False
    on_problem: Callable[[Problem], None] | None = None
    on_note: Callable[[str], None] | None = None


class Format(Protocol):
    """What each module of this package offers."""

    NAME: str
    """What `--as` calls it."""

    SUFFIX: str
    """Suffix of its files."""

    PER_TAKE: bool
    """Whether it writes a file for each take, into a folder."""

    OWN_START: bool
    """Whether its files begin at a timecode of their own."""

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
        If there is none of that name or suffix, or the two contradict each other.
    """
    formats = all_formats()
    if name is not None:
        if name not in formats:
            raise InputError(f"format {name!r}: there is {', '.join(formats)}; choose one of these")
        told = _of_suffix(out)
        if told is not None and name != told.NAME and not is_folder(out):
            raise InputError(
                f"{out}: ends as {told.NAME} does, and --as says {name}; change one of the two"
            )
        return formats[name]
    if not out.suffix or is_folder(out):
        return formats["webvtt"]
    told = _of_suffix(out)
    if told is not None:
        return told
    files = ", ".join(f.SUFFIX for f in formats.values() if not f.PER_TAKE)
    raise InputError(f"{out}: end the name in one of {files}, name a folder, or choose with --as")


def _of_suffix(out: Path) -> Format | None:
    """Find the format of one file whose suffix a name has."""
    for candidate in all_formats().values():
        if out.suffix.lower() == candidate.SUFFIX and not candidate.PER_TAKE:
            return candidate
    return None
