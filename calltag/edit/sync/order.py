"""In which order pairs of takes are compared, and which need not be.

Two cards hold thousands of pairs, of which some hundred ran at the same time. So pairs come first
that did so by the clocks of their cameras: by the clocks as they are, until a pair is lined up and
says how far they are apart. Once a few pairs of two cameras are lined up, and nearly all say the
same, takes of these that lie a minute and more apart by that are not compared at all, as long as
each of the two began between others that say so, and the clock ran on from take to take by name:
then it was not set anew meanwhile. What began before or after all these is given a glance.

Until then many pairs get a glance, too, which is quick and finds what both heard clearly. Those in
which it finds nothing have their full turn when all were glanced at, unless the clocks, by then
known, put them apart.

That asks less of clocks than `calltag.edit.sync.camera_clocks`, which places takes by them: dates
that are cut off to the second will do.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping
from statistics import median
from typing import NamedTuple

from calltag.edit.sync.camera_clocks import began_s
from calltag.media.joins import camera
from calltag.media.timing.clock import (
    DAY_S,
    clocks_apart_s,
    dates_apart_s,
    longer_day_s,
    recorded_at,
    within_half_s,
)
from calltag.records.take import Take
from calltag.spelling import name_order

ENOUGH_PAIRS = 3
"""Pairs that have to be lined up, and to agree on two cameras' clocks, but for one in ten."""

SAME_S = 10.0
"""Clocks of two cameras part by no more within a day, and dates are cut off to the second."""

FEW_PAIRS = 12
"""So many are compared at once, without a glance before."""

_ONE_WRONG_IN = 10  # pairs that are lined up: the same recording is played twice, or so
_NEAR_S = 60.0  # apart by less than this, takes may have run at the same time
_MOVED_S = 1.0  # from what was known of clocks: others may be near now


class Turn(NamedTuple):
    """A pair whose turn it is.

    Attributes
    ----------
    first, second : int
        Numbers of the takes.
    spared : bool
        Whether it need not be compared.
    glance : bool
        Whether a glance is to do for now: nothing is expected of it, or others come first. Where
        it is known when it begins, this is of other places.
    begins_s : float or None
        About where the second begins in the first, to `SAME_S`, where that is sure.
    again : bool
        Whether it had a glance before.
    """

    first: int
    second: int
    spared: bool = False
    glance: bool = False
    begins_s: float | None = None
    again: bool = False


class _Known(NamedTuple):
    """What counts of a take: its camera, in which of its runs it lies, and when it began."""

    take: Take
    camera: Hashable
    run: int
    at_s: float | None


_Reach = dict[int, tuple[float, float]]
"""From when to when takes of a run began."""


def _reach(takes: Iterable[_Known]) -> _Reach:
    """From when to when takes of each run began."""
    reach: _Reach = {}
    for one in takes:
        if one.at_s is not None:
            least_s, most_s = reach.get(one.run, (one.at_s, one.at_s))
            reach[one.run] = min(least_s, one.at_s), max(most_s, one.at_s)
    return reach


class _Said:
    """What pairs of two cameras that are lined up say of their clocks."""

    def __init__(self) -> None:
        self.ahead_s = 0.0  # of the second, by most
        self.agreed = False
        self._all: list[tuple[float, tuple[_Known, ...]]] = []
        self._reaches: tuple[_Reach, _Reach] = ({}, {})

    def add(self, ahead_s: float, pair: Iterable[_Known]) -> None:
        """Take in a pair, and by how much the clock of its second take is ahead."""
        self._all.append((ahead_s, tuple(pair)))
        self.ahead_s = median(ahead_s for ahead_s, _ in self._all)
        like = [pair for ahead_s, pair in self._all if abs(ahead_s - self.ahead_s) <= SAME_S / 2]
        n_others = len(self._all) - len(like)
        self.agreed = len(like) >= ENOUGH_PAIRS and n_others <= len(self._all) // _ONE_WRONG_IN
        self._reaches = _reach(one for one, _ in like), _reach(other for _, other in like)

    def between(self, pair: Iterable[_Known]) -> bool:
        """Whether each of two takes began between others of its run that were taken in."""
        for reach, one in zip(self._reaches, pair, strict=True):
            least_s, most_s = reach.get(one.run, (math.inf, -math.inf))
            if one.at_s is None or not least_s <= one.at_s <= most_s:
                return False
        return True


