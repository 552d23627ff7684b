"""Text for files whose lines mean something: one line each, and ASCII where the format wants it."""

from __future__ import annotations

from calltag.spelling import nearest_ascii


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
        As `calltag.spelling.nearest_ascii` has it.

    Examples
    --------
    >>> ascii_line("Röhrichtflöter – Ruf")
    'Rohrichtfloter - Ruf'
    """
    return nearest_ascii(one_line(text))[:width]
