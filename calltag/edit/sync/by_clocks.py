"""What the sound alone leaves open, looked at again where the clocks of two cameras put it.

`calltag.edit.sync.camera_clocks` says by what pairs that are lined up where the others lie. In a
narrow place less sound is enough. What is lined up so tells of the next; what still is not heard is
placed by the clocks alone, where the dates of the files agree.

The sound is looked at a little farther around: where it agrees better just outside the place, the
clocks are not what they seem, and an echo within would be taken for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path

from calltag.edit.sync.camera_clocks import (
    CameraClocks,
    ClockPlace,
    clocks_of,
    on_such_a_day,
)
from calltag.edit.sync.clock_differences import ClockDifference, differences_of
from calltag.edit.sync.comparing import WORTH_NEAR, Comparison, Outcome, alignments_of, compare
from calltag.edit.sync.lining_up import Source, Traces
from calltag.edit.sync.search import LEAST_OVERLAP_S, Bounds
from calltag.edit.sync.trace import Trace
from calltag.errors import MediaError
from calltag.media.timing.clock import DEFAULT_RATE
from calltag.records.alignment import Alignment
from calltag.records.take import Take
from calltag.words import counted

_AROUND_S = 0.5
_WHERE = "where the clocks put them"
LOOKING_AGAIN = f"looking {_WHERE}"
"""What is told of meanwhile."""

_Pairs = Mapping[int, tuple[Take, Take]]
"""The takes of pairs, by the numbers of these."""


def look_by_clocks(
    compared: Sequence[Comparison],
    sources: Iterable[Source],
    take_of: Callable[[Source], Take],
    *,
    before: Iterable[Alignment] = (),
    known: Iterable[Take] = (),
    listener: Callable[[str, int, int], None] | None = None,
    traces: Traces | None = None,
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
    listener : callable, optional
        Is told what is done, and how many of how many pairs.
    traces : Traces, optional
        Has what was read of the takes before.

    Returns
    -------
    compared : list of Comparison
        The same pairs. Those that the sound left open are lined up where it agrees with the clocks;
        where it tells nothing, and the dates agree, they are placed by the clocks.
    differences : list of ClockDifference
        What all those pairs that are lined up say of the clocks of cameras whose takes were
        compared.
    """
    anew = {one.pair for one in compared if one.outcome is Outcome.LINED_UP}
    earlier = [one for one in before if one.pair not in anew]
    if not anew and not earlier:
        return list(compared), []
    files = {source.name: source for source in sources}
    own = _own_takes(compared, files, take_of)
    takes = {take.path: take for take in known} | own
    open_pairs = _open_pairs(compared, own, in_place={one.pair for one in earlier})
    known_clocks = partial(_known_clocks, on_such_a_day(earlier, takes, own.values()), takes)
    tell = listener or (lambda *_: None)
    trace = traces or Traces()
    followed, silent = _heard_in_place(compared, open_pairs, files, known_clocks, trace, tell)
    clocks = known_clocks(followed)
    for number, place in _placed(silent, clocks).items():
        if place.dates_agree:
            followed[number] = _by_clocks(compared[number], *silent[number], place)
    return followed, differences_of(clocks, own.values())


def _own_takes(
    compared: Iterable[Comparison],
    files: Mapping[str, Source],
    take_of: Callable[[Source], Take],
) -> dict[str, Take]:
    """What is known of the takes that were compared, in order."""
    own: dict[str, Take] = {}
    for name in dict.fromkeys(name for one in compared for name in (one.take_a, one.take_b)):
        with suppress(MediaError):  # then its clock is not known
            own[name] = take_of(files[name])
    return own


def _open_pairs(
    compared: Iterable[Comparison],
    own: Mapping[str, Take],
    in_place: Collection[frozenset[str]],
) -> _Pairs:
    """The pairs that the sound left open, and that are not in place anyhow."""
    return {
        number: (own[one.take_a], own[one.take_b])
        for number, one in enumerate(compared)
        if one.outcome in (Outcome.UNSURE, Outcome.NOTHING)
        and one.pair <= own.keys()
        and one.pair not in in_place
    }


def _known_clocks(
    before: Iterable[Alignment], takes: Mapping[str, Take], compared: Iterable[Comparison]
) -> CameraClocks:
    """What is known of the clocks by what was lined up before and what is now."""
    return clocks_of([*before, *alignments_of(compared)], takes)


def _heard_in_place(
    compared: Sequence[Comparison],
    open_pairs: _Pairs,
    files: Mapping[str, Source],
    known_clocks: Callable[[Iterable[Comparison]], CameraClocks],
    trace: Callable[[Path], Trace],
    tell: Callable[[str, int, int], None],
) -> tuple[list[Comparison], _Pairs]:
    """Compare open pairs where the clocks put them; and those in which nothing is heard there."""
    followed, left = list(compared), dict(open_pairs)
    silent: dict[int, tuple[Take, Take]] = {}
    done = 0
    # what is lined up tells of the next
    while placed := _placed(left, known_clocks(followed)):
        of = done + len(placed)
        for number, place in placed.items():
            tell(LOOKING_AGAIN, done, of)
            done += 1
            pair, one = left.pop(number), compared[number]
            with suppress(MediaError):  # it is away since
                near = compare(
                    trace(files[one.take_a].path),
                    trace(files[one.take_b].path),
                    one.take_a,
                    one.take_b,
                    bounds=Bounds(place.begins_s - _AROUND_S, place.begins_s + _AROUND_S),
                    worth=WORTH_NEAR,
                )
                if near.lined_up is None:
                    silent[number] = pair
                elif abs(near.lined_up.offset_s - place.begins_s) <= place.off_s:
                    followed[number] = replace(near, reason=f"{near.reason}, {_WHERE}")
    return followed, silent


def _placed(pairs: _Pairs, clocks: CameraClocks) -> dict[int, ClockPlace]:
    """Where the clocks put pairs of which both ran for long enough, in order of time."""
    places = {
        number: place
        for number, pair in pairs.items()
        if (place := clocks.place(*pair)) is not None
    }
    return {
        number: place
        for number, place in sorted(places.items(), key=lambda item: item[1].at_s)
        if _both_ran_s(*pairs[number], place.begins_s) - place.off_s >= LEAST_OVERLAP_S
    }


def _by_clocks(one: Comparison, take_a: Take, take_b: Take, place: ClockPlace) -> Comparison:
    """The same pair, placed by the clocks alone."""
    frames = math.ceil(place.off_s * float(take_a.fps or take_b.fps or DEFAULT_RATE.fps))
    return replace(
        one,
        outcome=Outcome.BY_CLOCKS,
        alignment=Alignment(
            take_a=one.take_a,
            take_b=one.take_b,
            offset_s=place.begins_s,
            drift_ppm=0.0,
            confidence=0.0,
            overlap_s=_both_ran_s(take_a, take_b, place.begins_s),
        ),
        reason=f"by the clocks alone, to {counted(frames, 'frame')}; the sound does not tell",
        repeats=False,
    )


def _both_ran_s(take_a: Take, take_b: Take, begins_s: float) -> float:
    """How long both ran where B begins so much later; below zero where not at the same time."""
    return min(take_a.duration_s, begins_s + take_b.duration_s) - max(0.0, begins_s)
