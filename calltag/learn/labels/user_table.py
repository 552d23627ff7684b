"""Tables that a user made, a row for each take or sound of a take, whatever program wrote them."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path

from calltag.errors import InputError, reason_of
from calltag.records.take import Problem
from calltag.spelling import one_spelling

_BEYOND = "beyond the columns"
"""What `read_rows` calls cells that have no column, which `take_cell` refuses."""

_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_STATED = re.compile(r'"?sep=([,;\t])"?\s*', re.IGNORECASE)  # as spreadsheets write it


def read_rows(path: Path, needed: Sequence[str]) -> Iterator[tuple[int, dict[str, str]]]:
    """Read a table that a user made, whatever program wrote it.

    Parameters
    ----------
    path : Path
        A CSV file in UTF-8, or in UTF-16 with its mark. Semicolons or tabs may stand for its
        commas, and with those a comma for the decimal point. A line that states what stands between
        cells, ``sep=;``, may come first.
    needed : sequence of str
        Columns that it must have.

    Yields
    ------
    tuple of int and dict of str to str
        Line in the file, and cells by column in small letters; empty rows are passed over.

    Raises
    ------
    InputError
        If the file cannot be read, or lacks a column or has it twice.
    """
    rows = _rows(path)
    names = [name.strip().casefold() for name in next(rows, (1, []))[1]]
    if missing := [name for name in needed if name not in names]:
        raise InputError(
            f"{path.name}: no column {', '.join(missing)}; the first line must name"
            f" {', '.join(needed)}"
        )
    if twice := [name for name in needed if names.count(name) > 1]:
        raise InputError(
            f"{path.name}: more than one column {', '.join(twice)}; take all but one out, or give"
            " the others another name"
        )
    for line, cells in rows:
        row = dict(zip(names, (cell.strip() for cell in cells), strict=False))
        if beyond := [cell.strip() for cell in cells[len(names) :] if cell.strip()]:
            row[_BEYOND] = beyond[0]
        if any(row.values()):
            yield line, row


def _rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    """Lines of a table, counted from one, as cells."""
    try:
        content = path.read_bytes()
        text = content.decode("utf-16" if content.startswith(_UTF_16) else "utf-8-sig")
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError:
        raise InputError(f"{path.name}: is not text in UTF-8; save it as CSV in UTF-8") from None
    except OSError as error:
        reason = reason_of(error)
        raise InputError(f"{path.name}: cannot be read ({reason}); name a CSV file") from None
    first, _, rest = text.partition("\n")
    delimiter = max(",;\t", key=first.count)
    before = 0
    if stated := _STATED.fullmatch(first):
        text, before, delimiter = rest, 1, stated[1]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for cells in reader:
            if delimiter != ",":
                cells = [_point(cell) for cell in cells]
            yield before + reader.line_num, cells
    except csv.Error as error:
        line = before + reader.line_num
        raise InputError(f"{path.name}, line {line}: is no CSV ({error}); mend that line") from None


def _point(cell: str) -> str:
    """Write a number, or a percentage, with a decimal comma as one with a point; leave all else."""
    whole, comma, decimals = cell.strip().partition(",")
    digits = whole.removeprefix("-").isdigit() and decimals.removesuffix("%").rstrip().isdigit()
    return f"{whole}.{decimals}" if comma and digits else cell


def take_cell(row: Mapping[str, str]) -> str:
    """Read the take that a row of a user's table names.

    Parameters
    ----------
    row : mapping of str to str
        Cells by column, as `read_rows` gives them.

    Returns
    -------
    str
        Path of the take, with ``/`` between its parts.

    Raises
    ------
    InputError
        If none is named, or the row has more cells than there are columns: then none of them can be
        trusted to stand under its own.
    """
    if _BEYOND in row:
        raise InputError(
            f"more cells than columns (`{row[_BEYOND]}` has none); write numbers with a point, and"
            " put a text that holds a comma in quotes"
        )
    take = unguarded(row.get("take", "")).replace("\\", "/")
    if not take:
        raise InputError("no take is named")
    return take


def known_take(name: str, takes: Collection[str], unread: Collection[Problem] = ()) -> str:
    """Find the take that a user means.

    Parameters
    ----------
    name : str
        Its path as the log lists it; its file name, or the end of its path, where only one ends so.
    takes : collection of str
        Paths of the takes that there are.
    unread : collection of Problem
        Takes that could not be read: of such a one that is said.

    Returns
    -------
    str
        Its path.

    Raises
    ------
    InputError
        If there is no such take, or several, or it could not be read.

    Examples
    --------
    >>> known_take("A001.mov", ["hide/A001.mov", "hide/A002.mov"])
    'hide/A001.mov'
    """
    if name in takes:
        return name
    alike = _called(name, takes)
    if len(alike) > 1:
        raise InputError(f"{name}: several takes have this name; write the path as listed")
    if not alike:
        problems = {problem.path: problem for problem in unread}
        if unheard := _called(name, problems):
            raise InputError(f"{problems[unheard[0]].unread}; or take its lines out")
        raise InputError(f"{name}: no such take in the log; `calltag takes` lists their names")
    return alike[0]


def _called(name: str, paths: Collection[str]) -> list[str]:
    """Paths that are a name or, where none is, that end so."""
    plain = one_spelling(name)
    forms = [(path, one_spelling(path)) for path in paths]
    alike = [path for path, form in forms if form == plain]
    return alike or [path for path, form in forms if form.endswith(f"/{plain}")]


def unguarded(cell: str) -> str:
    """Take off the apostrophe that keeps a spreadsheet from reading a text as a formula.

    Parameters
    ----------
    cell : str
        A cell.

    Returns
    -------
    str
        Its text.
    """
    return cell[1:] if cell[:1] == "'" and cell[1:2] in tuple("=+-@") else cell
