"""Takes that heard the same moment, lined up by their sound.

Two searches name places where the takes may agree; each is looked at closely, and the line of lag
over time on which most of the sound agrees is the answer, if it stands out enough. Otherwise it is
said that nothing common was heard; where several answers would do, as with a sound that repeats,
none is given as certain.

What is lined up is the sound: two microphones ten metres apart hear a call up to 29 ms apart. Times
are seconds from the beginning of a take.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from itertools import combinations
from pathlib import Path

from calltag.edit.sync.line import Line, fit_line
from calltag.edit.sync.order import SAME_S, Order, Turn
from calltag.edit.sync.search import Bounds, overlap_s, search_outlines, search_sound
from calltag.edit.sync.trace import Trace, trace_take
from calltag.errors import InputError, MediaError
from calltag.files import is_file
from calltag.media.timing.clock import DAY_S, within_half_s
from calltag.records.alignment import Alignment
from calltag.records.take import Problem, Take

WORTH_TELLING = 10.0
"""Sum of `Line.evidence` and `Line.rest` from which on a place is told: of unrelated pairs, one in
a hundred has 7.5; where the same species calls loudly, some reach 10."""

SURE_REST = 3.0
"""What `Line.rest`, the evidence without the best six seconds, has to be for takes to count as
lined up: of places that are wrong, one in a hundred has it."""

SURE = 12.0
"""Sum of `Line.evidence` and `Line.rest` from which on takes count as lined up."""

WORTH_NEAR = 8.0
"""As `WORTH_TELLING`, in a place of a second: of 240 pairs of short takes at 0 to 10 dB it lines up
109 rightly, where a look everywhere lines up 7, and none wrongly; of 480 unrelated pairs two, where
the very same recording is heard at both moments."""

_RIVAL = 0.7  # of the best evidence: another place that good makes both unsure
_RIVAL_REST = 0.5  # and of its rest, which shrinks with the overlap
_ECHO = 0.8  # the same within a place, where echoes are
_SAME_S = 0.02
_NARROW_S = 120.0  # where the user says where to look, repeated sounds seldom fall
_AS_CLOCKS_SAY_S = 3.0  # dates are cut off to the second, and clocks part by a second or two a day
_MOST_OF_IT, _FEWEST = 0.65, 8  # windows that agree all through need no rest
_EVEN_ODDS, _STEEPNESS = 7.3, 1.5  # confidence over evidence, if half of all pairs belong together
_UNSURE_AT_MOST = 0.5
_AT_ONCE = 2  # traces of takes that pass by
_NOT_AS_SAID = "they did not run at the same time, by what is said of it"
NOT_BY_CLOCKS = "they did not run at the same time, by the clocks of pairs that are lined up"
"""Why a pair was not compared."""


class Outcome(StrEnum):
    """What comparing two takes came to."""

    LINED_UP = "lined up"
    GOES_ON = "goes on"
    BY_CLOCKS = "by the clocks"
    UNSURE = "unsure"
    NOTHING = "no common sound"


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What comparing two takes came to.

    Attributes
    ----------
    take_a, take_b : str
        The takes.
    outcome : Outcome
        Whether they were lined up.
    alignment : Alignment or None
        How they lie: by their sound, where that is unsure the best guess, or by what follows from
        files that a recording goes on in, or from the clocks. None where nothing is common.
    reason : str
        Why, in plain words.
    repeats : bool
        Whether the sound repeats, so that another place may be as good.
    """

    take_a: str
    take_b: str
    outcome: Outcome
    alignment: Alignment | None
    reason: str
    repeats: bool = False

    @property
    def pair(self) -> frozenset[str]:
        """The two takes, whichever of them is take A."""
        return frozenset((self.take_a, self.take_b))

    @property
    def lined_up(self) -> Alignment | None:
        """How the takes lie where they were lined up; None where that is a guess, or derived."""
        return self.alignment if self.outcome is Outcome.LINED_UP else None


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
        first, second = turn.first, turn.second
        names = sources[first].name, sources[second].name
        lengths_s = [known[one].duration_s for one in (first, second) if one in known]
        try:
            within = reading.within(bounds or Bounds(), first, second)
            if turn.spared:
                found[first, second] = _nothing(*names, NOT_BY_CLOCKS)
            elif len(lengths_s) == 2 and _out_of_reach(within, *lengths_s):
                found[first, second] = _nothing(*names, _NOT_AS_SAID)
            else:
                traces = reading.trace(first), reading.trace(second)
                found[first, second] = _compared(*traces, *names, within, turn)
                if (lies := found[first, second].lined_up) is not None:
                    order.learn(turn, lies.offset_s)
        except MediaError:
            pass  # it is noted
        progress.step()
    progress.end()
    return [found[pair] for pair in pairs if pair in found], reading.problems()


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
        near = compare(a, b, take_a, take_b, bounds=near_by, narrow=_is_narrow(within))
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
    known: dict[int, Take] = {}
    if take_of is not None:
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
            Problem(path=self._sources[number].name, reason=error.reason)
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


