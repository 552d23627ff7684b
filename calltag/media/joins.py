"""Recordings that go on over several files, as cameras and recorders close one at 4 GB or so.

Two files are one recording where the second begins when the first ends, to a frame or so by the
clock that they state, and their folder, streams and the letters of their names are the same. A
clock may run only while the camera does, so that each take begins where the one before ended, hours
ago: timecode counts where the dates of both say the same. Samples since midnight count without
dates too. Dates alone are too coarse.

What is known of how one file lies holds for those that it goes on in: that is derived, not heard.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict, deque
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from itertools import accumulate, chain
from pathlib import PurePosixPath
from typing import NamedTuple

from calltag.media.timing.clock import DEFAULT_RATE, dates_apart_s, day_s, time_of_day_s
from calltag.records.alignment import Alignment
from calltag.records.take import Take

OFF_S = 0.1
"""What was heard may put joined files this far off one another, and no farther."""

_OFF_FRAMES = 1.5
_DATES_OFF_S = 1.5  # two dates to the second
_TO_THE_SECOND = re.compile(r"[^T]+T\d\d:\d\d:\d\d")


class _Begun(NamedTuple):
    """A take, the time of day at which it begins, and how long that day is."""

    begins_s: float
    day_s: float
    take: Take


def joins(takes: Iterable[Take]) -> list[Alignment]:
    """Find the files that a recording goes on in.

    Parameters
    ----------
    takes : iterable of Take
        All takes of a log.

    Returns
    -------
    list of Alignment
        Take A, and as take B the file that it goes on in: nothing was heard in both. A take has one
        at most before it and one after it; where several would do, none is chosen.
    """
    alike: dict[object, list[_Begun]] = defaultdict(list)
    for take in takes:
        begins_s = time_of_day_s(take)
        if begins_s is not None and not take.variable_rate:
            length_s = day_s(take)
            alike[camera(take)].append(_Begun(begins_s % length_s, length_s, take))
    found = list(chain.from_iterable(map(_joins_of, alike.values())))
    after = Counter(one.take_a for one in found)
    before = Counter(one.take_b for one in found)
    return [one for one in found if after[one.take_a] == before[one.take_b] == 1]


def with_joins(alignments: Iterable[Alignment], takes: Iterable[Take]) -> list[Alignment]:
    """Add to what was heard how the files lie that the takes go on in.

    Parameters
    ----------
    alignments : iterable of Alignment
        How takes lie against each other, by their sound.
    takes : iterable of Take
        All takes of the log.

    Returns
    -------
    list of Alignment
        The same; the joins, but for those that the sound contradicts; and what follows for other
        pairs of takes that ran at the same time.
    """
    every, known = list(takes), list(alignments)
    length_s = {take.path: take.duration_s for take in every}
    trusted = _not_contradicted(joins(every), known)
    beside = _beside(trusted)
    pairs = {one.pair for one in (*known, *trusted)}
    derived: list[Alignment] = []
    waiting = deque(known)
    while waiting:
        for one in _moved(waiting.popleft(), beside):
            both_s = _overlap_s(one, length_s)
            if both_s > 0 and one.pair not in pairs:
                pairs.add(one.pair)
                derived.append(replace(one, overlap_s=both_s))
                waiting.append(derived[-1])
    return [*known, *trusted, *derived]


def agreeing(
    guesses: Iterable[Alignment], alignments: Iterable[Alignment], takes: Iterable[Take]
) -> list[tuple[Alignment, Alignment]]:
    """Find guesses that bear each other out: each puts a take over a join where the other does.

    Parameters
    ----------
    guesses : iterable of Alignment
        How takes may lie against each other, one for a pair.
    alignments : iterable of Alignment
        How takes lie against each other, by their sound.
    takes : iterable of Take
        All takes of the log.

    Returns
    -------
    list of tuple of two Alignment
        Two guesses of one take, against a file and against the one that this goes on in.
    """
    every, unsure = list(takes), list(guesses)
    length_s = {take.path: take.duration_s for take in every}
    beside = _beside(_not_contradicted(joins(every), list(alignments)))
    by_pair = {one.pair: one for one in unsure}
    found: dict[frozenset[int], tuple[Alignment, Alignment]] = {}
    for one in unsure:
        for moved in _moved(one, beside):
            other = by_pair.get(moved.pair)
            both_s = _overlap_s(moved, length_s)
            if other is not None and both_s > 0 and same_place(other, moved, both_s):
                found.setdefault(frozenset((id(one), id(other))), (one, other))
    return list(found.values())


def same_place(guess: Alignment, known: Alignment, overlap_s: float) -> bool:
    """Tell whether a guess puts two takes where they lie.

    Parameters
    ----------
    guess : Alignment
        A guess, either take first.
    known : Alignment
        How the same takes lie.
    overlap_s : float
        How long both ran.

    Returns
    -------
    bool
        Whether they are `OFF_S` apart at most, in the middle of what both ran for.
    """
    turned = guess if guess.take_a == known.take_a else guess.turned()
    at_s = max(0.0, known.offset_s) + overlap_s / 2
    return abs(turned.in_b(at_s) - known.in_b(at_s)) <= OFF_S


def camera(take: Take) -> Hashable:
    """Tell the camera, or recorder, of a take by what the files of one recording have in common.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    Hashable
        The same for takes of one folder whose names have the same letters, whose streams are alike,
        and whose clocks are of one kind.
    """
    path = PurePosixPath(take.path)
    letters = re.sub(r"\d+", "", path.name)
    streams = take.fps, take.sample_rate_hz, take.channels, take.width, take.height
    return take.rushes, path.parent, letters, streams, take.start_tc is None


def _beside(joined: Iterable[Alignment]) -> dict[str, list[tuple[str, float]]]:
    """The files before and after each, and how much later they begin."""
    beside: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for join in joined:
        beside[join.take_a].append((join.take_b, join.offset_s))
        beside[join.take_b].append((join.take_a, -join.offset_s))
    return beside


def _joins_of(group: Sequence[_Begun]) -> Iterator[Alignment]:
    """Yield the joins of takes of one kind."""
    starts = sorted(
        (one.begins_s + days * one.day_s, number)
        for number, one in enumerate(group)
        for days in (0, 1)
    )
    for begins_s, length_s, take in group:
        off_s = _OFF_FRAMES / float(take.fps or DEFAULT_RATE.fps)
        ends_s = begins_s + take.duration_s, begins_s + (take.picture_s or take.duration_s)
        first = bisect_left(starts, (min(ends_s) - off_s, 0))
        last = bisect_right(starts, (max(ends_s) + off_s, len(group)))
        for at_s, number in starts[first:last]:
            if at_s <= begins_s or min(abs(at_s - end_s) for end_s in ends_s) > off_s:
                continue
            other = group[number].take
            if _dates_agree(take, other, at_s - begins_s, int(at_s // length_s)):
                yield Alignment(
                    take_a=take.path,
                    take_b=other.path,
                    offset_s=at_s - begins_s,
                    drift_ppm=0.0,
                    confidence=1.0,
                    overlap_s=0.0,
                )


def _dates_agree(take: Take, other: Take, later_s: float, days: int) -> bool:
    """Whether dates put one take so much later; samples need no more than the right day, if any."""
    dates_s = dates_apart_s(take, other)
    exact = all(_TO_THE_SECOND.match(one.recorded or "") for one in (take, other))
    if dates_s is None or not exact:
        return take.start_tc is None and _days_later(take, other) in (None, days)
    return abs(dates_s - later_s) <= _DATES_OFF_S


def _days_later(take: Take, other: Take) -> int | None:
    """By how many days one take is later; None where the day of either is not known."""
    try:
        first, second = (date.fromisoformat((one.recorded or "")[:10]) for one in (take, other))
    except ValueError:
        return None
    return (second - first).days


def _not_contradicted(joined: Iterable[Alignment], heard: Iterable[Alignment]) -> list[Alignment]:
    """Leave joins out of which a take that heard files on both sides, or they, say otherwise."""
    by_other: dict[str, dict[str, Alignment]] = defaultdict(dict)
    for pair in heard:
        by_other[pair.take_b][pair.take_a] = pair
        by_other[pair.take_a][pair.take_b] = pair.turned()
    return list(chain.from_iterable(_trusted(links, by_other) for links in _chains(joined)))


def _chains(joined: Iterable[Alignment]) -> Iterator[list[Alignment]]:
    """Yield the joins of each recording, in order."""
    after = {join.take_a: join for join in joined}
    later = {join.take_b for join in after.values()}
    for first in sorted(after, key=later.__contains__):  # a round of files begins anywhere
        links = []
        path = first
        while path in after:
            links.append(after.pop(path))
            path = links[-1].take_b
        if links:
            yield links


def _trusted(
    links: Sequence[Alignment], by_other: Mapping[str, Mapping[str, Alignment]]
) -> list[Alignment]:
    """The joins of a recording that nobody contradicts; of what spans several, none is spared."""
    files = [links[0].take_a, *(join.take_b for join in links)]
    begins_s = list(accumulate((join.offset_s for join in links), initial=0.0))
    number_of = {path: number for number, path in enumerate(files)}
    denied: set[tuple[int, int]] = set()
    last: dict[str, int] = {}
    for number, path in enumerate(files):
        for other, pair in by_other.get(path, {}).items():
            if other in number_of:
                denied.add((min(number, number_of[other]), max(number, number_of[other])))
                continue
            if (before := last.get(other)) is not None:
                since_s = begins_s[number] - begins_s[before]
                off_s = by_other[files[before]][other].in_a(since_s) - pair.in_a(0.0)
                if abs(off_s) > OFF_S * (number - before):
                    denied.add((before, number))
            last[other] = number
    broken: set[int] = set()
    for first, end in sorted(denied, key=lambda ends: ends[1] - ends[0]):
        if broken.isdisjoint(range(first, end)):
            broken.update(range(first, end))
    return [join for number, join in enumerate(links) if number not in broken]


def _moved(
    pair: Alignment, beside: Mapping[str, Sequence[tuple[str, float]]]
) -> Iterator[Alignment]:
    """Yield how the files that go on in either take of a pair, or before it, lie to the other."""
    for path, later_s in beside.get(pair.take_b, ()):
        yield replace(pair, take_b=path, offset_s=pair.in_a(later_s))
    for path, later_s in beside.get(pair.take_a, ()):
        yield replace(pair, take_a=path, offset_s=pair.offset_s - later_s)


def _overlap_s(pair: Alignment, length_s: Mapping[str, float]) -> float:
    """How long both takes of a pair ran; below zero where not at the same time."""
    ends_s = pair.in_a(length_s.get(pair.take_b, 0.0))
    return min(length_s.get(pair.take_a, 0.0), ends_s) - max(0.0, pair.offset_s)
