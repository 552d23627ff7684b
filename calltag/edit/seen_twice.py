"""One call that several cameras heard: one call in listings, and a marker on any of them.

Takes that were lined up share a clock, also those that were lined up with a third. On it, two finds
are the same call if they overlap, leaving some room for the way that sound takes from one camera to
the other, and lie in the same band. The closest are joined first; a call has one find in each take.
Where one take ends as another begins, as in a recording over several files, what is cut off at the
end of the one and at the beginning of the other is one call.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain, combinations
from operator import attrgetter, itemgetter
from types import MappingProxyType
from typing import NamedTuple

from calltag.edit.markers import TakeMarkers, is_clear, with_comment
from calltag.edit.worth import is_cut_at_end, is_cut_at_start, sound_worth, worth
from calltag.learn.by_hand import matched
from calltag.learn.labels import is_call
from calltag.learn.sameness import ENOUGH, common_s, ends_apart_s, in_one_band
from calltag.media.clock import DEFAULT_RATE, take_clock
from calltag.media.copies import same_take
from calltag.records.alignment import Alignment
from calltag.records.found import Call, TakeLog
from calltag.records.label import Label
from calltag.records.span import Span
from calltag.records.take import Take
from calltag.words import name_order

SLACK_S = 0.1
"""Room at both ends of a find: 34 m between two cameras take sound a tenth of a second."""


class Sighting(NamedTuple):
    """A find and the take that it is in."""

    take_log: TakeLog
    call: Call


@dataclass(frozen=True, slots=True)
class SeenCall:
    """One call, in all takes that it was found in.

    Attributes
    ----------
    sightings : tuple of Sighting
        Its finds, one for each take, the best sound first.
    """

    sightings: tuple[Sighting, ...]

    @property
    def best(self) -> Sighting:
        """The find with the best sound."""
        return self.sightings[0]

    @property
    def also_in(self) -> tuple[str, ...]:
        """Paths of the other takes that it was found in."""
        return tuple(take_log.take.path for take_log, _ in self.sightings[1:])


class _Clock(NamedTuple):
    """A take's clock on the one that its group shares: ``first_s + scale * own seconds``."""

    group: str
    first_s: float
    scale: float

    def span(self, span: Span) -> Span:
        return Span(*(self.first_s + self.scale * at_s for at_s in span))

    def ran(self, take: Take) -> Span:
        return self.span(Span(0.0, take.duration_s))

    def own(self, span: Span) -> Span:
        return Span(*((at_s - self.first_s) / self.scale for at_s in span))


class _Placed(NamedTuple):
    """A take on the clock that its group shares: when it ran, and its calls with their numbers."""

    log: TakeLog
    ran: Span
    calls: list[tuple[Span, int]]


def merge_seen_twice(
    take_logs: Iterable[TakeLog], alignments: Iterable[Alignment]
) -> list[SeenCall]:
    """Make one call of the finds that several takes have of it; copies of a take run with it.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes.
    alignments : iterable of Alignment
        How takes lie against each other.

    Returns
    -------
    list of SeenCall
        Every call once, in order of its best find's take and start. The best sound is the one with
        the highest `calltag.edit.worth.sound_worth`: far above its background, little noise.
    """
    every = list(take_logs)
    clocks = _shared_clocks(_and_of_copies(every, alignments))
    groups: dict[tuple[str, int], set[tuple[str, int]]] = {}
    by_key = {}
    for one in every:
        for number, call in enumerate(one.calls):
            key = (one.take.path, number)
            by_key[key] = Sighting(one, call)
            groups[key] = {key}
    for _, first, second in sorted(_same_calls(every, clocks)):
        joined = groups[first] | groups[second]
        if len({path for path, _ in joined}) == len(joined):
            for key in joined:
                groups[key] = joined
    distinct = {id(group): group for group in groups.values()}.values()
    seen = [SeenCall(_best_first(by_key[key] for key in sorted(group))) for group in distinct]
    return sorted(
        seen, key=lambda one: (name_order(one.best.take_log.take.path), one.best.call.span)
    )