class Order:
    """Goes through pairs of takes, and learns of the clocks meanwhile.

    Parameters
    ----------
    takes : mapping of int to Take
        What is known of takes, by their numbers; pairs of others are compared in any case.
    """

    def __init__(self, takes: Mapping[int, Take]) -> None:
        self._takes = _in_runs(takes)
        self._said: dict[tuple[Hashable, Hashable], _Said] = defaultdict(_Said)
        self._stated: dict[tuple[int, int], float | None] = {}
        self._n_moved = 0
        self._settled: set[tuple[int, int]] = set()
        self._again: list[tuple[int, int]] = []

    def learn(self, turn: Turn, offset_s: float) -> None:
        """Take in how the takes of a pair lie.

        Parameters
        ----------
        turn : Turn
            The pair.
        offset_s : float
            Where the second begins, in seconds of the first.
        """
        pair = turn.first, turn.second
        self._settled.add(pair)
        stated_s = self._stated_s(*pair)
        if stated_s is None:
            return
        said = self._said_of(*pair)
        before_s = said.ahead_s
        more_s = self._within_a_turn(*pair, stated_s - offset_s - before_s)
        said.add(before_s + more_s, [self._takes[number] for number in pair])
        self._n_moved += abs(said.ahead_s - before_s) > _MOVED_S

    def drop(self, turn: Turn) -> None:
        """Take in that a pair cannot be compared.

        Parameters
        ----------
        turn : Turn
            The pair.
        """
        self._settled.add((turn.first, turn.second))

    def n_left(self) -> int:
        """Count the pairs that a glance did not line up, and that have not had their full turn.

        Returns
        -------
        int
            Pairs.
        """
        return sum(pair not in self._settled for pair in self._again)

    def through(self, pairs: Iterable[tuple[int, int]]) -> Iterator[Turn]:
        """Go through pairs, those first that seem to have run at the same time.

        Parameters
        ----------
        pairs : iterable of tuple of int
            Numbers of two takes each.

        Yields
        ------
        Turn
            Each pair once, or a second time where a glance was not enough. What one comes to is to
            be told by `learn` or `drop` before the next.
        """
        left = list(pairs)
        many = len(left) > FEW_PAIRS
        while left:
            apart, n_moved = [], self._n_moved
            for pair in left:
                if self._gap_s(*pair, self._begins_s(*pair)) > _NEAR_S:
                    apart.append(pair)
                else:
                    yield self._turn(pair, glance=many)
            n_taken = 0
            while n_taken < len(apart) and self._n_moved == n_moved:  # or others may be near now
                yield self._turn_apart(apart[n_taken], glance=many)
                n_taken += 1
            left = apart[n_taken:]
        for pair in [pair for pair in self._again if pair not in self._settled]:
            turn = self._turn_again(pair)
            if turn is not None:
                yield turn
            self._settled.add(pair)

    def _turn(self, pair: tuple[int, int], *, glance: bool) -> Turn:
        """The first turn of a pair that may have run at once: a full one where clocks agree."""
        begins_s = self._begins_s(*pair)
        if begins_s is not None and self._said_of(*pair).agreed:
            return Turn(*pair, glance=self._is_sure(*pair), begins_s=begins_s)
        return self._noted(Turn(*pair, glance=glance))

    def _turn_apart(self, pair: tuple[int, int], *, glance: bool) -> Turn:
        """The first turn of a pair that did not run at once, by what is known by now."""
        if self._is_sure(*pair):
            return Turn(*pair, spared=True)
        if self._said_of(*pair).agreed:
            return Turn(*pair, glance=True)
        return self._noted(Turn(*pair, glance=glance))

    def _noted(self, turn: Turn) -> Turn:
        """The turn, of which is noted that the pair may need another."""
        if turn.glance:
            self._again.append((turn.first, turn.second))
        return turn

    def _turn_again(self, pair: tuple[int, int]) -> Turn | None:
        """The full turn of a pair; None where clocks that agree make a glance enough."""
        begins_s = self._begins_s(*pair)
        if begins_s is None or not self._said_of(*pair).agreed:
            return Turn(*pair, again=True)
        if self._gap_s(*pair, begins_s) <= _NEAR_S:
            glance = self._is_sure(*pair)
            return Turn(*pair, glance=glance, begins_s=begins_s, again=True)
        return Turn(*pair, spared=True, again=True) if self._is_sure(*pair) else None

    def _stated_s(self, first: int, second: int) -> float | None:
        """How much later the second begins by what the takes state; None if clocks are mute."""
        if first not in self._takes or second not in self._takes:
            return None
        if (first, second) not in self._stated:
            stated_s = _stated_s(self._takes[first].take, self._takes[second].take)
            self._stated[first, second] = stated_s
        return self._stated[first, second]

    def _begins_s(self, first: int, second: int) -> float | None:
        """Where the second begins in the first by what is known by now; None if clocks are mute."""
        stated_s = self._stated_s(first, second)
        if stated_s is None:
            return None
        return self._within_a_turn(first, second, stated_s - self._said_of(first, second).ahead_s)

    def _within_a_turn(self, first: int, second: int, difference_s: float) -> float:
        """A difference as it is where dates tell the day, or else to within half a day."""
        one, other = self._takes[first].take, self._takes[second].take
        if abs(difference_s) <= DAY_S / 2 or dates_apart_s(one, other) is not None:
            return difference_s
        return within_half_s(difference_s, longer_day_s(one, other))

    def _gap_s(self, first: int, second: int, begins_s: float | None) -> float:
        """How far apart two takes lie; 0 where they may not."""
        if begins_s is None:
            return 0.0
        one, other = self._takes[first].take, self._takes[second].take
        return max(0.0, begins_s - one.duration_s, -begins_s - other.duration_s)

    def _is_sure(self, first: int, second: int) -> bool:
        """Whether pairs enough tell the same, before and after each of the two takes."""
        said = self._said_of(first, second)
        return said.agreed and said.between((self._takes[first], self._takes[second]))

    def _said_of(self, first: int, second: int) -> _Said:
        """What pairs of the cameras of two takes said."""
        return self._said[self._takes[first].camera, self._takes[second].camera]


