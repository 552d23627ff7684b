"""Looking at pictures for a listing: no more of them than the listing needs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calltag.cli._choose import Found
    from calltag.log import Log
    from calltag.records.found import Call, TakeLog
    from calltag.records.take import Problem


def look_for_best(
    found: Sequence[Found],
    log: Log,
    in_order: Callable[[Sequence[Found]], list[Found]],
    best: int | None,
) -> tuple[list[Found], list[Problem]]:
    """Choose the first calls of an order, having looked at the picture of each that is chosen.

    A picture can only lower what a call is worth. So those chosen without it are looked at, and it
    is chosen again, until the picture of all that are chosen is known. Where the first ones fall
    behind, twice as many are looked at each time, since each time takes a while to begin.
    """
    problems: list[Problem] = []
    given_up: set[str] = set()
    ahead = best
    while True:
        ordered = in_order(found)
        if not _unknown(ordered[:best], given_up):
            return ordered[:best], problems
        unknown = _unknown(ordered[:ahead], given_up)
        ahead = None if ahead is None else 2 * ahead
        by_path = {one.take.path: one for one, _ in found}
        seen, failed = look_at_takes(
            [(by_path[path], calls) for path, calls in unknown.items()], log, whole=False
        )
        problems += failed
        given_up |= set(unknown)  # a damaged place is not looked at over and over
        given_up -= {path for path, one in seen.items() if _is_known(one, unknown[path])}
        found = [(seen.get(one.take.path, one), call) for one, call in found]


def _unknown(listed: Iterable[Found], given_up: Collection[str]) -> dict[str, list[Call]]:
    """Calls whose picture is not known yet, by take."""
    from calltag.takes.picture.grades import grade_of_call

    unknown: dict[str, list[Call]] = defaultdict(list)
    for one, call in listed:
        path = one.take.path
        if one.take.has_picture and path not in given_up and grade_of_call(one, call) is None:
            unknown[path].append(call)
    return unknown


def look_at_takes(
    wanted: Iterable[tuple[TakeLog, Sequence[Call]]], log: Log, *, whole: bool
) -> tuple[dict[str, TakeLog], list[Problem]]:
    """Look at the pictures of takes, at some calls in each and, if `whole`, in a few places more.

    Returns the takes that were looked at, by path, and what could not be read.
    """
    from calltag.cli._progress import Teller
    from calltag.takes.picture.looking import look, wanted_look, with_pictures

    takes = {one.take.path: (one, calls) for one, calls in wanted}
    looks = [
        a_look
        for one, calls in takes.values()
        if (a_look := wanted_look(one, calls, whole=whole)) is not None
    ]
    with Teller() as teller:
        pictures, problems = look(
            looks,
            log,
            listener=teller.tell_counted,
        )
    return {path: with_pictures(takes[path][0], new) for path, new in pictures.items()}, problems


def _is_known(take_log: TakeLog, calls: Iterable[Call]) -> bool:
    from calltag.takes.picture.grades import grade_of_call

    return all(grade_of_call(take_log, call) is not None for call in calls)
