"""Text for files whose lines mean something: one line each, and ASCII where the format wants it."""

from __future__ import annotations

import unicodedata

_PLAIN = str.maketrans({"–": "-", "—": "-", "−": "-", "’": "'", "‘": "'", "“": '"', "”": '"'})


def one_line(text: str) -> str:
    """Put text on one line.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        The same with single spaces for line ends, other white space and control characters.

    Examples
    --------
    >>> one_line("pit rail:\\n tick\\0")
    'pit rail: tick'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def ascii_line(text: str, width: int | None = None) -> str:
    """Put text on one line of ASCII.

    Parameters
    ----------
    text : str
        Any text.
    width : int or None
        Longest line; what is beyond it is cut off.

    Returns
    -------
    str
        Letters without their accents; a question mark for what has no likeness in ASCII.

    Examples
    --------
    >>> ascii_line("Röhrichtflöter – Ruf")
    'Rohrichtfloter - Ruf'
    """
    apart = unicodedata.normalize("NFKD", text.translate(_PLAIN))
    bare = "".join(c for c in apart if not unicodedata.combining(c))
    return one_line(bare).encode("ascii", "replace").decode("ascii")[:width]
