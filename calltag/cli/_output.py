"""Tables, data and messages: what was asked for to standard output, messages to standard error.

Asked for are lists and reports; messages say what a command does, wrote or could not read.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Iterator, Sequence, Sized
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from calltag.cli import FAILED, SOME_UNREADABLE
from calltag.cli._options import As
from calltag.words import counted, first_few

if TYPE_CHECKING:
    from rich.console import Console

    from calltag.edit.tables import Row
    from calltag.records.take import Problem

UNLIMITED = 100_000
"""Width of a table that goes into a file or another program."""

FEW_FILES = 3
"""So many written files are all named."""

MANY_ALIKE = 5
"""Takes of which more with one and the same problem are named together."""

LEAST_FOLDED, WIDEST_FOLDED = 26, 72
"""Widths that a column that folds should have, and may have."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table for people.

    Attributes
    ----------
    header : str
        What stands above it.
    right : bool
        Whether its cells end at the same place, as numbers should.
    rank : int
        On a narrow terminal the column with the highest rank is left out first; 0 stays.
    folds : bool
        Whether its cells may go over several lines.
    """

    header: str
    right: bool = False
    rank: int = 0
    folds: bool = False


def say(text: str) -> None:
    """Print a message for the user."""
    typer.echo(text, err=True)


def say_next(*steps: str) -> None:
    """Name the commands that may come next, each with what it does."""
    say(f"Next: {', '.join(steps)}.")


def say_problems(problems: Iterable[Problem]) -> None:
    """Name the takes that could not be read or written, with the reason; many of one together."""
    alike: dict[str, list[str]] = {}
    for problem in problems:
        alike.setdefault(problem.reason, []).append(problem.path)
    for reason, paths in alike.items():
        if len(paths) > MANY_ALIKE:
            say(f"{first_few(paths, MANY_ALIKE)} ({counted(len(paths), 'take')}): {reason}")
        else:
            for path in paths:
                say(f"{path}: {reason}")


def end(problems: Sized, *, done: bool = True) -> None:
    """End the command with the status that tells of takes that could not be read, if there are any.

    Parameters
    ----------
    problems : sized
        What could not be read; each was named before.
    done : bool
        Whether anything else could be done.
    """
    if problems:
        raise typer.Exit(SOME_UNREADABLE if done else FAILED)


def print_data(columns: Sequence[str], rows: Iterable[Row], how: As, **more: list[Any]) -> None:
    """Print rows as CSV or JSON; `more` is added to the rows of JSON, by column."""
    if how is As.CSV:
        from calltag.edit.tables import csv_text

        _write(csv_text(columns, rows))
        return
    whole = [dict(row) for row in rows]
    for name, values in more.items():
        for row, value in zip(whole, values, strict=True):
            row[name] = value
    _write(json.dumps(whole, ensure_ascii=False, indent=2, allow_nan=False) + "\n")


def _write(text: str) -> None:
    sys.stdout.write(text)
    sys.stdout.flush()


def print_table(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> list[str]:
    """Print a table that fits the terminal; what does not is left out, and that is said.

    A column that says nothing of any row is left out, too. Returns the headers of the columns that
    there was no room for.
    """
    from rich.cells import cell_len
    from rich.console import Console

    told = [
        i
        for i, column in enumerate(columns)
        if not rows or column.rank == 0 or any(row[i] for row in rows)
    ]
    columns = [columns[i] for i in told]
    rows = [[row[i] for i in told] for row in rows]
    console = Console(width=None if sys.stdout.isatty() else UNLIMITED)
    widths = [
        max((cell_len(cell) for cell in (column.header, *cells)), default=0)
        for column, cells in zip(columns, zip(*rows, strict=True), strict=True)
    ]
    kept = _kept(columns, widths, console.width)
    left_out = [column.header for i, column in enumerate(columns) if i not in kept]
    columns, widths = [columns[i] for i in kept], [widths[i] for i in kept]
    rows = [[row[i] for i in kept] for row in rows]
    _print_rows(columns, rows, _fitted(columns, widths, console.width), console)
    if left_out:
        say(f"(no room for: {', '.join(left_out)}; a wider window or --as csv shows them)")
    return left_out


def _print_rows(
    columns: Sequence[Column],
    rows: Iterable[Sequence[str]],
    widths: Sequence[int],
    console: Console,
) -> None:
    """Print a table line by line.

    The tables of the library would take twenty seconds before the first line of a season's calls.
    """
    from rich.cells import cell_len
    from rich.text import Text

    def folded(cell: str, width: int) -> list[str]:
        if cell_len(cell) <= width and cell.isprintable():
            return [cell]
        lines = Text(cell).wrap(console, width, overflow="fold")
        return [line.plain.rstrip() for line in lines] or [""]

    def padded(cell: str, width: int, column: Column) -> str:
        gap = " " * (width - cell_len(cell))
        return gap + cell if column.right else cell + gap

    def lines(cells: Iterable[str]) -> Iterator[str]:
        for line in zip_longest(*map(folded, cells, widths), fillvalue=""):
            yield "  ".join(map(padded, line, widths, columns))

    for line in lines(column.header for column in columns):
        console.print(Text(line, "bold"), soft_wrap=True)
    for row in rows:
        for line in lines(row):
            sys.stdout.write(line + "\n")
    sys.stdout.flush()  # what is said next comes after it, also where both go into one file


def _fitted(columns: Sequence[Column], widths: Sequence[int], room: int) -> list[int]:
    """Widths with which the columns fit: the widest that folds gives way first."""
    fitted = [
        min(width, WIDEST_FOLDED) if column.folds else width
        for column, width in zip(columns, widths, strict=True)
    ]
    folds = [
        column.folds or width > room // 2 for column, width in zip(columns, widths, strict=True)
    ]
    while sum(fitted) + 2 * (len(fitted) - 1) > room and max(fitted) > 1:
        widest = max(range(len(fitted)), key=lambda i: (folds[i] and fitted[i] > 1, fitted[i]))
        fitted[widest] -= 1
    return fitted


def _kept(columns: Sequence[Column], widths: Sequence[int], room: int) -> list[int]:
    kept = list(range(len(columns)))
    gone: list[int] = []

    def needed(of: Sequence[int]) -> int:
        return sum(
            2 + (min(widths[i], LEAST_FOLDED) if columns[i].folds else widths[i]) for i in of
        )

    while needed(kept) > room and any(columns[i].rank for i in kept):
        gone.append(max(kept, key=lambda i: columns[i].rank))
        kept.remove(gone[-1])
    for i in reversed(gone):  # where a wide column went, a narrow one may fit
        if needed([*kept, i]) <= room:
            kept.append(i)
    return sorted(kept)


def tell_files(written: Sequence[Path]) -> str:
    """Name written files, as many as one wants to read; of many, the folder and the first."""
    if len(written) <= FEW_FILES:
        return ", ".join(str(path) for path in written)
    folder = Path(os.path.commonpath([path.parent for path in written]))
    names = first_few([str(path.relative_to(folder)) for path in written], FEW_FILES)
    where = "the working folder" if folder == Path() else folder
    return f"{len(written)} files in {where} ({names})"
