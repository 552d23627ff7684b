"""Takes that heard the same moment, lined up by their sound: through all pairs that are asked for.

Each take is read when its turn comes; what a pair comes to, `calltag.edit.sync.comparing` says.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from pathlib import Path

from calltag.edit.sync.comparing import (
    NOT_AS_SAID,
    NOT_BY_CLOCKS,
    Comparison,
    compare,
    is_narrow,
    out_of_reach,
)
from calltag.edit.sync.order import SAME_S, Order, Turn
from calltag.edit.sync.search import Bounds
from calltag.edit.sync.trace import Trace, trace_take
from calltag.errors import InputError, MediaError
from calltag.media.timing.clock import DAY_S, within_half_s
from calltag.paths import is_file
from calltag.records.take import Problem, Take

_AS_CLOCKS_SAY_S = 3.0  # dates are cut off to the second, and clocks part by a second or two a day
_AT_ONCE = 2  # traces of takes that pass by


@dataclass(frozen=True, slots=True)
class Source:
    """A take to line up.

    Attributes
    ----------
    name : str
        Its name in tables: its path below the rushes, where it is in the log.
    path : Path
        Its file.
    """

    name: str
    path: Path


def sync_takes(
    sources: Sequence[Source],
    *,
    n_first: int | None = 1,
    bounds: Bounds | None = None,
    clock_s: Callable[[Source], tuple[float, float]] | None = None,
    take_of: Callable[[Source], Take] | None = None,
    listener: Callable[[int, int], None] | None = None,
) -> tuple[list[Comparison], list[Problem]]:
    """Line takes up by their sound.

    Of many pairs those come first that ran at the same time by the clocks of their cameras, and
    those are not compared that surely did not; see `calltag.edit.sync.order`.

    Parameters
    ----------
    sources : sequence of Source
        The takes, at least two.
    n_first : int or None
        How many of them, from the first on, the others are compared with; None for all with all.
    bounds : Bounds, optional
        Where to look for a take's beginning in an earlier one; everywhere unless given.
    clock_s : callable, optional
        Given a take, tells the seconds since midnight at which it begins by its clock, and after
        how many its clock begins anew, or raises `MediaError`; `bounds` then count from where the
        clocks put a take.
    take_of : callable, optional
        Tells what is known of a take, or raises `MediaError`; without it all pairs are compared.
    listener : callable, optional
        Is told how many steps are done, of how many: each take that is read is one, and each pair
        that is dealt with.

    Returns
    -------
    comparisons : list of Comparison
        One for each pair that could be read, in order.
    problems : list of Problem
        Takes that could not be read, have no sound, or no clock where `clock_s` is given.

    Raises
    ------
    InputError
        If there are fewer than two takes, or one is named twice.
    MediaError
        If the one take with which all are compared has such a problem.
    """
    if len(sources) < 2:
        raise InputError("name at least two takes to line up")
    for one, other in combinations(sources, 2):
        if one.path == other.path:
            raise InputError(f"{one.name}: named twice; name two takes of the same moment")
    pairs = list(_pairs(len(sources), n_first))
    progress = _Progress(listener, len(sources) + len(pairs))
    n_kept = len(sources) if n_first is None else n_first
    reading = _Reading(sources, clock_s, n_kept=n_kept, progress=progress)
    if n_first == 1:  # there is nothing to compare without it
        reading.check(0)
    known = _known(sources, take_of)
    order = Order(known)
    found: dict[tuple[int, int], Comparison] = {}
    for turn in order.through(pairs):
        with suppress(MediaError):  # it is noted
            came_to = _dealt_with(turn, reading, known, bounds or Bounds())
            found[turn.first, turn.second] = came_to
            if came_to.lined_up is not None:
                order.learn(turn, came_to.lined_up.offset_s)
        progress.step()
    progress.end()
    return [found[pair] for pair in pairs if pair in found], reading.problems()


def _dealt_with(
    turn: Turn, reading: _Reading, known: Mapping[int, Take], bounds: Bounds
) -> Comparison:
    """Compare the takes of a pair, unless it is known beforehand that they did not run at once."""
    numbers = turn.first, turn.second
    names = reading.name(turn.first), reading.name(turn.second)
    within = reading.within(bounds, *numbers)
    if turn.spared:
        return Comparison.nothing(*names, NOT_BY_CLOCKS)
    lengths_s = [known[one].duration_s for one in numbers if one in known]
    if len(lengths_s) == 2 and out_of_reach(within, *lengths_s):
        return Comparison.nothing(*names, NOT_AS_SAID)
    return _compared(reading.trace(turn.first), reading.trace(turn.second), *names, within, turn)


def _compared(
    a: Trace, b: Trace, take_a: str, take_b: str, within: Bounds, turn: Turn
) -> Comparison:
    """Compare two takes, first where B is to begin by the clocks, if they tell.

    That saves time, and makes nothing surer: a clock may have been set anew. So as much has to
    agree as elsewhere, and near where the clocks say, or all is searched.
    """
    if turn.begins_s is not None:
        low_s = max(within.low_s, turn.begins_s - SAME_S)
        high_s = min(within.high_s, turn.begins_s + SAME_S)
        near_by = Bounds(low_s, high_s)
        near = compare(a, b, take_a, take_b, bounds=near_by, narrow=is_narrow(within))
        lies = near.lined_up
        if lies is not None and abs(lies.offset_s - turn.begins_s) <= _AS_CLOCKS_SAY_S:
            return near
    return compare(a, b, take_a, take_b, bounds=within, glance=turn.glance)


def _pairs(n_takes: int, n_first: int | None) -> Iterator[tuple[int, int]]:
    """Numbers of the takes of each pair: all with all, or the first so many with the others."""
    for second in range(n_first or 0, n_takes):
        for first in range(second if n_first is None else n_first):
            yield first, second


def _known(sources: Sequence[Source], take_of: Callable[[Source], Take] | None) -> dict[int, Take]:
    """What is known of takes, by their numbers; of none that is to be told of when it is read."""
    if take_of is None:
        return {}
    known: dict[int, Take] = {}
    for number, source in enumerate(sources):
        with suppress(MediaError):
            take = take_of(source)
            if take.has_sound and is_file(source.path):
                known[number] = take
    return known


class _Progress:
    """Tells how many steps are done."""

    def __init__(self, listener: Callable[[int, int], None] | None, n_steps: int) -> None:
        self._listener, self._n_steps, self._n_done = listener, n_steps, 0
        self._tell()

    def step(self) -> None:
        """Count one more."""
        self._n_done += 1
        self._tell()

    def end(self) -> None:
        """Count those that were not needed."""
        if self._n_done < self._n_steps:
            self._n_done = self._n_steps
            self._tell()

    def _tell(self) -> None:
        if self._listener is not None:
            self._listener(self._n_done, self._n_steps)


class _Reading:
    """Reads takes when they are asked for, keeps the first so many, and notes what went wrong."""

    def __init__(
        self,
        sources: Sequence[Source],
        clock_s: Callable[[Source], tuple[float, float]] | None,
        *,
        n_kept: int,
        progress: _Progress,
    ) -> None:
        self._sources, self._clock_s, self._n_kept = sources, clock_s, n_kept
        self._progress = progress
        self._kept: dict[int, Trace] = {}
        self._passing = lru_cache(_AT_ONCE)(self._read)
        self._clock = lru_cache(None)(self._asked)
        self._seen: set[int] = set()
        self._failed: dict[int, MediaError] = {}

    def name(self, number: int) -> str:
        """What a take is called in tables."""
        return self._sources[number].name

    def check(self, number: int) -> None:
        """Raise MediaError if a take cannot be read, or has no clock where one is asked for."""
        self._clock(number)
        self.trace(number)

    def trace(self, number: int) -> Trace:
        """Read a take; raise MediaError, each time, if that cannot be."""
        if number in self._failed:
            raise self._failed[number]
        if number >= self._n_kept:
            return self._passing(number)
        if number not in self._kept:
            self._kept[number] = self._read(number)
        return self._kept[number]

    def within(self, bounds: Bounds, first: int, second: int) -> Bounds:
        """Where a take may begin in another; bounds count from where clocks put it, if asked."""
        (began_s, its_day_s), (begins_s, day_s) = self._clock(first), self._clock(second)
        apart_s = within_half_s(begins_s - began_s, max(day_s, its_day_s))
        return Bounds(bounds.low_s + apart_s, bounds.high_s + apart_s)

    def problems(self) -> list[Problem]:
        """What went wrong, in order of the takes."""
        return [
            Problem(path=self.name(number), reason=error.reason)
            for number, error in sorted(self._failed.items())
        ]

    def _read(self, number: int) -> Trace:
        self._see(number)
        try:
            return trace_take(self._sources[number].path)
        except MediaError as error:
            self._failed[number] = error
            raise

    def _asked(self, number: int) -> tuple[float, float]:
        """When a take begins by its clock, and after how long that begins anew."""
        if self._clock_s is None:
            return 0.0, DAY_S
        if number in self._failed:  # asked once, as a file may be read for it
            raise self._failed[number]
        try:
            return self._clock_s(self._sources[number])
        except MediaError as error:
            self._see(number)
            self._failed.setdefault(number, error)
            raise

    def _see(self, number: int) -> None:
        """Count a take once, however often it is read."""
        if number not in self._seen:
            self._seen.add(number)
            self._progress.step()


def count_pairs(n_takes: int, n_first: int | None) -> int:
    """Count the pairs that `sync_takes` compares.

    Parameters
    ----------
    n_takes : int
        Takes in all.
    n_first : int or None
        How many of them the others are compared with; None for all with all.

    Returns
    -------
    int
        Pairs.

    Examples
    --------
    >>> count_pairs(5, 1), count_pairs(5, 2), count_pairs(5, None)
    (4, 6, 10)
    """
    return math.comb(n_takes, 2) if n_first is None else n_first * (n_takes - n_first)
