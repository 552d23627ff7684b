"""One call that several cameras heard, and that counts once.

On the clock that takes share, two finds are the same call if they overlap, leaving some room for
the way that sound takes from one camera to the other, and lie in the same band. The closest are
joined first; a call has one find in each take. Where one take ends as another begins, as in a
recording over several files, what is cut off at the end of the one and at the beginning of the
other is one call.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from operator import attrgetter
from typing import NamedTuple

from calltag.edit.shared_clock import SLACK_S, GroupClock, shared_clocks
from calltag.edit.worth import is_cut_at_end, is_cut_at_start, sound_worth, worth
from calltag.learn.labels.sameness import ENOUGH, common_s, ends_apart_s, in_one_band
from calltag.learn.labels.vocabulary import is_call
from calltag.records.alignment import Alignment
from calltag.records.found import Call, TakeLog
from calltag.records.span import Span
from calltag.records.take import Take
from calltag.spelling import name_order


class Find(NamedTuple):
    """A find and the take that it is in."""

    take_log: TakeLog
    call: Call


@dataclass(frozen=True, slots=True)
class HeardCall:
    """One call, in all takes that it was found in.

    Attributes
    ----------
    finds : tuple of Find
        Its finds, one for each take, the best sound first.
    """

    finds: tuple[Find, ...]

    @property
    def best(self) -> Find:
        """The find with the best sound."""
        return self.finds[0]

    @property
    def also_in(self) -> tuple[str, ...]:
        """Paths of the other takes that it was found in."""
        return tuple(take_log.take.path for take_log, _ in self.finds[1:])


_Pair = tuple[float, tuple[str, int], tuple[str, int]]
"""Two finds, each by its take and number, and how many seconds their ends are apart."""


class _Placed(NamedTuple):
    """A take on the clock that its group shares: when it ran, and its calls with their numbers."""

    log: TakeLog
    ran: Span
    calls: list[tuple[Span, int]]


def merge_heard_twice(
    take_logs: Iterable[TakeLog], alignments: Iterable[Alignment]
) -> list[HeardCall]:
    """Make one call of the finds that several takes have of it; copies of a take run with it.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes.
    alignments : iterable of Alignment
        How takes lie against each other.

    Returns
    -------
    list of HeardCall
        Every call once, in order of its best find's take and start. The best sound is the one with
        the highest `calltag.edit.worth.sound_worth`: far above its background, little noise.
    """
    every = list(take_logs)
    return merge_on_clocks(every, shared_clocks(every, alignments))


def merge_on_clocks(
    take_logs: Sequence[TakeLog], clocks: Mapping[str, GroupClock]
) -> list[HeardCall]:
    """Make one call of the finds that several takes have of it, by the clocks that takes share.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        What was found in the takes.
    clocks : mapping of str to GroupClock
        The takes' clocks, as `shared_clocks` gives them.

    Returns
    -------
    list of HeardCall
        As `merge_heard_twice` has them.
    """
    groups: dict[tuple[str, int], set[tuple[str, int]]] = {}
    by_key = {}
    for one in take_logs:
        for number, call in enumerate(one.calls):
            key = (one.take.path, number)
            by_key[key] = Find(one, call)
            groups[key] = {key}
    for _, first, second in sorted(_same_calls(take_logs, clocks)):
        joined = groups[first] | groups[second]
        if len({path for path, _ in joined}) == len(joined):
            for key in joined:
                groups[key] = joined
    distinct = {id(group): group for group in groups.values()}.values()
    heard = [HeardCall(_best_first(by_key[key] for key in sorted(group))) for group in distinct]
    return sorted(
        heard, key=lambda one: (name_order(one.best.take_log.take.path), one.best.call.span)
    )


def moments_elsewhere(
    take_logs: Iterable[TakeLog], alignments: Iterable[Alignment]
) -> Iterator[tuple[Find, list[tuple[Take, Span]]]]:
    """Tell of each find in which other takes the same moment was heard.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes.
    alignments : iterable of Alignment
        How takes lie against each other.

    Yields
    ------
    tuple of Find and list of tuple of Take and Span
        A find; the takes that have it too, and when, in their seconds. The parts of a call that is
        cut in two, where one take ends and the next begins, are different moments; a take that has
        the call whole has each of them for as long as it lasts.
    """
    every = list(take_logs)
    clocks = shared_clocks(every, alignments)
    for heard in merge_on_clocks(every, clocks):
        for own in heard.finds:
            others = (one for one in heard.finds if one is not own)
            yield (
                own,
                [
                    (other.take_log.take, span)
                    for other in others
                    if (span := _moment_in(other, own, heard, clocks)) is not None
                ],
            )


def each_call_once(take_logs: Iterable[TakeLog], alignments: Iterable[Alignment]) -> list[TakeLog]:
    """Leave each call that several takes have to the one where it is worth most to the edit.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes.
    alignments : iterable of Alignment
        How takes lie against each other.

    Returns
    -------
    list of TakeLog
        The takes in the same order, each with the calls that are left to it: those with the highest
        `calltag.edit.worth.worth`, which counts the picture too.
    """
    every = list(take_logs)
    left: dict[str, list[Call]] = {one.take.path: [] for one in every}
    for heard in merge_heard_twice(every, alignments):
        take_log, call = max(heard.finds, key=lambda find: worth(*find))
        left[take_log.take.path].append(call)
    in_order = {path: tuple(sorted(calls, key=attrgetter("span"))) for path, calls in left.items()}
    return [replace(one, calls=in_order[one.take.path]) for one in every]


def spans_of(find: Find, heard: HeardCall, clocks: Mapping[str, GroupClock]) -> list[Span]:
    """Tell when a find sounds, with what another file has of its call, and by itself.

    Parameters
    ----------
    find : Find
        The find.
    heard : HeardCall
        The call that it is of.
    clocks : mapping of str to GroupClock
        The takes' clocks, as `shared_clocks` gives them.

    Returns
    -------
    list of Span
        Both, on the shared clock; one where they are the same.
    """
    clock = clocks[find.take_log.take.path]
    own = clock.span(find.call.span)
    start_s, end_s = own
    for other in heard.finds:
        span = clocks[other.take_log.take.path].span(other.call.span)
        if _goes_on_in(find, other, clocks):
            end_s = max(end_s, span.end_s)
        elif _goes_on_in(other, find, clocks):
            start_s = min(start_s, span.start_s)
    return list(dict.fromkeys([Span(start_s, end_s), own]))


def _goes_on_in(one: Find, other: Find, clocks: Mapping[str, GroupClock]) -> bool:
    """Whether the one's take ends within a call, and the other's begins there."""
    take, its_take = one.take_log.take, other.take_log.take
    ends_s = clocks[take.path].ran(take).end_s
    begins_s = clocks[its_take.path].ran(its_take).start_s
    return (
        abs(begins_s - ends_s) <= SLACK_S
        and is_cut_at_end(take, one.call)
        and is_cut_at_start(other.call)
    )


def _best_first(finds: Iterable[Find]) -> tuple[Find, ...]:
    return tuple(sorted(finds, key=_value, reverse=True))


def _value(find: Find) -> tuple[float, float]:
    snr_db = find.call.snr_db
    return sound_worth(*find), snr_db if math.isfinite(snr_db) else -math.inf


def _same_calls(take_logs: Sequence[TakeLog], clocks: Mapping[str, GroupClock]) -> Iterator[_Pair]:
    """Yield pairs of finds that are one call."""
    by_group: dict[str, list[_Placed]] = defaultdict(list)
    for take_log in take_logs:
        clock = clocks.get(take_log.take.path)
        if clock is not None and take_log.calls:
            by_group[clock.group].append(_placed(take_log, clock))
    for group in by_group.values():
        for one, other in combinations(group, 2):
            if not _far_apart(one.ran, other.ran):
                yield from _heard_by_both(one, other)
                yield from _parted(one, other)
                yield from _parted(other, one)


def _far_apart(ran: Span, other: Span) -> bool:
    return ran.start_s > other.end_s + SLACK_S or other.start_s > ran.end_s + SLACK_S


def _heard_by_both(one: _Placed, other: _Placed) -> Iterator[_Pair]:
    """Yield the finds that are one call, since both takes have it at the same time."""
    longest_s = max(span.length_s for span, _ in other.calls)
    for span, number in one.calls:
        first = bisect_left(other.calls, span.start_s - SLACK_S - longest_s, key=_start_s)
        last = bisect_right(other.calls, span.end_s + SLACK_S, key=_start_s)
        for their_span, their_number in other.calls[first:last]:
            call, their_call = one.log.calls[number], other.log.calls[their_number]
            if _alike(span, call, their_span, their_call):
                keys = (one.log.take.path, number), (other.log.take.path, their_number)
                yield ends_apart_s(span, their_span), *keys


def _parted(one: _Placed, other: _Placed) -> Iterator[_Pair]:
    """Yield the finds that are one call, cut in two where one take ends and the other begins."""
    if abs(other.ran.start_s - one.ran.end_s) > SLACK_S:
        return
    length_s = one.log.take.duration_s
    for number, call in enumerate(one.log.calls):
        if not is_cut_at_end(one.log.take, call):
            continue
        for their_number, their_call in enumerate(other.log.calls):
            if is_cut_at_start(their_call) and _of_one_kind(call, their_call):
                apart_s = abs(length_s - call.end_s) + abs(their_call.start_s)
                yield apart_s, (one.log.take.path, number), (other.log.take.path, their_number)


def _moment_in(
    other: Find, own: Find, heard: HeardCall, clocks: Mapping[str, GroupClock]
) -> Span | None:
    """When another take has what a find holds of a call; None where it did not run then."""
    clock, its_clock = (clocks[one.take_log.take.path] for one in (own, other))
    ran, its_ran = (
        clocks[take.path].ran(take) for take in (own.take_log.take, other.take_log.take)
    )
    if common_s(ran, its_ran) <= SLACK_S:
        return None
    whole, here = spans_of(own, heard, clocks)[0], clock.span(own.call.span)
    there = its_clock.own(here)
    start_s, end_s = other.call.span
    if whole.start_s < here.start_s:
        start_s = max(start_s, there.start_s)
    if whole.end_s > here.end_s:
        end_s = min(end_s, there.end_s)
    return Span(start_s, end_s) if start_s < end_s else other.call.span


def _placed(take_log: TakeLog, clock: GroupClock) -> _Placed:
    calls = sorted((clock.span(call.span), number) for number, call in enumerate(take_log.calls))
    return _Placed(take_log, clock.ran(take_log.take), calls)


def _start_s(placed: tuple[Span, int]) -> float:
    return placed[0].start_s


def _alike(span: Span, call: Call, other_span: Span, other: Call) -> bool:
    grown = Span(other_span.start_s - SLACK_S, other_span.end_s + SLACK_S)
    if common_s(span, grown) < ENOUGH * min(span.length_s, other_span.length_s):
        return False
    return _of_one_kind(call, other)


def _of_one_kind(call: Call, other: Call) -> bool:
    if is_call(call.label) != is_call(other.label):
        return False
    if call.by_hand and other.by_hand and call.label != other.label:
        return False
    return in_one_band(call.low_hz, call.high_hz, other.low_hz, other.high_hz)