def moments_elsewhere(
    take_logs: Iterable[TakeLog], alignments: Iterable[Alignment]
) -> Iterator[tuple[Sighting, list[tuple[Take, Span]]]]:
    """Tell of each find in which other takes the same moment was heard.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes.
    alignments : iterable of Alignment
        How takes lie against each other.

    Yields
    ------
    tuple of Sighting and list of tuple of Take and Span
        A find; the takes that have it too, and when, in their seconds. Of a call cut in two, where
        one take ends and the other begins, no part is the moment of the other, and a take that has
        the call whole has each part for as long as that is.
    """
    every, pairs = list(take_logs), list(alignments)
    clocks = _shared_clocks(_and_of_copies(every, pairs))
    for seen in merge_seen_twice(every, pairs):
        for own in seen.sightings:
            others = (one for one in seen.sightings if one is not own)
            yield (
                own,
                [
                    (other.take_log.take, span)
                    for other in others
                    if (span := _moment_in(other, own, seen, clocks)) is not None
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
    for seen in merge_seen_twice(every, alignments):
        take_log, call = max(seen.sightings, key=lambda sighting: worth(*sighting))
        left[take_log.take.path].append(call)
    in_order = {path: tuple(sorted(calls, key=attrgetter("span"))) for path, calls in left.items()}
    return [replace(one, calls=in_order[one.take.path]) for one in every]


def _best_first(sightings: Iterable[Sighting]) -> tuple[Sighting, ...]:
    return tuple(sorted(sightings, key=_value, reverse=True))


def _value(sighting: Sighting) -> tuple[float, float]:
    snr_db = sighting.call.snr_db
    return sound_worth(*sighting), snr_db if math.isfinite(snr_db) else -math.inf


def _same_calls(
    take_logs: Sequence[TakeLog], clocks: dict[str, _Clock]
) -> Iterator[tuple[float, tuple[str, int], tuple[str, int]]]:
    """Yield pairs of finds that are one call: seconds between their ends, and the finds."""
    by_group: dict[str, list[_Placed]] = defaultdict(list)
    for take_log in take_logs:
        clock = clocks.get(take_log.take.path)
        if clock is not None and take_log.calls:
            by_group[clock.group].append(_placed(take_log, clock))
    for group in by_group.values():
        for one, other in combinations(group, 2):
            if one.ran.start_s > other.ran.end_s + SLACK_S:
                continue
            if other.ran.start_s > one.ran.end_s + SLACK_S:
                continue
            longest_s = max(span.length_s for span, _ in other.calls)
            for span, number in one.calls:
                first = bisect_left(other.calls, span.start_s - SLACK_S - longest_s, key=_start_s)
                last = bisect_right(other.calls, span.end_s + SLACK_S, key=_start_s)
                for their_span, their_number in other.calls[first:last]:
                    call, their_call = one.log.calls[number], other.log.calls[their_number]
                    if _alike(span, call, their_span, their_call):
                        keys = (one.log.take.path, number), (other.log.take.path, their_number)
                        yield ends_apart_s(span, their_span), *keys
            yield from _parted(one, other)
            yield from _parted(other, one)


def _parted(
    one: _Placed, other: _Placed
) -> Iterator[tuple[float, tuple[str, int], tuple[str, int]]]:
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


def _spans_of(sighting: Sighting, seen: SeenCall, clocks: Mapping[str, _Clock]) -> list[Span]:
    """When a find sounds on the shared clock: with what another file has of it, and by itself."""
    take, call = sighting.take_log.take, sighting.call
    clock = clocks[take.path]
    own, ran = clock.span(call.span), clock.ran(take)
    start_s, end_s = own
    for other_log, other in seen.sightings:
        its_clock = clocks[other_log.take.path]
        span = its_clock.span(other.span)
        its_ran = its_clock.ran(other_log.take)
        if (
            abs(its_ran.start_s - ran.end_s) <= SLACK_S
            and is_cut_at_end(take, call)
            and is_cut_at_start(other)
        ):
            end_s = max(end_s, span.end_s)
        elif (
            abs(its_ran.end_s - ran.start_s) <= SLACK_S
            and is_cut_at_end(other_log.take, other)
            and is_cut_at_start(call)
        ):
            start_s = min(start_s, span.start_s)
    return list(dict.fromkeys([Span(start_s, end_s), own]))


def _best_during(span: Span, seen: SeenCall, clocks: Mapping[str, _Clock]) -> Sighting:
    """The best find whose take ran then: of a call cut in two, never the other part."""
    for one in seen.sightings:
        clock = clocks[one.take_log.take.path]
        ran = clock.ran(one.take_log.take)
        least_s = ENOUGH * min(span.length_s, clock.span(one.call.span).length_s)
        if common_s(span, ran) >= least_s:
            return one
    return seen.best


def _moment_in(
    other: Sighting, own: Sighting, seen: SeenCall, clocks: Mapping[str, _Clock]
) -> Span | None:
    """When another take has what a find holds of a call; None where it did not run then."""
    clock, its_clock = (clocks[one.take_log.take.path] for one in (own, other))
    ran, its_ran = (
        clocks[take.path].ran(take) for take in (own.take_log.take, other.take_log.take)
    )
    if common_s(ran, its_ran) <= SLACK_S:
        return None
    whole, here = _spans_of(own, seen, clocks)[0], clock.span(own.call.span)
    there = its_clock.own(here)
    start_s, end_s = other.call.span
    if whole.start_s < here.start_s:
        start_s = max(start_s, there.start_s)
    if whole.end_s > here.end_s:
        end_s = min(end_s, there.end_s)
    return Span(start_s, end_s) if start_s < end_s else other.call.span


def _placed(take_log: TakeLog, clock: _Clock) -> _Placed:
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


def _and_of_copies(
    take_logs: Iterable[TakeLog], alignments: Iterable[Alignment]
) -> Iterator[Alignment]:
    """Add how takes with the same content lie against each other."""
    yield from alignments
    first: dict[str, Take] = {}
    for take in (one.take for one in take_logs):
        other = first.setdefault(take.digest, take)
        if other is not take and take.digest:
            yield Alignment(
                take_a=other.path,
                take_b=take.path,
                offset_s=0.0,
                drift_ppm=0.0,
                confidence=1.0,
                overlap_s=take.duration_s,
            )


def _shared_clocks(alignments: Iterable[Alignment]) -> dict[str, _Clock]:
    """Put takes that hang together by alignments on the clock of one of them."""
    neighbours: dict[str, list[tuple[str, float, float]]] = defaultdict(list)
    for pair in alignments:
        faster = 1 + pair.drift_ppm / 1e6
        neighbours[pair.take_a].append((pair.take_b, pair.in_a(0.0), 1 / faster))
        neighbours[pair.take_b].append((pair.take_a, pair.in_b(0.0), faster))
    clocks: dict[str, _Clock] = {}
    for root in sorted(neighbours):
        if root in clocks:
            continue
        clocks[root] = _Clock(root, 0.0, 1.0)
        waiting = [root]
        while waiting:
            here = waiting.pop(0)
            for other, first_s, scale in neighbours[here]:
                if other not in clocks:
                    known = clocks[here]
                    at_s = known.first_s + known.scale * first_s
                    clocks[other] = _Clock(root, at_s, known.scale * scale)
                    waiting.append(other)
    return clocks


def carry_over(
    take_logs: Iterable[TakeLog],
    alignments: Iterable[Alignment],
    *,
    min_confidence: float = 0.0,
    min_snr_db: float | None = None,
    labels: Mapping[str, Sequence[Label]] = MappingProxyType({}),
) -> list[TakeLog]:
    """Give each take the calls that others heard while it ran, and it did not.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes.
    alignments : iterable of Alignment
        How takes lie against each other.
    min_confidence : float
        Finds whose label is less sure count as not heard.
    min_snr_db : float or None
        So do finds that stand less far above their background.
    labels : mapping of str to sequence of Label
        The user's labels by path of their takes: where one says that a moment is no call, or is
        noise, its take is given none there.

    Returns
    -------
    list of TakeLog
        The same takes; a call that was carried over keeps what was measured of it where it was
        found, and lies where this take's picture shows it.
    """
    every, pairs = list(take_logs), list(alignments)
    clocks = _shared_clocks(_and_of_copies(every, pairs))
    clear = partial(is_clear, min_confidence=min_confidence, min_snr_db=min_snr_db)
    heard = [replace(one, calls=tuple(filter(clear, one.calls))) for one in every]
    running = _Running(every, clocks)
    takes = {one.take.path: one.take for one in every}
    added: dict[str, list[Call]] = defaultdict(list)
    for seen in merge_seen_twice(heard, pairs):
        best = seen.best
        if best.take_log.take.path not in clocks:
            continue
        group = clocks[best.take_log.take.path].group
        given: dict[str, tuple[Span, Call]] = {}
        for sighting in seen.sightings:
            spans = _spans_of(sighting, seen, clocks)
            if sighting is not best and len(spans) == 1:  # it heard what the best did
                continue
            for span in spans:
                for take in running.during(group, span):
                    here = clocks[take.path].own(span)
                    if _holds(take, here):
                        given.setdefault(take.path, (here, sighting.call))
        found_in = [sighting.take_log.take for sighting in seen.sightings]
        for path, (here, found) in given.items():
            if any(same_take(takes[path], other) for other in found_in):
                continue
            call = replace(found, start_s=here.start_s, end_s=here.end_s)
            (said,) = matched([call], labels.get(path, ()))
            if said is None or is_call(said.label):
                added[path].append(call)
    return [
        replace(
            one, calls=tuple(sorted((*one.calls, *added[one.take.path]), key=attrgetter("span")))
        )
        for one in every
    ]


def name_better_sound(
    marked: Iterable[TakeMarkers],
    take_logs: Iterable[TakeLog],
    alignments: Iterable[Alignment],
) -> list[TakeMarkers]:
    """Say in the comment of each marker where the better sound of its call is.

    Parameters
    ----------
    marked : iterable of TakeMarkers
        Markers of takes, made of `take_logs` or of what `carry_over` makes of them.
    take_logs : iterable of TakeLog
        What was found in the takes.
    alignments : iterable of Alignment
        How takes lie against each other.

    Returns
    -------
    list of TakeMarkers
        The same, with comments where another take has the better sound.
    """
    every, pairs, marked = list(take_logs), list(alignments), list(marked)
    rate = marked[0].rate if marked else DEFAULT_RATE
    clocks = _shared_clocks(_and_of_copies(every, pairs))
    running = _Running(every, clocks)
    better: dict[tuple[str, Span], str] = {}
    for seen in merge_seen_twice(every, pairs):
        if seen.best.take_log.take.path not in clocks:
            continue
        group = clocks[seen.best.take_log.take.path].group
        carried = chain.from_iterable(_spans_of(one, seen, clocks) for one in seen.sightings)
        places = [
            (other, clocks[other.path].own(span), span)
            for span in carried
            for other in running.during(group, span)
        ]
        places += [
            (take_log.take, call.span, clocks[take_log.take.path].span(call.span))
            for take_log, call in seen.sightings
        ]
        for other, there, span in places:
            best = _best_during(span, seen, clocks)
            take = best.take_log.take
            if not same_take(other, take):
                own = take_clock(take, rate)
                at = own.label(own.frames(*best.call.span)[0])
                better[other.path, _rounded(there)] = f"better sound: {take.path} at {at}"
    named = []
    for one in marked:
        markers = []
        for marker in one.markers:
            key = (one.take.path, _rounded(marker.call.span)) if marker.call is not None else None
            note = better.get(key) if key is not None else None
            markers.append(with_comment(marker, note) if note else marker)
        named.append(replace(one, markers=tuple(markers)))
    return named


def _holds(take: Take, span: Span) -> bool:
    return span.start_s >= 0 and span.end_s <= take.duration_s


class _Running:
    """When takes ran, on the clock that their group shares."""

    def __init__(self, take_logs: Iterable[TakeLog], clocks: Mapping[str, _Clock]) -> None:
        self._runs: dict[str, list[tuple[Span, str, Take]]] = defaultdict(list)
        for take in (one.take for one in take_logs if one.take.path in clocks):
            ran = clocks[take.path].ran(take)
            self._runs[clocks[take.path].group].append((ran, take.path, take))
        self._longest_s: dict[str, float] = {}
        for group, runs in self._runs.items():
            runs.sort(key=itemgetter(0, 1))
            self._longest_s[group] = max(ran.length_s for ran, _, _ in runs)

    def during(self, group: str, span: Span) -> Iterator[Take]:
        """Yield the takes of a group that ran during a span, with a little room at its ends."""
        runs = self._runs[group]
        first = bisect_left(
            runs, span.end_s - self._longest_s[group] - SLACK_S, key=lambda run: run[0].start_s
        )
        for ran, _, take in runs[first:]:
            if ran.start_s > span.start_s + SLACK_S:
                break
            if ran.end_s >= span.end_s - SLACK_S:
                yield take


def _rounded(span: Span) -> Span:
    return Span(round(span.start_s, 6), round(span.end_s, 6))
