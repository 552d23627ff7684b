"""By how much cameras' clocks are ahead of each other, as the user is told it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from operator import attrgetter
from pathlib import PurePosixPath
from statistics import median

from calltag.edit.sync.camera_clocks import FEWEST, STAMP_S, CameraClocks
from calltag.media.joins import camera
from calltag.media.timing.clock import clocks_apart_s, dates_apart_s, within_half_s
from calltag.records.alignment import Alignment
from calltag.records.take import Take
from calltag.words import clock, counted, position

_DATES_S = 2.0  # dates are cut off to the second, of both


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


def differences_of(clocks: CameraClocks, takes: Iterable[Take]) -> list[ClockDifference]:
    """Tell by how much the clocks of the cameras of some takes are ahead of each other.

    Parameters
    ----------
    clocks : CameraClocks
        What is known of the clocks.
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
    place_of = {folder: place for place, folder in enumerate(cameras_in)}
    in_order = sorted(first, key=lambda one: place_of[folder_of[one]])
    found: dict[tuple[PurePosixPath, PurePosixPath], list[ClockDifference]] = defaultdict(list)
    for than, of in combinations(in_order, 2):
        known = clocks.between(first[than], first[of])
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


def by_dates(lined_up: Iterable[Alignment], takes: Mapping[str, Take]) -> list[str]:
    """Tell by how much clocks are ahead of each other that only the dates of takes show.

    Parameters
    ----------
    lined_up : iterable of Alignment
        How takes lie that are lined up.
    takes : mapping of str to Take
        Takes by their paths; pairs of others tell nothing.

    Returns
    -------
    list of str
        A sentence for each two folders of which one states no timecode, and of which two pairs and
        more agree to the second or two that dates are cut off to; takes in no folder go by their
        cameras, each named by a take.
    """
    said: dict[tuple[str, str], list[float]] = defaultdict(list)
    first: dict[Hashable, str] = {}
    for one in lined_up:
        if not one.pair <= takes.keys():
            continue
        take_a, take_b = takes[one.take_a], takes[one.take_b]
        than, of = (_folder_or_first(take, first) for take in (take_a, take_b))
        dates_s = dates_apart_s(take_a, take_b)
        if dates_s is not None and clocks_apart_s(take_a, take_b) is None and of != than:
            said[than, of].append(dates_s - one.offset_s)
    told = []
    for (than, of), ahead_s in said.items():
        agreeing_s = [s for s in ahead_s if abs(s - median(ahead_s)) <= _DATES_S]
        n_agree, n_others = len(agreeing_s), len(ahead_s) - len(agreeing_s)
        if n_agree < FEWEST or n_agree <= n_others:
            continue
        middle_s = median(agreeing_s)
        others = f", {counted(n_others, 'says', 'say')} otherwise" if n_others else ""
        told.append(
            f"The clock of {of} {_about(middle_s)} that of {than}, by the dates: "
            f"{n_agree} pairs agree{others}."
        )
    return told


def _folder_or_first(take: Take, first: dict[Hashable, str]) -> str:
    """The folder of a take, or the first take of its camera where it lies in none."""
    folder = PurePosixPath(take.path).parent
    return str(folder) if folder.name else first.setdefault(camera(take), take.path)


def _about(ahead_s: float) -> str:
    if abs(ahead_s) <= _DATES_S:
        return "shows the same, to a second or two, as"
    return f"is about {clock(round(abs(ahead_s)))} {'behind' if ahead_s < 0 else 'ahead of'}"


def _in_one(
    of: PurePosixPath, than: PurePosixPath, said: Sequence[ClockDifference]
) -> Sequence[ClockDifference]:
    """What is said of two folders, once where all agree: one camera's files have several forms."""
    first = max(said, key=attrgetter("n_pairs"))
    apart_s = max(abs(within_half_s(one.ahead_s - first.ahead_s)) + one.apart_s for one in said)
    if len(said) == 1 or not of.name or not than.name or of == than or apart_s > 2 * STAMP_S:
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
