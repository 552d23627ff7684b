"""Takes that heard the same moment, lined up by their sound: through all pairs that are asked for.

As many as memory allows are read before; what a pair comes to, `calltag.edit.sync.comparing` says.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
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
_KEPT_S = 6 * 3600.0  # sound whose traces are kept, at 100 MB an hour; others are read again
_AT_ONCE, _PASSING_S = 6, 3600.0  # takes, and sound, of those; a pair in any case

READING = "reading the takes"
"""What is told of first; then come the pairs."""

COMPARING = "comparing pairs"
"""What is told of next."""

AGAIN = "looking closer at pairs that a glance left open"
"""What is told of last, where there are many pairs."""


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
    listener: Callable[[str, int, int], None] | None = None,
    traces: Traces | None = None,
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
        Is told what is done, and how many of how many: of takes that are read, of pairs that are
        compared, and of those that a glance left open and that are compared again.
    traces : Traces, optional
        Keeps what is read, for who needs it next.

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
    within = bounds or Bounds()
    tell = listener or (lambda *_: None)
    n_kept = len(sources) if n_first is None else n_first
    known = _known(sources, take_of)
    reading = _Reading(sources, clock_s, traces or Traces(), n_kept=n_kept)
    if n_first == 1:  # there is nothing to compare without it
        reading.check(0)
    reading.read_ahead(_to_read(pairs, reading, known, within), tell)
    order = Order(known)
    found: dict[tuple[int, int], Comparison] = {}
    done = again = n_again = 0
    tell(COMPARING, 0, len(pairs))
    for turn in order.through(pairs):
        if turn.again and not n_again:
            n_again = order.n_left()
            tell(COMPARING, len(pairs), len(pairs))
            tell(AGAIN, 0, n_again)
        try:
            came_to = _dealt_with(turn, reading, known, within)
        except MediaError:  # it is noted
            order.drop(turn)
        else:
            found[turn.first, turn.second] = came_to
            if came_to.lined_up is not None:
                order.learn(turn, came_to.lined_up.offset_s)
        done, again = done + (not turn.again), again + turn.again
        tell(*((AGAIN, again, n_again) if turn.again else (COMPARING, done, len(pairs))))
    return [found[pair] for pair in pairs if pair in found], reading.problems()


def _to_read(
    pairs: Sequence[tuple[int, int]],
    reading: _Reading,
    known: Mapping[int, Take],
    bounds: Bounds,
) -> list[int]:
    """Numbers of the takes of pairs that may have run at the same time, by what is said of it."""
    numbers: set[int] = set()
    for pair in pairs:
        with suppress(MediaError):  # it is noted
            if not _apart(pair, known, reading.within(bounds, *pair)):
                numbers |= set(pair)
    return sorted(numbers)


def _apart(pair: tuple[int, int], known: Mapping[int, Take], within: Bounds) -> bool:
    """Whether two takes are known to be out of each other's reach."""
    return all(one in known for one in pair) and out_of_reach(
        within, *(known[one].duration_s for one in pair)
    )


def _dealt_with(
    turn: Turn, reading: _Reading, known: Mapping[int, Take], bounds: Bounds
) -> Comparison:
    """Compare the takes of a pair, unless it is known beforehand that they did not run at once."""
    numbers = turn.first, turn.second
    names = reading.name(turn.first), reading.name(turn.second)
    within = reading.within(bounds, *numbers)
    if turn.spared:
        return Comparison.nothing(*names, NOT_BY_CLOCKS)
    if _apart(numbers, known, within):
        return Comparison.nothing(*names, NOT_AS_SAID)
    return _compared(reading.trace(turn.first), reading.trace(turn.second), *names, within, turn)


