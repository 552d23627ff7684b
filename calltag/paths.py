"""What lies at a path, and whether two paths are of one file: asked so that no answer raises."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from calltag.spelling import one_spelling


def is_there(path: Path) -> bool:
    """Tell whether there is a file or folder; none can be where the name is too long.

    Parameters
    ----------
    path : Path
        Any path.

    Returns
    -------
    bool
        Whether there is one.
    """
    return _answer(path.exists)


def is_file(path: Path) -> bool:
    """Tell whether there is a file; none can be where the name is too long.

    Parameters
    ----------
    path : Path
        Any path.

    Returns
    -------
    bool
        Whether there is one; False where the folder may not be entered, too.
    """
    return _answer(path.is_file)


def is_folder(path: Path) -> bool:
    """Tell whether there is a folder; none can be where the name is too long.

    Parameters
    ----------
    path : Path
        Any path.

    Returns
    -------
    bool
        Whether there is one.
    """
    return _answer(path.is_dir)


def is_link(path: Path) -> bool:
    """Tell whether a path is a link; none can be told where its disk gives no answer.

    Parameters
    ----------
    path : Path
        Any path.

    Returns
    -------
    bool
        Whether it is one; False where the folder may not be entered, too.
    """
    return _answer(path.is_symlink)


def _answer(ask: Callable[[], bool]) -> bool:
    """What the disk answers; no where it gives no answer."""
    try:
        return ask()
    except OSError:
        return False


def folded(path: str | Path) -> str:
    """Spell a path so that two that may be one file read alike.

    Most disks of Macs and Windows take ``A.MP4`` and ``a.mp4`` for one name, and those of Macs take
    ``é`` for the same however it is stored.

    Parameters
    ----------
    path : str or Path
        Any path.

    Returns
    -------
    str
        Its small letters, every accent with its letter.

    Examples
    --------
    >>> folded("Card/Cafe\u0301.MP4") == folded("card/caf\u00e9.mp4")
    True
    """
    return one_spelling(str(path).casefold())


def is_one(path: str | Path, other: str | Path) -> bool:
    """Tell whether two paths are of one file or folder, as its disk has it.

    Parameters
    ----------
    path, other : str or Path
        Absolute paths without links.

    Returns
    -------
    bool
        Whether they are spelt alike, or differ in what `folded` leaves out and lead to the same.
    """
    if str(path) == str(other):
        return True
    try:
        return folded(path) == folded(other) and Path(path).samefile(other)
    except OSError:
        return False


def printable(text: str) -> str:
    r"""Make of a file's name a text that can be stored and printed.

    Parameters
    ----------
    text : str
        The name; on some systems it need be no valid Unicode.

    Returns
    -------
    str
        The same, with U+FFFD for each byte that is no text; so it differs where there is one.

    Examples
    --------
    >>> printable(os.fsdecode(b"pond\xff.mov")) == "pond\N{REPLACEMENT CHARACTER}.mov"
    True
    """
    return os.fsencode(text).decode("utf-8", "replace")
