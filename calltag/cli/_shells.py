"""What the shells of Windows do otherwise than others, and what they leave undone."""

from __future__ import annotations

import glob
import os
import shlex
import subprocess
from collections.abc import Sequence
from pathlib import Path

from calltag.errors import InputError
from calltag.paths import is_there

_ON_WINDOWS = os.name == "nt"
_MOST_WORDS = 20  # in a name


def as_meant(rushes: Sequence[Path], *, on_windows: bool = _ON_WINDOWS) -> list[Path]:
    """Return rushes as they were meant: shells of Windows leave patterns to the program.

    They also hand over a quotation mark, which no name there can have, where a folder in quotes
    ends in a backslash.
    """
    if on_windows:
        rushes = [Path(str(one).removesuffix('"')) for one in rushes]
    found = [
        () if is_there(one) else sorted(glob.glob(os.path.expanduser(one)))  # noqa: PTH111, PTH207
        for one in rushes
    ]
    return [
        Path(name) for one, names in zip(rushes, found, strict=True) for name in names or (one,)
    ]


def refuse_split(rushes: Sequence[Path]) -> None:
    """Refuse a name that the shell has split at its spaces, since it was not in quotes."""
    for start, first in enumerate(rushes):
        if is_there(first):
            continue
        for end in range(start + 2, min(start + _MOST_WORDS, len(rushes)) + 1):
            whole = Path(" ".join(map(str, rushes[start:end])))
            if is_there(whole):
                raise InputError(f'{whole}: put a name that has spaces in quotes: "{whole}"')


def as_typed(command: Sequence[str], *, on_windows: bool = _ON_WINDOWS) -> str:
    """Write a command as one would type it: Windows knows no single quotes."""
    return subprocess.list2cmdline(command) if on_windows else shlex.join(command)
