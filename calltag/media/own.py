"""Files that calltag made of takes: they are no takes, wherever they lie.

Each says so itself, in the field that its format has for it: a wave file in its broadcast extension
(EBU Tech 3285), as originator or, where it keeps what a recorder wrote there, in a line of the
coding history; a Matroska file as the application that wrote it.
"""

from __future__ import annotations

from pathlib import Path

from calltag.errors import MediaError
from calltag.media.wave_files.bext import ORIGINATOR, read_bext

HISTORY_TEXT = f"T={ORIGINATOR}"
"""Begins the free text of a line of coding history (EBU R 98)."""

_MATROSKA_SUFFIXES = frozenset((".mkv", ".mka"))

_WRITING_APP = b"\x57\x41" + bytes([0x80 | len(ORIGINATOR)]) + ORIGINATOR.encode()
"""The element WritingApp (RFC 9559, clause 5.1.2.15), which lies among the first of a file."""

_HEAD_BYTES = 4096


def is_own(path: Path) -> bool:
    """Tell whether calltag made a file: a bed, a treated take, a cut, a copy with markers.

    Parameters
    ----------
    path : Path
        Any file.

    Returns
    -------
    bool
        Whether it says so; False where it cannot be read.
    """
    suffix = path.suffix.lower()
    try:
        if suffix in _MATROSKA_SUFFIXES:
            with path.open("rb") as file:
                return _WRITING_APP in file.read(_HEAD_BYTES)
        bext = read_bext(path) if suffix == ".wav" else None
    except (MediaError, OSError):
        return False
    return bext is not None and (bext.originator == ORIGINATOR or HISTORY_TEXT in bext.history)
