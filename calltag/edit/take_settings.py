"""Settings that hold for all takes, or are told for each in a table."""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path
from typing import TypeVar

from calltag.errors import InputError
from calltag.learn.labels.user_table import known_take, read_rows, take_cell

T = TypeVar("T")


def per_take(
    text: str,
    column: str,
    parse: Callable[[str], T],
    takes: Collection[str],
    *,
    beside: Collection[str] = (),
    optional: bool = False,
) -> dict[str, T]:
    """Read a setting as an option gives it.

    Parameters
    ----------
    text : str
        One value for all takes, or the name of a CSV file with the columns ``take`` and `column`.
    column : str
        The column that holds the setting.
    parse : callable
        Makes a value of its text, or raises `InputError`.
    takes : collection of str
        Paths of the takes that it is for.
    beside : collection of str
        Paths of further takes, and of clips that could not be read: the file may name them, as one
        of a whole shoot does.
    optional : bool
        Whether the file may lack the column, or a row its cell.

    Returns
    -------
    dict
        Value by path of the take; takes that the file does not name are missing.

    Raises
    ------
    InputError
        If a value cannot be used, or the file cannot be read, lacks a column, gives a take two
        values, or names one that is not there or that could be several: its line is named.
    """
    if not is_table(text):
        return dict.fromkeys(takes, parse(text))
    path = Path(text.strip())
    found: dict[str, T] = {}
    for line, row in read_rows(path, ("take",) if optional else ("take", column)):
        try:
            take = _known(take_cell(row), takes, beside)
            cell = row.get(column, "")
            if cell or not optional:
                value = parse(cell)
                if take in found and found[take] != value:
                    raise InputError(f"{take}: has another {column} above; leave one of them out")
                found[take] = value
        except InputError as error:
            raise InputError(f"{path.name}, line {line}: {error}") from None
    return found


def _known(name: str, takes: Collection[str], beside: Collection[str]) -> str:
    """The take that is meant: of those that it is for, or else of the others."""
    try:
        return known_take(name, takes)
    except InputError:
        if not beside:
            raise
        return known_take(name, {*takes, *beside})


def is_table(text: str) -> bool:
    """Tell whether what an option gives is the name of a table, and no value for all takes.

    Parameters
    ----------
    text : str
        What was typed.

    Returns
    -------
    bool
        Whether it is.
    """
    return text.strip().lower().endswith(".csv")


def parse_number(name: str, unit: str) -> Callable[[str], float]:
    """Make a reader of numbers.

    Parameters
    ----------
    name, unit : str
        What the number is and what it counts, for the sentence.

    Returns
    -------
    callable
        Takes text and returns a float, or raises `InputError`.

    Examples
    --------
    >>> parse_number("distance", "metres")(" 100 ")
    100.0
    """

    def _parse(text: str) -> float:
        try:
            return float(text)
        except ValueError:
            raise InputError(f"{name} {text!r}: write a number of {unit}") from None

    return _parse
