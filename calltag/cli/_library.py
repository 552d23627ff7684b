"""Options and words that the commands of the call library share."""

from __future__ import annotations

import calendar
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._options import finite
from calltag.cli._output import say
from calltag.errors import InputError

if TYPE_CHECKING:
    from calltag.library.catalogue import Catalogue

LIBRARY = Path("~/calltag-library")

LibraryFolder = Annotated[
    Path,
    typer.Option(
        "--library",
        metavar="FOLDER",
        help='The call library\'s folder. `library = "FOLDER"` below [all] in calltag.toml names '
        "another for good.",
    ),
]


@contextmanager
def bar(what: str) -> Iterator[Callable[[int, int], None]]:
    """Show on a terminal how far it is; yields what is to be told how many of how many are done."""
    if not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import MofNCompleteColumn, Progress

    columns = (*Progress.get_default_columns(), MofNCompleteColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task(what, total=None)
        yield lambda done, of: shown.update(task, completed=done, total=of)


def library_folder(named: Path) -> Path:
    """Return the library's folder, with the user's home put in for ``~``."""
    if named.parts[:1] == ("~",) and os.environ.get("HOME") == "":
        raise _homeless(named)
    try:
        return named.expanduser()
    except RuntimeError:
        raise _homeless(named) from None


def _homeless(named: Path) -> InputError:
    return InputError(f"{named}: your home folder is not known; name the library with --library")


def warn_unfinished(catalogue: Catalogue) -> None:
    """Say so where a rebuild of the catalogue was not finished."""
    if catalogue.unfinished:
        say(
            "A rebuild of this catalogue was not finished, so calls may be missing from it; "
            "`calltag library rebuild` goes through all files again."
        )


Words = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="WORDS",
        help="Words that all stand in the story: animal, place, behaviour, take, people.",
        show_default=False,
    ),
]
Place = Annotated[
    str, typer.Option(metavar="TEXT", help="Only from places with this in their name.")
]
Months = Annotated[
    list[str] | None,
    typer.Option(
        "--month", metavar="MONTH", help="Only of this month: 5, or May. May be repeated."
    ),
]
Since = Annotated[
    str | None,
    typer.Option(metavar="DAY", help="Only from this day on: 2026-04-18, 2026-04 or 2026."),
]
Until = Annotated[
    str | None, typer.Option(metavar="DAY", help="Only up to this day, month or year.")
]
MinLevel = Annotated[
    float | None,
    typer.Option(
        "--min-level",
        callback=finite,
        metavar="DBFS",
        help="Only calls at least this loud, in dBFS, as -40.",
    ),
]
MaxLevel = Annotated[
    float | None,
    typer.Option(
        "--max-level",
        callback=finite,
        metavar="DBFS",
        help="Only calls at most this loud, in dBFS.",
    ),
]
MinLength = Annotated[
    float | None,
    typer.Option(
        "--min-length", callback=finite, metavar="SECONDS", help="Only calls at least this long."
    ),
]
MaxLength = Annotated[
    float | None,
    typer.Option(
        "--max-length", callback=finite, metavar="SECONDS", help="Only calls at most this long."
    ),
]
Ids = Annotated[
    list[str] | None,
    typer.Option(
        "--id",
        metavar="ID",
        help="Only this one, as `calltag library find` lists it. May be repeated.",
    ),
]


def months_of(names: Sequence[str]) -> list[int]:
    """Read months: numbers, or names of which three letters are enough.

    Examples
    --------
    >>> months_of(["5", "june", "Sep"])
    [5, 6, 9]
    """
    known = [name.casefold() for name in calendar.month_name]
    months = []
    for name in names:
        plain = name.strip().casefold()
        fitting = [i for i, one in enumerate(known) if len(plain) > 2 and one.startswith(plain)]
        number = int(plain) if plain.isdecimal() else next(iter(fitting), 0)
        if not 1 <= number <= 12:
            raise InputError(f"--month {name}: write a number from 1 to 12, or a name such as May")
        months.append(number)
    return months
