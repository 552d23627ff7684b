"""How names and texts are spelt: in one form, on one line, in ASCII, in the order people expect."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_DIGITS = re.compile(r"(\d+)")


def one_spelling(text: str) -> str:
    """Bring text into the one form in which what reads alike is alike.

    Disks store an accent with its letter or after it, whatever was typed.

    Parameters
    ----------
    text : str
        A name or a label.

    Returns
    -------
    str
        The same, every accent with its letter (Unicode's form NFC).

    Examples
    --------
    >>> one_spelling("cafe\\u0301") == "caf\\u00e9"
    True
    """
    return unicodedata.normalize("NFC", text)


@lru_cache(maxsize=4096)  # a take has many calls, and each is put in order by it
def name_order(name: str) -> tuple[tuple[tuple[tuple[int, int, str], ...], ...], str]:
    """Tell where a name stands in a list of names, as people order them.

    Parameters
    ----------
    name : str
        A name, or a path with ``/`` between its parts.

    Returns
    -------
    tuple
        To sort by: part for part, capitals and accents do not count, and numbers go by their value.

    Examples
    --------
    >>> sorted(["Karte B/clip 10.mov", "card A1/x.mov", "Karte B/clip 2.mov"], key=name_order)
    ['card A1/x.mov', 'Karte B/clip 2.mov', 'Karte B/clip 10.mov']
    >>> sorted(["Ufer", "Över", "Teich"], key=name_order)
    ['Över', 'Teich', 'Ufer']
    """
    return tuple(
        tuple(
            (0, int(run), "") if run.isdecimal() else (1, 0, run.casefold())
            for run in _DIGITS.split(part)
            if run
        )
        for part in _bare(name).split("/")
    ), name


_NEAREST = str.maketrans(
    dict.fromkeys("‐‑‒–—―−", "-")
    | dict.fromkeys("‘’‚‛‹›", "'")
    | dict.fromkeys("“”„‟«»", '"')
    | {"ß": "ss", "Æ": "AE", "æ": "ae", "Œ": "OE", "œ": "oe", "Ø": "O", "ø": "o"}
    | {"Ł": "L", "ł": "l", "Đ": "D", "đ": "d"}
)
"""What stands for letters, dashes and quotation marks that Unicode does not take apart."""


def nearest_ascii(text: str) -> str:
    """Bring text into ASCII, as formats want it that know nothing else.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        Letters without their accents, plain dashes and quotation marks; a question mark for what
        has no likeness in ASCII.

    Examples
    --------
    >>> nearest_ascii("Röhrichtflöter – „Ruf“")
    'Rohrichtfloter - "Ruf"'
    """
    return _bare(text.translate(_NEAREST)).encode("ascii", "replace").decode("ascii")


def _bare(text: str) -> str:
    """Letters without their accents."""
    apart = unicodedata.normalize("NFKD", text)
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


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
        As `nearest_ascii` has it.

    Examples
    --------
    >>> ascii_line("Röhrichtflöter – Ruf")
    'Rohrichtfloter - Ruf'
    """
    return nearest_ascii(one_line(text))[:width]
