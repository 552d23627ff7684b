"""Calls on all cameras that ran: a marker on each, and where the better sound is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import chain
from operator import attrgetter
from types import MappingProxyType

from calltag.edit.call_filter import is_clear
from calltag.edit.heard_twice import Find, HeardCall, merge_on_clocks, spans_of
from calltag.edit.markers import TakeMarkers, with_comment
from calltag.edit.shared_clock import GroupClock, Running, shared_clocks
from calltag.learn.labels.by_hand import matched
from calltag.learn.labels.sameness import ENOUGH, common_s
from calltag.learn.labels.vocabulary import is_call
from calltag.media.copies import same_take
from calltag.media.timing.clock import DEFAULT_RATE, take_clock
from calltag.records.alignment import Alignment
from calltag.records.found import Call, TakeLog
from calltag.records.label import Label
from calltag.records.span import Span
from calltag.records.take import Take


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
    every = list(take_logs)
    clocks = shared_clocks(every, alignments)
    clear = partial(is_clear, min_confidence=min_confidence, min_snr_db=min_snr_db)
    clear_logs = [replace(one, calls=tuple(filter(clear, one.calls))) for one in every]
    running = Running(every, clocks)
    takes = {one.take.path: one.take for one in every}
    added: dict[str, list[Call]] = defaultdict(list)
    for heard in merge_on_clocks(clear_logs, clocks):
        found_in = [find.take_log.take for find in heard.finds]
        for path, (here, found) in _while_it_sounded(heard, running, clocks).items():
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
    every, marked = list(take_logs), list(marked)
    rate = marked[0].rate if marked else DEFAULT_RATE
    clocks = shared_clocks(every, alignments)
    running = Running(every, clocks)
    better: dict[tuple[str, Span], str] = {}
    for heard in merge_on_clocks(every, clocks):
        for other, there, span in _marked_places(heard, running, clocks):
            best = _best_during(span, heard, clocks)
            take = best.take_log.take
            if not same_take(other, take):
                own = take_clock(take, rate)
                at = own.label(own.frames(*best.call.span)[0])
                better[other.path, _rounded(there)] = f"better sound: {take.path} at {at}"
    named = []
    for one in marked:
        markers = []
        for marker in one.markers:
            call = marker.call
            note = better.get((one.take.path, _rounded(call.span))) if call is not None else None
            markers.append(with_comment(marker, note) if note else marker)
        named.append(replace(one, markers=tuple(markers)))
    return named


def _while_it_sounded(
    heard: HeardCall, running: Running, clocks: Mapping[str, GroupClock]
) -> dict[str, tuple[Span, Call]]:
    """The takes that ran while a call sounded: when that was in each, and the find that says so."""
    group = _group_of(heard, clocks)
    given: dict[str, tuple[Span, Call]] = {}
    if group is None:
        return given
    for find in heard.finds:
        spans = spans_of(find, heard, clocks)
        if find is not heard.best and len(spans) == 1:  # it heard what the best did
            continue
        for span in spans:
            for take in running.during(group, span):
                here = clocks[take.path].own(span)
                if _holds(take, here):
                    given.setdefault(take.path, (here, find.call))
    return given


def _marked_places(
    heard: HeardCall, running: Running, clocks: Mapping[str, GroupClock]
) -> Iterator[tuple[Take, Span, Span]]:
    """Yield where takes may have a marker of a call: the take, when in it, and on the clock."""
    group = _group_of(heard, clocks)
    if group is None:
        return
    for span in chain.from_iterable(spans_of(one, heard, clocks) for one in heard.finds):
        for other in running.during(group, span):
            yield other, clocks[other.path].own(span), span
    for take_log, call in heard.finds:
        yield take_log.take, call.span, clocks[take_log.take.path].span(call.span)


def _group_of(heard: HeardCall, clocks: Mapping[str, GroupClock]) -> str | None:
    """The group of takes that a call was heard by; None where its take shares no clock."""
    clock = clocks.get(heard.best.take_log.take.path)
    return None if clock is None else clock.group


def _best_during(span: Span, heard: HeardCall, clocks: Mapping[str, GroupClock]) -> Find:
    """The best find whose take ran then: of a call cut in two, never the other part."""
    for one in heard.finds:
        clock = clocks[one.take_log.take.path]
        ran = clock.ran(one.take_log.take)
        least_s = ENOUGH * min(span.length_s, clock.span(one.call.span).length_s)
        if common_s(span, ran) >= least_s:
            return one
    return heard.best


def _holds(take: Take, span: Span) -> bool:
    return span.start_s >= 0 and span.end_s <= take.duration_s


def _rounded(span: Span) -> Span:
    return Span(round(span.start_s, 6), round(span.end_s, 6))
