"""What pairs of takes that are lined up say of the clocks of two cameras.

A pair that is lined up, now or before, states by how much one camera's clock is ahead of the
other's. Where pairs agree on that, the clocks put the other pairs of these cameras in a narrow
place. What was lined up before tells of takes of the same day alone, since clocks are set anew.
Crystals are good to 50 millionths, so two clocks part by up to nine frames an hour; common practice
says a frame or two, which is what they may stray between two pairs that are lined up. Where they
may have parted by more than 0.4 s, or dates say another day, they tell nothing; over a third
camera, of which two differences would tell together, they soon would have.

A clock is that of a camera, or recorder: of takes that `calltag.media.joins` would join, see
`camera`. One that runs only while its camera does states another difference with every take. A
camera also films at 50 what is to be slowed and at 25 the rest: where all that is known of two
folders agrees, it tells where to look for takes of other forms in these, too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from operator import attrgetter
from pathlib import PurePosixPath
from statistics import median
from typing import NamedTuple

import numpy as np

from calltag.media.joins import camera
from calltag.media.timing.clock import (
    DAY_S,
    apart_s,
    clocks_apart_s,
    dates_apart_s,
    longer_day_s,
    recorded_at,
    time_of_day_s,
    within_half_s,
)
from calltag.records.alignment import Alignment
from calltag.records.take import Take

FEWEST = 2
"""Pairs that have to agree where clocks alone place a take, or where pairs say different things.

One alone may be wrong, or of clocks that run with the camera alone; it is enough to tell where to
look, since at wrong places the sound does not agree.
"""

STAMP_S = 0.15
"""Two frames by which timecode is cut off, and the way of sound from 20 m."""

_DRIFT = 1e-4  # between two crystals that are good to 50 millionths
_STRAY = 2.5e-5  # from a straight line between two pairs: two frames an hour
_FARTHEST_S = 10.0  # they part by no more within a day or so
_MOST_OFF_S = 0.4
_EPOCH = datetime(1970, 1, 1)
_DATES_S = 5.0  # dates are to the second, and a day's drift from timecode
_SAME_DAY_S = DAY_S / 2  # clocks show the same again after a day


class ClockPlace(NamedTuple):
    """Where clocks put a pair of takes.

    Attributes
    ----------
    at_s : float
        When the first began, to tell which of several pairs comes first.
    begins_s : float
        Where the second begins, in seconds of the first.
    off_s : float
        How far off that may be.
    dates_agree : bool
        Whether the dates of the takes, and of pairs enough that are lined up, put them there, too.
    """

    at_s: float
    begins_s: float
    off_s: float
    dates_agree: bool


class _Witness(NamedTuple):
    """A pair that is lined up: when, by how much B's clock is ahead, and by how much its date."""

    at_s: float
    ahead_s: float
    date_ahead_s: float | None


class Agreed(NamedTuple):
    """Pairs of two cameras' takes that agree on their clocks.

    Attributes
    ----------
    witnesses : sequence
        What each says, in order of time.
    n_others : int
        How many pairs that are lined up say otherwise.
    """

    witnesses: Sequence[_Witness]
    n_others: int

    def place(self, take_a: Take, take_b: Take) -> ClockPlace | None:
        """Tell where a take of the second camera begins in one of the first.

        Parameters
        ----------
        take_a, take_b : Take
            The takes, of the first camera and the second.

        Returns
        -------
        ClockPlace or None
            The place; None where that is not told, or dates say another day.
        """
        at_s, stated_s = began_s(take_a), clocks_apart_s(take_a, take_b)
        if at_s is None or stated_s is None:
            return None
        times_s = [one.at_s for one in self.witnesses]
        parting = _STRAY if times_s[0] <= at_s <= times_s[-1] else _DRIFT
        off_s = STAMP_S + parting * min(abs(at_s - time_s) for time_s in times_s)
        if off_s > _MOST_OFF_S:
            return None
        first_s, since_s = self.since_first()
        ahead_s = first_s + float(np.interp(at_s, times_s, since_s))
        begins_s = within_half_s(stated_s - ahead_s, longer_day_s(take_a, take_b))
        by_dates_s, n_dated = self._by_dates(take_a, take_b, begins_s)
        if by_dates_s > _SAME_DAY_S:
            return None
        return ClockPlace(at_s, begins_s, off_s, n_dated >= FEWEST and by_dates_s <= _DATES_S)

    def since_first(self) -> tuple[float, list[float]]:
        """Tell by how much the second clock was ahead at first, and how that changed.

        Returns
        -------
        first_s : float
            Seconds that it was ahead with the first pair.
        since_s : list of float
            By how much more it was with each, from the first on.
        """
        first_s = self.witnesses[0].ahead_s
        return first_s, [within_half_s(one.ahead_s - first_s) for one in self.witnesses]

    def _by_dates(self, take_a: Take, take_b: Take, begins_s: float) -> tuple[float, int]:
        """How far off a place is by the dates, and how many pairs say so; 0 by none."""
        dates_s = dates_apart_s(take_a, take_b)
        known_s = [one.date_ahead_s for one in self.witnesses if one.date_ahead_s is not None]
        if dates_s is None or not known_s:
            return 0.0, 0
        return abs(dates_s - begins_s - median(known_s)), len(known_s)


