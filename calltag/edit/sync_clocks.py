"""What the clocks of two cameras say of pairs of takes of which the sound alone does not tell.

A pair that is lined up, now or before, states by how much one camera's clock is ahead of the
other's. Where pairs agree on that, the clocks put the other pairs in a narrow place; those are
looked for again there, and less sound is enough. What is lined up so tells of the next. What was
lined up before tells of takes of the same day alone, since clocks are set anew. Crystals
are good to 50 millionths, so two clocks part by up to nine frames an hour; common practice says a
frame or two, which is what they may stray between two pairs that are lined up. Where they may have
parted by more than 0.4 s, or dates say another day, they tell nothing; over a third camera, of
which two differences would tell together, they soon would have.

The sound is looked at a little farther around: where it agrees better just outside the place, the
clocks are not what they seem, and an echo within would be taken for it.

A clock is that of a camera, or recorder: of takes that `calltag.media.joins` would join, see
`camera`. One that runs only while its camera does states another difference with every take.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from operator import attrgetter
from pathlib import PurePosixPath
from statistics import median
from typing import NamedTuple

import numpy as np

from calltag.edit.sync import WORTH_NEAR, Comparison, Outcome, Source, compare
from calltag.edit.sync_search import LEAST_OVERLAP_S, Bounds
from calltag.edit.sync_trace import trace_take
from calltag.errors import MediaError
from calltag.media.clock import (
    DAY_S,
    DEFAULT_RATE,
    apart_s,
    day_s,
    recorded_at,
    time_of_day_s,
    within_half_s,
)
from calltag.media.joins import camera
from calltag.records.alignment import Alignment
from calltag.records.take import Take
from calltag.words import counted, position

FEWEST = 2
"""Pairs that have to agree where clocks alone place a take, or where pairs say different things.

One alone may be wrong, or of clocks that run with the camera alone; it is enough to tell where to
look, since at wrong places the sound does not agree.
"""

_STAMP_S = 0.15  # two frames by which timecode is cut off, and the way of sound from 20 m
_DRIFT = 1e-4  # between two crystals that are good to 50 millionths
_STRAY = 2.5e-5  # from a straight line between two pairs: two frames an hour
_FARTHEST_S = 10.0  # they part by no more within a day or so
_AROUND_S, _MOST_OFF_S = 0.5, 0.4
_EPOCH = datetime(1970, 1, 1)
_DATES_S = 5.0  # dates are to the second, and a day's drift from timecode
_SAME_DAY_S = DAY_S / 2  # clocks show the same again after a day
_WHERE = "where the clocks put them"
_TRACES = 6  # kept while pairs are looked at in order of time


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockDifference:
    """By how much a camera's clock is ahead of another's.

    Attributes
    ----------
    of, than : str
        The folders of the two cameras, or a take of each where one is not of that camera alone.
    ahead_s : float
        Seconds, in the middle of the pairs that agree; below zero where it is behind.
    apart_s : float
        By how much those differ at most from that.
    n_pairs : int
        How many agree.
    n_others : int
        How many pairs that are lined up say otherwise.
    """

    of: str
    than: str
    ahead_s: float
    apart_s: float
    n_pairs: int
    n_others: int = 0

    def __str__(self) -> str:
        """Say it."""
        side = "behind" if self.ahead_s < 0 else "ahead of"
        agree = f"{self.n_pairs} pairs agree to {max(0.1, self.apart_s):.1f} s"
        if self.n_pairs == 1:
            agree = "one pair says so"
        others = f", {counted(self.n_others, 'says', 'say')} otherwise" if self.n_others else ""
        return (
            f"The clock of {self.of} is {position(abs(self.ahead_s))} {side} that of {self.than}: "
            f"{agree}{others}."
        )


class _Witness(NamedTuple):
    """A pair that is lined up: when, by how much B's clock is ahead, and by how much its date."""

    at_s: float
    ahead_s: float
    date_ahead_s: float | None


