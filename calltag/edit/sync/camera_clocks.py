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

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import combinations
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
_MOST_OFF_S = 0.4
_EPOCH = datetime(1970, 1, 1)
_DATES_S = 5.0  # dates are to the second, and a day's drift from timecode
_SAME_DAY_S = DAY_S / 2  # clocks show the same again after a day


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


class _Agreed(NamedTuple):
    """Pairs of two cameras' takes that agree on their clocks, in order of time."""

    witnesses: Sequence[_Witness]
    n_others: int

    def place(self, take_a: Take, take_b: Take) -> ClockPlace | None:
        """Where B begins in A; None where that is not told, or dates say another day."""
        at_s, stated_s = began_s(take_a), clocks_apart_s(take_a, take_b)
        if at_s is None or stated_s is None:
            return None
        times_s = [one.at_s for one in self.witnesses]
        parting = _STRAY if times_s[0] <= at_s <= times_s[-1] else _DRIFT
        off_s = _STAMP_S + parting * min(abs(at_s - time_s) for time_s in times_s)
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
        """By how much the clock was ahead at first, and by how much more it was with each pair."""
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

    _agreed: Mapping[tuple[Hashable, Hashable], _Agreed]
    _in_folders: Mapping[tuple[Hashable, Hashable], _Agreed]

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
        known = self._agreed.get((camera(take_a), camera(take_b)))
        if known is not None:
            return known.place(take_a, take_b) if len(known.witnesses) >= fewest else None
        beside = self._in_folders.get((_folder(take_a), _folder(take_b))) if fewest == 1 else None
        place = beside and beside.place(take_a, take_b)
        return place and place._replace(dates_agree=False)

    def differences(self, takes: Iterable[Take]) -> list[ClockDifference]:
        """Tell by how much the clocks of the cameras of some takes are ahead of each other.

        Parameters
        ----------
        takes : iterable of Take
            The takes.

        Returns
        -------
        list of ClockDifference
            Each two cameras of which that is known once, the first of them first; and each two
            folders once, where a camera's files have several forms and all agree.
        """
        first: dict[Hashable, Take] = {}
        for take in takes:
            first.setdefault(camera(take), take)
        folder_of = {one: PurePosixPath(take.path).parent for one, take in first.items()}
        cameras_in = Counter(folder_of.values())
        in_order = sorted(first, key=lambda one: [*cameras_in].index(folder_of[one]))
        found: dict[tuple[PurePosixPath, PurePosixPath], list[ClockDifference]] = defaultdict(list)
        for than, of in combinations(in_order, 2):
            known = self._agreed.get((than, of))
            if known is None:
                continue
            folders = [folder_of[one] for one in (of, than)]
            names = [first[one].path for one in (of, than)]
            if all(folder.name and cameras_in[folder] == 1 for folder in folders):
                names = [str(folder) for folder in folders]
            first_s, since_s = known.since_first()
            middle_s = median(since_s)
            found[folders[0], folders[1]].append(
                ClockDifference(
                    of=names[0],
                    than=names[1],
                    ahead_s=first_s + middle_s,
                    apart_s=max(abs(one_s - middle_s) for one_s in since_s),
                    n_pairs=len(since_s),
                    n_others=known.n_others,
                )
            )
        return [one for folders, said in found.items() for one in _in_one(*folders, said)]


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


def _most_agree(witnesses: Sequence[_Witness]) -> _Agreed:
    """The most that agree with one of them."""
    agreeing = max(([o for o in witnesses if _agree(o, one)] for one in witnesses), key=len)
    return _Agreed(sorted(agreeing, key=attrgetter("at_s")), len(witnesses) - len(agreeing))


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


def _in_one(
    of: PurePosixPath, than: PurePosixPath, said: Sequence[ClockDifference]
) -> Sequence[ClockDifference]:
    """What is said of two folders, once where all agree: one camera's files have several forms."""
    first = max(said, key=attrgetter("n_pairs"))
    apart_s = max(abs(within_half_s(one.ahead_s - first.ahead_s)) + one.apart_s for one in said)
    if len(said) == 1 or not of.name or not than.name or of == than or apart_s > 2 * _STAMP_S:
        return said
    return [
        replace(
            first,
            of=str(of),
            than=str(than),
            apart_s=apart_s,
            n_pairs=sum(one.n_pairs for one in said),
            n_others=sum(one.n_others for one in said),
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
    off_s = min(_STAMP_S + _DRIFT * abs(one.at_s - other.at_s), _FARTHEST_S)
    return abs(within_half_s(one.ahead_s - other.ahead_s)) <= off_s


def _date_s(take: Take) -> float | None:
    """When a take began by its date; None where it states none."""
    date = recorded_at(take)
    return None if date is None else apart_s(_EPOCH, date)