def _compared(
    a: Trace, b: Trace, take_a: str, take_b: str, within: Bounds, turn: Turn
) -> Comparison:
    """Compare two takes, first where B is to begin by the clocks, if they tell.

    That saves time, and makes nothing surer: a clock may have been set anew. So as much has to
    agree as elsewhere, and near where the clocks say, or all is searched. So it is where a glance
    lines a pair up: what repeats may show only there.
    """
    if turn.begins_s is not None:
        low_s = max(within.low_s, turn.begins_s - SAME_S)
        high_s = min(within.high_s, turn.begins_s + SAME_S)
        near_by = Bounds(low_s, high_s)
        near = compare(a, b, take_a, take_b, bounds=near_by, narrow=is_narrow(within))
        lies = near.lined_up
        if lies is not None and abs(lies.offset_s - turn.begins_s) <= _AS_CLOCKS_SAY_S:
            return near
    if turn.glance:
        glanced = compare(a, b, take_a, take_b, bounds=within, glance=True)
        if glanced.lined_up is None:
            return glanced
    return compare(a, b, take_a, take_b, bounds=within)


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


class Traces:
    """Reads the sound of takes, and keeps what was read."""

    def __init__(self) -> None:
        self._kept: dict[Path, Trace] = {}
        self._kept_s = 0.0
        self._always: set[Path] = set()
        self._passing: dict[Path, Trace] = {}  # what was asked for last comes last

    def keep(self, paths: Iterable[Path]) -> None:
        """Keep takes in any case, once they are read.

        Parameters
        ----------
        paths : iterable of Path
            The takes.
        """
        self._always.update(paths)

    def keeps(self, path: Path) -> bool:
        """Tell whether a take would be kept, if it were read now.

        Parameters
        ----------
        path : Path
            The take.

        Returns
        -------
        bool
            Whether it, or less than six hours of sound, is kept.
        """
        return path in self._always or self._kept_s < _KEPT_S

    def __call__(self, path: Path) -> Trace:
        """Read a take, unless it is kept.

        Parameters
        ----------
        path : Path
            The take.

        Returns
        -------
        Trace
            Of its sound.

        Raises
        ------
        MediaError
            If the file cannot be read, or has no sound.
        """
        if path in self._kept:
            return self._kept[path]
        if not self.keeps(path):
            return self._pass(path)
        self._kept[path] = trace = trace_take(path)
        self._kept_s += trace.duration_s
        return trace

    def _pass(self, path: Path) -> Trace:
        """Read a take that is not kept, unless it was asked for lately."""
        known = self._passing.pop(path, None)
        if known is None:
            self._make_room()
            known = trace_take(path)
        self._passing[path] = known
        return known

    def _make_room(self) -> None:
        """Let go of takes that were asked for longest ago, but not of the other one of a pair."""
        while len(self._passing) > 1 and (
            len(self._passing) >= _AT_ONCE
            or sum(one.duration_s for one in self._passing.values()) > _PASSING_S
        ):
            del self._passing[next(iter(self._passing))]


class _Reading:
    """Reads takes when they are asked for, and notes what went wrong."""

    def __init__(
        self,
        sources: Sequence[Source],
        clock_s: Callable[[Source], tuple[float, float]] | None,
        traces: Traces,
        *,
        n_kept: int,
    ) -> None:
        self._sources, self._clock_s = sources, clock_s
        self._traces = traces
        traces.keep(source.path for source in sources[:n_kept])
        self._clock = lru_cache(None)(self._asked)
        self._failed: dict[int, MediaError] = {}

    def read_ahead(self, numbers: Sequence[int], tell: Callable[[str, int, int], None]) -> None:
        """Read as many takes as are kept, and tell how far that is."""
        tell(READING, 0, len(numbers))
        for done, number in enumerate(numbers, start=1):
            if self._traces.keeps(self._sources[number].path):
                with suppress(MediaError):  # it is noted
                    self.trace(number)
            tell(READING, done, len(numbers))

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
        try:
            return self._traces(self._sources[number].path)
        except MediaError as error:
            self._failed[number] = error
            raise

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

    def _asked(self, number: int) -> tuple[float, float]:
        """When a take begins by its clock, and after how long that begins anew."""
        if self._clock_s is None:
            return 0.0, DAY_S
        if number in self._failed:  # asked once, as a file may be read for it
            raise self._failed[number]
        try:
            return self._clock_s(self._sources[number])
        except MediaError as error:
            self._failed.setdefault(number, error)
            raise


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
