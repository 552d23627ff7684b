"""Finding kept calls: a question in, a list of kept calls out.

`find` is all that a page or a command needs. It answers from the catalogue alone and opens no sound
file; where the sound of a result lies is `Kept.file`, and `Story.call` says where in that file the
call is, between its handles. `choices` lists what there is to choose from.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from calltag.edit.call_filter import no_such_type
from calltag.errors import InputError
from calltag.library.catalogue.catalogue import Catalogue, Kept
from calltag.library.search.doubles import HAS_DOUBLE
from calltag.library.search.order import Order
from calltag.spelling import one_line

_DAY = re.compile(r"\d{4}(-\d\d(-\d\d)?)?")
_LEAST_OF_AN_ID = 4
_HALF_A_MILLISECOND_S = 0.0005  # lengths are differences of times, and count to the millisecond

_ORDER_BY = {
    Order.NEWEST: "recorded DESC, cuts.path",
    Order.TYPE: "label_key, recorded DESC, cuts.path",
    Order.SNR: "snr_db DESC, cuts.path",
    Order.LEVEL: "level_dbfs DESC, cuts.path",
    Order.LENGTH: "length_s DESC, cuts.path",
    Order.CONFIDENCE: "confidence DESC, cuts.path",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Query:
    """What kept calls are wanted; what is empty or None lets all pass.

    Attributes
    ----------
    types : sequence of str
        Call types, as `calltag.edit.call_filter.is_of_type` has them, or species.
    words : str
        Words that all have to be in the story, the last letters of each may be missing: label,
        species, behaviour, sex, life stage, place, recordist, equipment, rights, take, noise.
    place : str
        Part of the place's name.
    whole : bool
        Whether types and place are whole names, as `choices` lists them: no type stands for several
        then, and no part of a place's name for the place.
    months : sequence of int
        Months of the year, from 1.
    since, until : str or None
        First and last day, ISO 8601, or only ``2026`` or ``2026-05``.
    min_snr_db, min_level_dbfs, max_level_dbfs : float or None
        Level over the background, and level.
    min_length_s, max_length_s : float or None
        Length of the call, to the millisecond.
    min_confidence : float
        How sure the label is at least.
    noise : bool or None
        Only calls with noise at the same time, or only calls without.
    by_hand : bool or None
        Only calls that the user labelled, or only others.
    ids : sequence of str
        Ids, or their first letters.
    doubles : bool
        Only calls that are there more than once, as `calltag.library.search.doubles` has it.
    order : Order
        How to list them.
    limit : int or None
        How many at most; None for all.
    offset : int
        How many to pass over first, as pages do.
    """

    types: Sequence[str] = ()
    words: str = ""
    place: str = ""
    whole: bool = False
    months: Sequence[int] = ()
    since: str | None = None
    until: str | None = None
    min_snr_db: float | None = None
    min_level_dbfs: float | None = None
    max_level_dbfs: float | None = None
    min_length_s: float | None = None
    max_length_s: float | None = None
    min_confidence: float = 0.0
    noise: bool | None = None
    by_hand: bool | None = None
    ids: Sequence[str] = ()
    doubles: bool = False
    order: Order = Order.NEWEST
    limit: int | None = 50
    offset: int = 0


@dataclass(frozen=True, slots=True)
class Found:
    """What was found.

    Attributes
    ----------
    total : int
        How many kept calls there are of what was asked for.
    kept : tuple of Kept
        Those of them that were asked for by `Query.limit` and `Query.offset`, in order.
    """

    total: int
    kept: tuple[Kept, ...]


@dataclass(frozen=True, slots=True)
class Choices:
    """What a library holds, to choose from.

    Attributes
    ----------
    total : int
        How many calls are kept.
    types : tuple of tuple of str and int
        Call types, and how many calls of each, in alphabetical order.
    places : tuple of tuple of str and int
        Places likewise.
    months : tuple of tuple of int and int
        Months of the year, and how many calls were recorded in each.
    """

    total: int
    types: tuple[tuple[str, int], ...]
    places: tuple[tuple[str, int], ...]
    months: tuple[tuple[int, int], ...]


def find(catalogue: Catalogue, query: Query) -> Found:
    """Find kept calls.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    query : Query
        What is wanted.

    Returns
    -------
    Found
        How many there are, and those that were asked for.

    Raises
    ------
    InputError
        If the question makes no sense.
    LibraryError
        If the catalogue cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> from pathlib import Path
    >>> with Catalogue(Path(folder.name), create=True) as catalogue:
    ...     find(catalogue, Query(types=["marsh hooter"], months=[4, 5])).total
    0
    >>> folder.cleanup()
    """
    asked = list(_conditions(query))
    where = f"WHERE {' AND '.join(condition for condition, _ in asked)}" if asked else ""
    values = [value for _, bound in asked for value in bound]
    ((total,),) = catalogue.read(f"SELECT count(*) FROM cuts {where}", values)
    limit = -1 if query.limit is None else query.limit
    # The keys first, so that what is sorted is narrow.
    order_by = _ORDER_BY[query.order]
    keys = f"SELECT id FROM cuts {where} ORDER BY {order_by} LIMIT ? OFFSET ?"
    kept = catalogue.kept_where(
        f"cuts.id IN ({keys})", [*values, limit, query.offset], order_by=order_by
    )
    return Found(total, tuple(kept))


def choices(catalogue: Catalogue) -> Choices:
    """List what a library holds, to choose from.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.

    Returns
    -------
    Choices
        Types, places and months, with counts.
    """
    months = catalogue.read(
        "SELECT month, count(*) FROM cuts WHERE month IS NOT NULL GROUP BY month ORDER BY month"
    )
    return Choices(
        total=catalogue.count(),
        types=_counted(catalogue, "label"),
        places=_counted(catalogue, "place"),
        months=tuple((int(month), int(n)) for month, n in months),
    )


def check_types(catalogue: Catalogue, types: Sequence[str]) -> None:
    """Make sure that calls of the types that were asked for are kept.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    types : sequence of str
        Types as `Query.types` has them.

    Raises
    ------
    InputError
        If of one there is no call; the sentence names the types that there are.
    LibraryError
        If the catalogue cannot be read.
    """
    for name in types:
        if not find(catalogue, Query(types=[name], limit=1)).total:
            raise no_such_type(
                name, [label for label, _ in _counted(catalogue, "label")], "the library"
            )


def _counted(catalogue: Catalogue, column: str) -> tuple[tuple[str, int], ...]:
    """Count the values of a column, each as it was first written."""
    firsts = f"FROM cuts WHERE {column}_key != '' GROUP BY {column}_key"
    counts = dict(catalogue.read(f"SELECT min(id), count(*) {firsts}"))
    kept = catalogue.kept_where(
        f"cuts.id IN (SELECT min(id) {firsts})", order_by=f"cuts.{column}_key"
    )
    # One that another process has just put there was not counted yet.
    return tuple((getattr(one.story, column), counts[one.key]) for one in kept if one.key in counts)


def by_name(catalogue: Catalogue, name: str) -> Kept:
    """Find the one kept call of a name.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    name : str
        Its id or the first letters of it, or the path of its file below the library's folder.

    Returns
    -------
    Kept
        The kept call; where the same cut lies there twice, the first in order of paths.

    Raises
    ------
    InputError
        If there is none, or several different ones.
    """
    found: Sequence[Kept] = catalogue.kept_where("cuts.path = ?", [name])
    if not found and _is_id(name):
        found = find(catalogue, Query(ids=[name], limit=None)).kept
    if len({one.story.id for one in found}) > 1:
        raise InputError(f"{name}: several kept calls have such an id; write more of its letters")
    if not found:
        raise InputError(f"{name}: no such call is kept; `calltag library find` lists their ids")
    return found[0]


def _conditions(query: Query) -> Iterator[tuple[str, Sequence[object]]]:
    """Yield what a kept call has to meet: conditions of SQL, and what their question marks are."""
    types = [one_line(name).casefold() or None for name in query.types]  # no name is like NULL
    if types:
        columns = ("label_key",) if query.whole else ("label_key", "species_key", "head_key")
        either = " OR ".join(_one_of(column, types) for column in columns)
        yield f"({either})", types * len(columns)
    if words := _match(query.words):
        yield "cuts.id IN (SELECT rowid FROM words WHERE words MATCH ?)", [words]
    if place := one_line(query.place):
        yield "place_key = ?" if query.whole else "instr(place_key, ?) > 0", [place.casefold()]
    if query.months:
        for month in query.months:
            if not 1 <= month <= 12:
                raise InputError(f"month {month}: give a number from 1 to 12")
        yield _one_of("month", query.months), query.months
    for condition, bound in (*_days(query), *_bounds(query)):
        yield condition, [bound]
    if query.ids:
        for name in query.ids:
            check_id(name)
        wanted = [f"{name.strip().casefold()}*" for name in query.ids]
        yield f"({' OR '.join(['cut_id GLOB ?'] * len(wanted))})", wanted
    if query.doubles:
        yield HAS_DOUBLE, []


def _one_of(column: str, wanted: Sequence[object]) -> str:
    return f"{column} IN ({', '.join('?' * len(wanted))})"


def _days(query: Query) -> Iterator[tuple[str, str]]:
    for day, compared in ((query.since, ">="), (query.until, "<=")):
        if day is not None:
            check_day("day", day)
            yield f"substr(recorded, 1, {len(day)}) {compared} ?", day


def _bounds(query: Query) -> Iterator[tuple[str, float]]:
    for condition, bound in (
        ("snr_db >= ?", query.min_snr_db),
        ("level_dbfs >= ?", query.min_level_dbfs),
        ("level_dbfs <= ?", query.max_level_dbfs),
        (f"length_s >= ? - {_HALF_A_MILLISECOND_S}", query.min_length_s),
        (f"length_s <= ? + {_HALF_A_MILLISECOND_S}", query.max_length_s),
        ("confidence >= ?", query.min_confidence or None),
        ("noisy = ?", query.noise),
        ("by_hand = ?", query.by_hand),
    ):
        if bound is not None:
            if not math.isfinite(bound):
                raise InputError(f"{bound} makes no sense here; give a number")
            yield condition, bound


def check_day(what: str, day: str | None) -> None:
    """Make sure that a day, a month or a year is written as one.

    Parameters
    ----------
    what : str
        What it is given as, for the sentence.
    day : str or None
        What was typed, if anything.

    Raises
    ------
    InputError
        If it is not.
    """
    if day is not None and not _DAY.fullmatch(day):
        raise InputError(f"{what} {day}: write a day as 2026-05-31, or 2026-05, or 2026")


def check_id(name: str) -> None:
    """Make sure that an id is written as one, or as its beginning.

    Parameters
    ----------
    name : str
        What was typed.

    Raises
    ------
    InputError
        If it is not.
    """
    if not _is_id(name):
        raise InputError(
            f"{name}: is no id; write four letters of it or more, as `calltag library find` lists"
            " them"
        )


def _is_id(name: str) -> bool:
    plain = name.strip().casefold()
    return len(plain) >= _LEAST_OF_AN_ID and set(plain) <= set("0123456789abcdef-")


def _match(words: str) -> str:
    """Every word as the beginning of one; no word of the user's is syntax."""
    spoken = [word for word in one_line(words).split() if any(letter.isalnum() for letter in word)]
    return " AND ".join('"' + word.replace('"', '""') + '"*' for word in spoken)