@dataclass(frozen=True, slots=True)
class CameraClocks:
    """What is known of the clocks of cameras; `clocks_of` makes it."""

    _agreed: Mapping[tuple[Hashable, Hashable], Agreed]
    _in_folders: Mapping[tuple[Hashable, Hashable], Agreed]

    def between(self, take_a: Take, take_b: Take) -> Agreed | None:
        """Tell what pairs of the cameras of two takes agree on.

        Parameters
        ----------
        take_a, take_b : Take
            The takes.

        Returns
        -------
        Agreed or None
            By how much the clock of the second is ahead; None where nothing is known.
        """
        return self._agreed.get((camera(take_a), camera(take_b)))

    def place(self, take_a: Take, take_b: Take, *, fewest: int = 1) -> ClockPlace | None:
        """Tell where the clocks of their cameras put two takes.

        Parameters
        ----------
        take_a, take_b : Take
            The takes.
        fewest : int
            Pairs that have to agree on it.

        Returns
        -------
        ClockPlace or None
            Where take B begins in take A; None where the clocks do not tell, or the dates say that
            it was another day. Where other forms of takes in these folders tell it, it is for one
            pair alone, and dates count for nothing.
        """
        known = self.between(take_a, take_b)
        if known is not None:
            return known.place(take_a, take_b) if len(known.witnesses) >= fewest else None
        beside = self._in_folders.get((_folder(take_a), _folder(take_b))) if fewest == 1 else None
        place = beside and beside.place(take_a, take_b)
        return place and place._replace(dates_agree=False)


def clocks_of(lined_up: Iterable[Alignment], takes: Mapping[str, Take]) -> CameraClocks:
    """Find out what pairs that are lined up say of the clocks of their cameras.

    Parameters
    ----------
    lined_up : iterable of Alignment
        How takes lie that were lined up by their sound.
    takes : mapping of str to Take
        Takes by their paths; pairs of others tell nothing.

    Returns
    -------
    CameraClocks
        What most pairs of two cameras agree on, both ways round; nothing of two cameras of which
        no two pairs of several agree.
    """
    said: dict[tuple[Hashable, Hashable], list[_Witness]] = defaultdict(list)
    in_folders: dict[tuple[Hashable, Hashable], list[_Witness]] = defaultdict(list)
    for one in lined_up:
        if not one.pair <= takes.keys():
            continue
        for pair in (one, one.turned()):
            take_a, take_b = takes[pair.take_a], takes[pair.take_b]
            witness = _witness(take_a, take_b, pair.offset_s)
            if witness is not None and camera(take_a) != camera(take_b):
                said[camera(take_a), camera(take_b)].append(witness)
                in_folders[_folder(take_a), _folder(take_b)].append(witness)
    agreed = {}
    for cameras, witnesses in said.items():
        known = _most_agree(witnesses)
        if len(known.witnesses) >= FEWEST or len(witnesses) == 1:
            agreed[cameras] = known
    folders = {
        pair: known
        for pair, witnesses in in_folders.items()
        if pair[0] != pair[1] and len(witnesses) >= FEWEST
        if not (known := _most_agree(witnesses)).n_others
    }
    return CameraClocks(agreed, folders)