class _Clocks(NamedTuple):
    """Pairs of two cameras' takes that agree on their clocks, in order of time."""

    witnesses: Sequence[_Witness]
    n_others: int

    def place(self, take_a: Take, take_b: Take) -> tuple[float, float] | None:
        """Where B begins in A, and how far off that may be; None where that is not told."""
        at_s, stated_s = _at_s(take_a), _stated_s(take_a, take_b)
        if at_s is None or stated_s is None:
            return None
        times_s = [one.at_s for one in self.witnesses]
        parting = _STRAY if times_s[0] <= at_s <= times_s[-1] else _DRIFT
        off_s = _STAMP_S + parting * min(abs(at_s - time_s) for time_s in times_s)
        if off_s > _MOST_OFF_S:
            return None
        first_s = self.witnesses[0].ahead_s
        since_s = [within_half_s(one.ahead_s - first_s) for one in self.witnesses]
        ahead_s = first_s + float(np.interp(at_s, times_s, since_s))
        return within_half_s(stated_s - ahead_s, _longer_day_s(take_a, take_b)), off_s

    def dates_agree(self, take_a: Take, take_b: Take, offset_s: float) -> bool:
        """Whether the dates of the takes put them there, too."""
        off_s = self._dates_off_s(take_a, take_b, offset_s, FEWEST)
        return off_s is not None and off_s <= _DATES_S

    def on_another_day(self, take_a: Take, take_b: Take, offset_s: float) -> bool:
        """Whether the dates put the takes on other days than the clocks do."""
        off_s = self._dates_off_s(take_a, take_b, offset_s, 1)
        return off_s is not None and off_s > _SAME_DAY_S

    def _dates_off_s(
        self, take_a: Take, take_b: Take, offset_s: float, fewest: int
    ) -> float | None:
        """How far off a place is by the dates; None where too few pairs tell."""
        dates_s = _dates_s(take_a, take_b)
        known_s = [one.date_ahead_s for one in self.witnesses if one.date_ahead_s is not None]
        if dates_s is None or len(known_s) < fewest:
            return None
        return abs(dates_s - offset_s - median(known_s))


def look_by_clocks(
    compared: Sequence[Comparison],
    sources: Iterable[Source],
    take_of: Callable[[Source], Take],
    *,
    before: Iterable[Alignment] = (),
    known: Iterable[Take] = (),
) -> tuple[list[Comparison], list[ClockDifference]]:
    """Look again for pairs where the clocks of their cameras put them.

    Parameters
    ----------
    compared : sequence of Comparison
        What was compared.
    sources : iterable of Source
        The takes.
    take_of : callable
        Tells what is known of a take, or raises `MediaError`.
    before : iterable of Alignment
        How takes lie that were lined up before: they are not looked for again, and tell of the
        clocks, too, on the same day.
    known : iterable of Take
        The takes of those.

    Returns
    -------
    compared : list of Comparison
        The same pairs. Those that the sound left open are lined up where it agrees with the clocks;
        where it tells nothing, and the dates agree, they are placed by the clocks.
    differences : list of ClockDifference
        What all those pairs that are lined up say of the clocks of cameras whose takes were
        compared.
    """
    followed = list(compared)
    anew = {one.pair for one in compared if one.outcome is Outcome.LINED_UP}
    earlier = [one for one in before if one.pair not in anew]
    if not anew and not earlier:
        return followed, []
    files = {source.name: source for source in sources}
    own: dict[str, Take] = {}
    for name in dict.fromkeys(name for one in compared for name in (one.take_a, one.take_b)):
        with suppress(MediaError):  # then its clock is not known
            own[name] = take_of(files[name])
    takes = {take.path: take for take in known} | own
    in_place = {one.pair for one in earlier}
    dates_s = [at_s for take in own.values() if (at_s := _date_s(take)) is not None]
    earlier = [one for one in earlier if _on_such_a_day(one, takes, dates_s)]
    open_pairs = {
        number: (own[one.take_a], own[one.take_b])
        for number, one in enumerate(compared)
        if one.outcome in (Outcome.UNSURE, Outcome.NOTHING)
        and one.pair <= own.keys()
        and one.pair not in in_place
    }
    trace = lru_cache(_TRACES)(trace_take)
    silent: list[int] = []
    clocks = _clocks([*earlier, *_lined_up(followed)], takes)
    while placed := _placed(open_pairs, clocks):  # what is lined up tells of the next
        for number, (at_s, off_s) in placed.items():
            del open_pairs[number]
            one = compared[number]
            with suppress(MediaError):  # it is away since
                near = compare(
                    trace(files[one.take_a].path),
                    trace(files[one.take_b].path),
                    one.take_a,
                    one.take_b,
                    bounds=Bounds(at_s - _AROUND_S, at_s + _AROUND_S),
                    worth=WORTH_NEAR,
                )
                if near.outcome is not Outcome.LINED_UP or near.alignment is None:
                    silent.append(number)
                elif abs(near.alignment.offset_s - at_s) <= off_s:
                    followed[number] = replace(near, reason=f"{near.reason}, {_WHERE}")
        clocks = _clocks([*earlier, *_lined_up(followed)], takes)
    for number in silent:
        one = compared[number]
        pair = own[one.take_a], own[one.take_b]
        place = _placed({number: pair}, clocks).get(number)
        if place is not None and clocks[camera(pair[0]), camera(pair[1])].dates_agree(
            *pair, place[0]
        ):
            followed[number] = _by_clocks(one, *pair, *place)
    return followed, _differences(clocks, own.values())