def compare(
    a: Trace,
    b: Trace,
    take_a: str = "A",
    take_b: str = "B",
    *,
    bounds: Bounds | None = None,
    worth: float = WORTH_TELLING,
    glance: bool = False,
    narrow: bool | None = None,
) -> Comparison:
    """Find out whether, and how, two takes lie against each other.

    Parameters
    ----------
    a, b : Trace
        The takes' sounds.
    take_a, take_b : str
        Their names.
    bounds : Bounds, optional
        Where to look for the beginning of B in A; everywhere unless given.
    worth : float
        Evidence, with that of the rest, from which on a place is told.
    glance : bool
        Whether their outlines alone are searched: a tenth of the time, for a pair of which nothing
        is expected.
    narrow : bool, optional
        Whether it is known that B begins within bounds, so that one sound that agrees there will
        do; unless given, where they are two minutes wide or less.

    Returns
    -------
    Comparison
        The outcome.
    """
    within = bounds or Bounds()
    for trace, name in ((a, take_a), (b, take_b)):
        if not trace.even.any():
            return _nothing(take_a, take_b, f"{name} is silent")
    if _out_of_reach(within, a.duration_s, b.duration_s):
        return _nothing(take_a, take_b, _NOT_AS_SAID)
    if a.duration_s < b.duration_s:  # pieces of the shorter are looked for in the longer
        turned = Bounds(-within.high_s, -within.low_s)
        lines = [_inverse(line) for line in _lines(b, a, turned, glance=glance)]
    else:
        lines = _lines(a, b, within, glance=glance)
    narrow = _is_narrow(within) if narrow is None else narrow
    return _judged(a, b, take_a, take_b, lines, narrow=narrow, worth=worth)


def alignments_of(compared: Iterable[Comparison]) -> list[Alignment]:
    """Tell how those pairs lie that were lined up.

    Parameters
    ----------
    compared : iterable of Comparison
        What was compared.

    Returns
    -------
    list of Alignment
        One for each that was, in order.
    """
    return [lies for one in compared if (lies := one.lined_up) is not None]


def _is_narrow(bounds: Bounds) -> bool:
    return bounds.high_s - bounds.low_s <= _NARROW_S


def _out_of_reach(bounds: Bounds, length_a_s: float, length_b_s: float) -> bool:
    """Whether two takes of such lengths have nothing in common wherever B may begin in A."""
    return bounds.low_s >= length_a_s or bounds.high_s <= -length_b_s


def _nothing(take_a: str, take_b: str, reason: str) -> Comparison:
    return Comparison(
        take_a=take_a, take_b=take_b, outcome=Outcome.NOTHING, alignment=None, reason=reason
    )


def _lines(a: Trace, b: Trace, bounds: Bounds, *, glance: bool) -> list[Line]:
    """Lines of all places worth a look, the best first, none twice."""
    places = search_outlines(a, b, bounds)
    if not glance:
        places = search_sound(a, b, bounds) + places
    found = [line for place in places if (line := fit_line(a, b, place)) is not None]
    distinct: list[Line] = []
    for line in sorted(found, key=_total, reverse=True):
        if all(abs(line.lag_at(known.at_s) - known.lag_s) > _SAME_S for known in distinct):
            distinct.append(line)
    return distinct


def _inverse(line: Line) -> Line:
    """The same line with the takes exchanged."""
    return replace(
        line,
        at_s=line.at_s + line.lag_s,
        lag_s=-line.lag_s,
        slope=-line.slope / (1 + line.slope),
    )


def _judged(
    a: Trace,
    b: Trace,
    take_a: str,
    take_b: str,
    lines: Sequence[Line],
    *,
    narrow: bool,
    worth: float,
) -> Comparison:
    best = lines[0] if lines else None
    if best is None or _total(best) < worth:
        return _nothing(take_a, take_b, "nothing that both heard was found")
    rivals = [
        line
        for line in lines[1:]
        if line.evidence > _RIVAL * best.evidence
        and (best.rest < SURE_REST or line.rest > _RIVAL_REST * best.rest)
    ]
    doubt = _doubt(best, rivals, narrow=narrow)
    beyond = best.evidence + max(0.0, best.rest) / 2 - _EVEN_ODDS
    sure = 1 / (1 + math.exp(-_STEEPNESS * beyond)) / (1 + len(rivals))
    if doubt:
        sure = min(sure, _UNSURE_AT_MOST)
    return Comparison(
        take_a=take_a,
        take_b=take_b,
        outcome=Outcome.UNSURE if doubt else Outcome.LINED_UP,
        alignment=_alignment(a, b, take_a, take_b, best, sure),
        reason=doubt or _agreement(best),
        repeats=bool(rivals) or _echoes(best),
    )


def _doubt(best: Line, rivals: Sequence[Line], *, narrow: bool) -> str:
    """Why a line is not certain; empty where it is."""
    if rivals:
        offsets = sorted({round(_offset_s(line), 2) for line in (best, *rivals[:2])})
        listed = " or ".join(f"{offset:.2f} s" for offset in offsets)
        return f"the sound repeats: the second may begin at {listed}, or elsewhere"
    if _echoes(best):
        return "the sound repeats too quickly to tell one place from the next"
    if narrow:
        return ""
    if best.n_windows >= _FEWEST and best.n_agreeing >= _MOST_OF_IT * best.n_windows:
        return ""
    if best.rest < SURE_REST:
        return "only one sound agrees, which may have occurred twice"
    return "" if _total(best) >= SURE else "too little agrees to be certain"


def _echoes(line: Line) -> bool:
    return line.rival > _ECHO * line.evidence


def _total(line: Line) -> float:
    return line.evidence + max(0.0, line.rest)


def _agreement(line: Line) -> str:
    spread_ms = max(0.1, 1000 * line.spread_s)
    return f"heard alike at {line.n_agreeing} of {line.n_windows} places, to {spread_ms:.1f} ms"


def _offset_s(line: Line) -> float:
    return line.lag_at(0.0)


def _alignment(a: Trace, b: Trace, take_a: str, take_b: str, line: Line, sure: float) -> Alignment:
    faster = 1 / (1 + line.slope)
    return Alignment(
        take_a=take_a,
        take_b=take_b,
        offset_s=_offset_s(line),
        drift_ppm=(faster - 1) * 1e6,
        confidence=sure,
        overlap_s=max(0.0, float(overlap_s(a, b, line.lag_s))),
    )