def _most_agree(witnesses: Sequence[_Witness]) -> Agreed:
    """The most that agree with one of them."""
    agreeing = max(([o for o in witnesses if _agree(o, one)] for one in witnesses), key=len)
    return Agreed(sorted(agreeing, key=attrgetter("at_s")), len(witnesses) - len(agreeing))


def _folder(take: Take) -> Hashable:
    """The folder of a take, with the kind of its clock: a recorder's may lie beside a camera's."""
    return take.rushes, PurePosixPath(take.path).parent, take.start_tc is None


def places_by_clocks(
    take: Take, others: Iterable[Take], alignments: Iterable[Alignment]
) -> dict[str, ClockPlace]:
    """Tell where the clocks put other cameras' takes, by pairs of the same day that are lined up.

    Parameters
    ----------
    take : Take
        The take. One without sound has the clock of its camera's takes with sound.
    others : iterable of Take
        The takes of the log.
    alignments : iterable of Alignment
        How takes lie that are lined up.

    Returns
    -------
    dict of str to ClockPlace
        By path of those that are told, where they begin in the take.
    """
    takes = {one.path: one for one in (*others, take)}
    clocks = clocks_of(on_such_a_day(alignments, takes, [take]), takes)
    own = [take] if take.has_sound else _with_sound(take, takes.values())
    return {
        other.path: place
        for other in takes.values()
        for one in own
        if (place := clocks.place(one, other, fewest=FEWEST)) is not None
    }


def _with_sound(take: Take, others: Iterable[Take]) -> list[Take]:
    """The take as it would be with the sound of other takes of its camera."""
    as_theirs = (
        (replace(take, sample_rate_hz=one.sample_rate_hz, channels=one.channels), one)
        for one in others
        if one.has_sound
    )
    return list({camera(own): own for own, one in as_theirs if camera(own) == camera(one)}.values())


def began_s(take: Take) -> float | None:
    """Tell when a take began, to say how far apart two are.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    float or None
        Seconds of its date where it states one, or else of its time of day; None without either.
    """
    date_s = _date_s(take)
    return time_of_day_s(take) if date_s is None else date_s


def on_such_a_day(
    alignments: Iterable[Alignment], takes: Mapping[str, Take], others: Iterable[Take]
) -> list[Alignment]:
    """Choose the pairs whose clocks were set as those of other takes: on the same day.

    Parameters
    ----------
    alignments : iterable of Alignment
        How takes lie against each other.
    takes : mapping of str to Take
        Takes by their paths.
    others : iterable of Take
        The other takes.

    Returns
    -------
    list of Alignment
        Those of which a take is within half a day of one of the others, or states no date; all
        where none of the others states one.
    """
    dates_s = [at_s for take in others if (at_s := _date_s(take)) is not None]
    return [
        one
        for one in alignments
        if not dates_s
        or any(
            at_s is None or min(abs(at_s - date_s) for date_s in dates_s) <= _SAME_DAY_S
            for at_s in (_date_s(takes[name]) for name in one.pair if name in takes)
        )
    ]


def _witness(take_a: Take, take_b: Take, offset_s: float) -> _Witness | None:
    """What a pair says of the clocks; None where they do not tell when the takes began."""
    at_s, stated_s = began_s(take_a), clocks_apart_s(take_a, take_b)
    if at_s is None or stated_s is None:
        return None
    dates_s = dates_apart_s(take_a, take_b)
    return _Witness(
        at_s,
        within_half_s(stated_s - offset_s, longer_day_s(take_a, take_b)),
        None if dates_s is None else dates_s - offset_s,
    )


def _agree(one: _Witness, other: _Witness) -> bool:
    off_s = min(STAMP_S + _DRIFT * abs(one.at_s - other.at_s), _FARTHEST_S)
    return abs(within_half_s(one.ahead_s - other.ahead_s)) <= off_s


def _date_s(take: Take) -> float | None:
    """When a take began by its date; None where it states none."""
    date = recorded_at(take)
    return None if date is None else apart_s(_EPOCH, date)