def _lined_up(compared: Iterable[Comparison]) -> list[Alignment]:
    return [one.alignment for one in compared if one.outcome is Outcome.LINED_UP and one.alignment]


def _on_such_a_day(one: Alignment, takes: Mapping[str, Take], dates_s: Sequence[float]) -> bool:
    """Whether takes that are lined up may be of a day of these dates."""
    own_s = [_date_s(takes[name]) for name in one.pair if name in takes]
    return not dates_s or any(
        at_s is None or min(abs(at_s - date_s) for date_s in dates_s) <= _SAME_DAY_S
        for at_s in own_s
    )


def _placed(
    open_pairs: Mapping[int, tuple[Take, Take]],
    clocks: Mapping[tuple[object, object], _Clocks],
) -> dict[int, tuple[float, float]]:
    """Where the clocks put pairs, and how far off that may be; in order of time."""
    placed = {}
    for number, pair in sorted(open_pairs.items(), key=lambda pair: _at_s(pair[1][0]) or 0.0):
        known = clocks.get((camera(pair[0]), camera(pair[1])))
        place = known.place(*pair) if known is not None else None
        if known is None or place is None or _both_ran_s(*pair, *place) < LEAST_OVERLAP_S:
            continue
        if not known.on_another_day(*pair, place[0]):
            placed[number] = place
    return placed


def _clocks(
    lined_up: Iterable[Alignment], takes: Mapping[str, Take]
) -> dict[tuple[object, object], _Clocks]:
    """What is known of the clocks of two cameras, both ways round."""
    said: dict[tuple[object, object], list[_Witness]] = defaultdict(list)
    for one in lined_up:
        if not one.pair <= takes.keys():
            continue
        for pair in (one, one.turned()):
            take_a, take_b = takes[pair.take_a], takes[pair.take_b]
            at_s, stated_s = _at_s(take_a), _stated_s(take_a, take_b)
            if at_s is None or stated_s is None or camera(take_a) == camera(take_b):
                continue
            dates_s = _dates_s(take_a, take_b)
            said[camera(take_a), camera(take_b)].append(
                _Witness(
                    at_s,
                    within_half_s(stated_s - pair.offset_s, _longer_day_s(take_a, take_b)),
                    None if dates_s is None else dates_s - pair.offset_s,
                )
            )
    clocks = {}
    for cameras, witnesses in said.items():
        agreeing = max(([o for o in witnesses if _agree(o, one)] for one in witnesses), key=len)
        if len(agreeing) >= FEWEST or len(witnesses) == 1:
            clocks[cameras] = _Clocks(
                sorted(agreeing, key=attrgetter("at_s")), len(witnesses) - len(agreeing)
            )
    return clocks