def _in_runs(takes: Mapping[int, Take]) -> dict[int, _Known]:
    """Number the runs of each camera's takes, by name, in which each begins after the one before.

    A clock that is set back begins another, as one does that is set right after it was ahead.
    """
    known: dict[int, _Known] = {}
    last: dict[Hashable, _Known] = {}
    for number in sorted(takes, key=lambda number: name_order(takes[number].path)):
        take = takes[number]
        its, at_s = _clock_of(take), began_s(take)
        run = 0
        if (before := last.get(its)) is not None:
            back = at_s is None or before.at_s is None or at_s < before.at_s
            run = before.run + back
        known[number] = last[its] = _Known(take, its, run, at_s)
    return known


def _clock_of(take: Take) -> Hashable:
    """The clock of a take: that of its camera, by a date with or without a time zone, or none."""
    date = recorded_at(take)
    return camera(take), date is None, date is not None and date.tzinfo is None


def _stated_s(take_a: Take, take_b: Take) -> float | None:
    """How much later B begins by what the takes state: their timecode, or else their dates."""
    by_dates_s, by_clocks_s = dates_apart_s(take_a, take_b), clocks_apart_s(take_a, take_b)
    if by_clocks_s is None:
        return by_dates_s
    by_clocks_s = within_half_s(by_clocks_s, longer_day_s(take_a, take_b))
    another_day = by_dates_s is not None and abs(by_dates_s - by_clocks_s) > DAY_S / 2
    return by_dates_s if another_day else by_clocks_s
