"""Copies of takes that the log knows: read where a take's own file is away, and counted once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from calltag.paths import is_there
from calltag.records.found import TakeLog
from calltag.records.take import Take


def with_copies(takes: Sequence[Take]) -> list[Take]:
    """Look up where a copy lies of each take whose own file is away.

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
    found: dict[str, Take] = {}
    for copies in _alike(takes).values():
        there = [take for take in copies if len(copies) > 1 and is_there(take.file)]
        if there:
            found |= {take.path: there[0] for take in copies if take not in there}
    return [replace(take, found_at=found.get(take.path)) for take in takes]


def at_hand(take_logs: Iterable[TakeLog], takes: Sequence[Take]) -> Iterator[TakeLog]:
    """Look up where a copy lies of each logged take whose own file is away.

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


def copies_of(take: Take, takes: Iterable[Take]) -> list[Take]:
    """Find the copies of a take.

    Parameters
    ----------
    take : Take
        The take.
    takes : iterable of Take
        All takes of a log.

    Returns
    -------
    list of Take
        Those of the same content, in order, without itself.
    """
    return [one for one in _alike(takes).get(take.digest, ()) if one.path != take.path]


def same_take(one: Take, other: Take) -> bool:
    """Tell whether two takes of the log are one, or one is a copy of the other.

    Parameters
    ----------
    one, other : Take
        The takes.

    Returns
    -------
    bool
        Whether their path or their content is the same.
    """
    return one.path == other.path or bool(one.digest and one.digest == other.digest)


def each_once(take_logs: Sequence[TakeLog]) -> dict[str, tuple[str, ...]]:
    """Choose one take of each recording, where copies of it are among them.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        Takes with their calls, the user's labels laid over them.

    Returns
    -------
    dict of str to tuple of str
        Path of the take that stands for each recording, in order, and the paths of its copies: of
        several, the one that the user labelled most in, and else the first.
    """
    by_hand = {one.take.path: sum(call.by_hand for call in one.calls) for one in take_logs}
    once: dict[str, tuple[str, ...]] = dict.fromkeys(by_hand, ())
    for copies in _alike(one.take for one in take_logs).values():
        paths = [take.path for take in copies]
        stands = max(paths, key=lambda path: by_hand[path])
        for path in paths:
            del once[path]
        once[stands] = tuple(path for path in paths if path != stands)
    return {path: once[path] for path in by_hand if path in once}


def without_copies(take_logs: Sequence[TakeLog]) -> list[TakeLog]:
    """Leave the copies of takes out.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        Takes with their calls.

    Returns
    -------
    list of TakeLog
        The take that stands for each recording, as `each_once` chooses it, in order.
    """
    recordings = each_once(take_logs)
    return [one for one in take_logs if one.take.path in recordings]


def _alike(takes: Iterable[Take]) -> dict[str, list[Take]]:
    """Takes by their content, where that is known."""
    alike: dict[str, list[Take]] = defaultdict(list)
    for take in takes:
        if take.digest:
            alike[take.digest].append(take)
    return alike
