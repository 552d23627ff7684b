"""Names that files have until they are complete, and what killed runs left under them."""

from __future__ import annotations

import itertools
import os
import re
import shutil
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

STALE_S = 600.0
"""What nobody has written to for so long, half written, was left by a run that was killed."""

_numbers = itertools.count(1)
_NAME = re.compile(r"\.\d+-\d+\.part")
_swept: set[Path] = set()


def partial_path(path: Path) -> Path:
    """Name the place, beside a file or folder, where it is written until it is complete.

    Parameters
    ----------
    path : Path
        The file or folder.

    Returns
    -------
    Path
        A hidden place that nothing else has; its name is short whatever the other's is.
    """
    return path.with_name(f".{os.getpid()}-{next(_numbers)}.part")


def sweep(folder: Path, *, below: bool = False) -> None:
    """Remove what killed runs left half written; what cannot be removed stays.

    Parameters
    ----------
    folder : Path
        Where to look; it need not be there.
    below : bool
        Whether to look in the folders in it, too.
    """
    with suppress(OSError):
        found = list(folder.rglob(".*.part") if below else folder.glob(".*.part"))
        if partials := [partial for partial in found if _NAME.fullmatch(partial.name)]:
            now_s = _now_s(folder)
            for partial in partials:
                remove_stale(partial, STALE_S, now_s)


def _now_s(folder: Path) -> float:
    """What the clock is that a disk dates files by: a share's may go otherwise than ours."""
    trial = partial_path(folder / "now")
    try:
        trial.touch(exist_ok=False)
        return trial.stat().st_mtime
    finally:
        trial.unlink(missing_ok=True)


def sweep_once(folder: Path) -> None:
    """Do what `sweep` does, once for each folder while the program runs.

    Parameters
    ----------
    folder : Path
        Where to look.
    """
    place = folder.absolute()
    if place not in _swept:
        _swept.add(place)
        sweep(place)


def remove_stale(partial: Path, stale_s: float, now_s: float | None = None) -> None:
    """Remove a file or folder that nobody has written to for long; what cannot be removed stays.

    Parameters
    ----------
    partial : Path
        The file, or the folder and all in it.
    stale_s : float
        How long that is, in seconds.
    now_s : float or None
        The time by the clock of its disk, in seconds of the epoch; by default that of this
        computer.
    """
    with suppress(OSError):
        if (time.time() if now_s is None else now_s) - max(_touched(partial)) <= stale_s:
            return
        if partial.is_dir() and not partial.is_symlink():
            shutil.rmtree(partial, ignore_errors=True)
        else:
            partial.unlink()


def _touched(partial: Path) -> Iterator[float]:
    """When something was last written there: the file, or the folder and all in it."""
    yield partial.lstat().st_mtime
    for inside in partial.rglob("*"):
        yield inside.lstat().st_mtime
