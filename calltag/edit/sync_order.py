"""In which order pairs of takes are compared, and which need not be.

Two cards hold thousands of pairs, of which some hundred ran at the same time. So pairs come first
that did so by the clocks of their cameras: by the clocks as they are, until a pair is lined up and
says how far they are apart. Once a few pairs of two folders are lined up, and all say the same,
takes of these that lie a minute and more apart by that are not compared at all, as long as each of
the two began between others that say so: then no clock was set anew meanwhile. What began before or
after all these is given a glance.

That asks less of clocks than `calltag.edit.camera_clocks`, which places takes by them: dates that
are cut off to the second will do.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import PurePosixPath
from statistics import median
from typing import NamedTuple

from calltag.media.clock import (
    DAY_S,
    apart_s,
    clocks_apart_s,
    dates_apart_s,
    longer_day_s,
    recorded_at,
    time_of_day_s,
    within_half_s,
)
from calltag.records.take import Take

ENOUGH_PAIRS = 3
"""Pairs that have to be lined up, and to say the same of two folders' clocks."""

SAME_S = 10.0
"""Clocks of two cameras part by no more within a day, and dates are cut off to the second."""

_NEAR_S = 60.0  # apart by less than this, takes may have run at the same time
_EPOCH = datetime(1970, 1, 1)


class Turn(NamedTuple):
    """A pair whose turn it is.

    Attributes
    ----------
    first, second : int
        Numbers of the takes.
    spared : bool
        Whether it need not be compared.
    glance : bool
        Whether nothing is expected of it, unless a clock was set anew since.
    begins_s : float or None
        About where the second begins in the first, to `SAME_S`, where that is sure.
    """

    first: int
    second: int
    spared: bool = False
    glance: bool = False
    begins_s: float | None = None


class _Witness(NamedTuple):
    """A pair that is lined up: when its takes began, and by how much the clock of the second is
    ahead."""

    at_s: float
    its_at_s: float
    ahead_s: float


class Order:
    """Goes through pairs of takes, and learns of the clocks meanwhile.

    Parameters
    ----------
    takes : mapping of int to Take
        What is known of takes, by their numbers; pairs of others are compared in any case.
    """

    def __init__(self, takes: Mapping[int, Take]) -> None:
        self._takes = takes
        self._said: dict[tuple[Hashable, ...], list[_Witness]] = defaultdict(list)

    def learn(self, turn: Turn, offset_s: float) -> None:
        """Take in how the takes of a pair lie.

        Parameters
        ----------
        turn : Turn
            The pair.
        offset_s : float
            Where the second begins, in seconds of the first.
        """
        take_a, take_b = (self._takes.get(number) for number in (turn.first, turn.second))
        if take_a is None or take_b is None:
            return
        stated_s, at_s, its_at_s = _stated_s(take_a, take_b), _at_s(take_a), _at_s(take_b)
        if stated_s is not None and at_s is not None and its_at_s is not None:
            said = self._said[_folder(take_a), _folder(take_b)]
            said.append(_Witness(at_s, its_at_s, stated_s - offset_s))

    def through(self, pairs: Iterable[tuple[int, int]]) -> Iterator[Turn]:
        """Go through pairs, those first that seem to have run at the same time.

        Parameters
        ----------
        pairs : iterable of tuple of int
            Numbers of two takes each.

        Yields
        ------
        Turn
            Each pair once. What one comes to is to be told by `learn` before the next.
        """
        left = list(pairs)
        while left:
            apart, n_known = [], self._n_known
            for pair in left:
                begins_s = self._begins_s(*pair)
                if self._gap_s(*pair, begins_s) > _NEAR_S:
                    apart.append(pair)
                else:
                    yield Turn(*pair, begins_s=begins_s if self._agreed(*pair) else None)
            n_taken = 0
            while n_taken < len(apart) and self._n_known == n_known:  # or others may be near now
                pair = apart[n_taken]
                sure, agreed = self._is_sure(*pair), self._agreed(*pair)
                yield Turn(*pair, spared=sure, glance=agreed and not sure)
                n_taken += 1
            left = apart[n_taken:]

    @property
    def _n_known(self) -> int:
        """How many pairs are lined up."""
        return sum(map(len, self._said.values()))

    def _begins_s(self, first: int, second: int) -> float | None:
        """Where the second begins in the first by what is known by now; None if clocks are mute."""
        if first not in self._takes or second not in self._takes:
            return None
        stated_s = _stated_s(self._takes[first], self._takes[second])
        if stated_s is None:
            return None
        said = self._said_of(first, second)
        return stated_s - (median(one.ahead_s for one in said) if said else 0.0)

    def _gap_s(self, first: int, second: int, begins_s: float | None) -> float:
        """How far apart two takes lie; 0 where they may not."""
        if begins_s is None:
            return 0.0
        length_s, its_length_s = self._takes[first].duration_s, self._takes[second].duration_s
        return max(0.0, begins_s - length_s, -begins_s - its_length_s)

    def _agreed(self, first: int, second: int) -> bool:
        """Whether enough pairs tell of the clocks of two takes, and all tell the same."""
        said = self._said_of(first, second)
        return len(said) >= ENOUGH_PAIRS and _reach(one.ahead_s for one in said).length_s <= SAME_S

    def _is_sure(self, first: int, second: int) -> bool:
        """Whether they do, before and after each of the two takes."""
        if not self._agreed(first, second):
            return False
        said = self._said_of(first, second)
        return _reach(one.at_s for one in said).holds(_at_s(self._takes[first])) and _reach(
            one.its_at_s for one in said
        ).holds(_at_s(self._takes[second]))

    def _said_of(self, first: int, second: int) -> Sequence[_Witness]:
        """What pairs of the folders of two takes said."""
        takes = (self._takes.get(number) for number in (first, second))
        folders = tuple(_folder(take) for take in takes if take is not None)
        return self._said.get(folders, ())


class _Reach(NamedTuple):
    """From the least of some times to the greatest."""

    least_s: float
    most_s: float

    @property
    def length_s(self) -> float:
        return self.most_s - self.least_s

    def holds(self, at_s: float | None) -> bool:
        return at_s is not None and self.least_s <= at_s <= self.most_s


def _reach(times_s: Iterable[float]) -> _Reach:
    known_s = list(times_s)
    return _Reach(min(known_s), max(known_s))


def _folder(take: Take) -> Hashable:
    """Where a take lies: a folder is one camera's, or what its takes say of clocks differs."""
    return take.rushes, PurePosixPath(take.path).parent


def _stated_s(take_a: Take, take_b: Take) -> float | None:
    """How much later B begins by what the takes state: their timecode, or else their dates."""
    by_dates_s, by_clocks_s = dates_apart_s(take_a, take_b), clocks_apart_s(take_a, take_b)
    if by_clocks_s is None:
        return by_dates_s
    by_clocks_s = within_half_s(by_clocks_s, longer_day_s(take_a, take_b))
    another_day = by_dates_s is not None and abs(by_dates_s - by_clocks_s) > DAY_S / 2
    return by_dates_s if another_day else by_clocks_s


def _at_s(take: Take) -> float | None:
    """When a take began, to tell which of several came first; None where it does not state it."""
    date = recorded_at(take)
    return time_of_day_s(take) if date is None else apart_s(_EPOCH, date)
