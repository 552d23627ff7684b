"""Which kept calls: the options that `find` and `out` share, made into one question."""

from __future__ import annotations

import calendar
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._options import finite, wrong_use
from calltag.errors import InputError
from calltag.library.search.order import Order

if TYPE_CHECKING:
    from calltag.library.search.find import Query


ORDER_WORDS = (
    "newest, type, or the highest first: level above the background (snr), level, length or "
    "confidence"
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
        "--month", metavar="MONTH", help="Only of this month, e.g. 5 or May. May be repeated."
    ),
]
Since = Annotated[
    str | None,
    typer.Option(metavar="DAY", help="Only from this day on, e.g. 2026-04-18, 2026-04 or 2026."),
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
        help="Only calls at least this loud, in dBFS, e.g. -40.",
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


def make_query(
    *,
    words: str,
    types: list[str] | None,
    place: str,
    months: list[str] | None,
    since: str | None,
    until: str | None,
    min_snr: float | None,
    min_level: float | None,
    max_level: float | None,
    min_length: float | None,
    max_length: float | None,
    min_confidence: float,
    noise: bool | None,
    by_hand: bool,
    ids: list[str] | None,
    by: Order,
    best: int,
    doubles: bool = False,
) -> Query:
    """Make the question that the options of a command ask, as they are typed."""
    from calltag.library.search.find import Query, check_day, check_id

    with wrong_use():
        in_months = months_of(months or ())
        for option, day in (("--since", since), ("--until", until)):
            check_day(option, day)
        for name in ids or ():
            check_id(name)
    return Query(
        words=words,
        types=types or (),
        place=place,
        months=in_months,
        since=since,
        until=until,
        min_snr_db=min_snr,
        min_level_dbfs=min_level,
        max_level_dbfs=max_level,
        min_length_s=min_length,
        max_length_s=max_length,
        min_confidence=min_confidence,
        noise=noise,
        by_hand=True if by_hand else None,
        ids=ids or (),
        doubles=doubles,
        order=by,
        limit=best or None,
    )
