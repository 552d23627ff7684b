"""Takes whose own file is away, read from a copy of it that the log knows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from calltag.files import is_there
from calltag.records import Take, TakeLog


def with_copies(takes: Sequence[Take]) -> list[Take]:
    """Tell of takes whose file is away where a copy of it lies.

    Parameters
    ----------
    takes : sequence of Take
        All takes of a log.

    Returns
    -------
    list of Take
        The same, in order; `Take.found_at` is set where the file is away and one of the same
        content is there. Files are looked for only where several takes have the same content.
    """
    alike: dict[str, list[Take]] = defaultdict(list)
    for take in takes:
        if take.digest:
            alike[take.digest].append(take)
    found: dict[str, Take] = {}
    for copies in alike.values():
        there = [take for take in copies if len(copies) > 1 and is_there(take.file)]
        if there:
            found |= {take.path: there[0] for take in copies if take not in there}
    return [replace(take, found_at=found.get(take.path)) for take in takes]


def at_hand(take_logs: Iterable[TakeLog], takes: Sequence[Take]) -> Iterator[TakeLog]:
    """Tell of logged takes whose file is away where a copy of it lies.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        Some of a log's takes, or all.
    takes : sequence of Take
        All takes of that log.

    Yields
    ------
    TakeLog
        The same, in order, its take as `with_copies` has it.
    """
    places = {take.path: take for take in with_copies(takes)}
    for take_log in take_logs:
        yield replace(take_log, take=places.get(take_log.take.path, take_log.take))