def _agree(one: _Witness, other: _Witness) -> bool:
    off_s = min(_STAMP_S + _DRIFT * abs(one.at_s - other.at_s), _FARTHEST_S)
    return abs(within_half_s(one.ahead_s - other.ahead_s)) <= off_s


def _differences(
    clocks: Mapping[tuple[object, object], _Clocks], takes: Iterable[Take]
) -> list[ClockDifference]:
    """Each two cameras of these takes once, the first of them first."""
    first: dict[object, Take] = {}
    for take in takes:
        first.setdefault(camera(take), take)
    cameras_in = Counter(PurePosixPath(take.path).parent for take in first.values())
    found = []
    told: set[frozenset[object]] = set()
    for (than, of), known in clocks.items():
        if frozenset((of, than)) in told or not {of, than} <= first.keys():
            continue
        told.add(frozenset((of, than)))
        folders = [PurePosixPath(first[one].path).parent for one in (of, than)]
        names = [first[one].path for one in (of, than)]
        if all(folder.name and cameras_in[folder] == 1 for folder in folders):
            names = [str(folder) for folder in folders]
        begun_s = known.witnesses[0].ahead_s
        since_s = [within_half_s(one.ahead_s - begun_s) for one in known.witnesses]
        middle_s = median(since_s)
        found.append(
            ClockDifference(
                of=names[0],
                than=names[1],
                ahead_s=begun_s + middle_s,
                apart_s=max(abs(one_s - middle_s) for one_s in since_s),
                n_pairs=len(since_s),
                n_others=known.n_others,
            )
        )
    return found


def _by_clocks(
    one: Comparison, take_a: Take, take_b: Take, at_s: float, off_s: float
) -> Comparison:
    frames = math.ceil(off_s * float(take_a.fps or take_b.fps or DEFAULT_RATE.fps))
    return replace(
        one,
        outcome=Outcome.BY_CLOCKS,
        alignment=Alignment(
            take_a=one.take_a,
            take_b=one.take_b,
            offset_s=at_s,
            drift_ppm=0.0,
            confidence=0.0,
            overlap_s=_both_ran_s(take_a, take_b, at_s, 0.0),
        ),
        reason=f"by the clocks alone, to {counted(frames, 'frame')}; the sound does not tell",
        repeats=False,
    )


def _at_s(take: Take) -> float | None:
    """When a take began, to tell how far apart two are; by its date where it states one."""
    date_s = _date_s(take)
    return time_of_day_s(take) if date_s is None else date_s


def _date_s(take: Take) -> float | None:
    """When a take began by its date; None where it states none."""
    date = recorded_at(take)
    return None if date is None else apart_s(_EPOCH, date)


def _stated_s(take_a: Take, take_b: Take) -> float | None:
    """How much later B begins, by what the clocks show."""
    clocks = time_of_day_s(take_a), time_of_day_s(take_b)
    return None if clocks[0] is None or clocks[1] is None else clocks[1] - clocks[0]


def _dates_s(take_a: Take, take_b: Take) -> float | None:
    """How much later B begins, by the dates."""
    dates = recorded_at(take_a), recorded_at(take_b)
    return None if dates[0] is None or dates[1] is None else apart_s(dates[0], dates[1])


def _longer_day_s(take_a: Take, take_b: Take) -> float:
    return max(day_s(take_a), day_s(take_b))


def _both_ran_s(take_a: Take, take_b: Take, at_s: float, off_s: float) -> float:
    """How long both ran, at least; below zero where not at the same time."""
    return min(take_a.duration_s, at_s + take_b.duration_s) - max(0.0, at_s) - off_s
