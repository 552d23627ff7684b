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
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import combinations
from pathlib import Path

from calltag.edit.sync_line import Line, fit_line
from calltag.edit.sync_search import Bounds, overlap_s, search_outlines, search_sound
from calltag.edit.sync_trace import Trace, trace_take
from calltag.errors import InputError, MediaError
from calltag.media.clock import DAY_S, within_half_s
from calltag.records.alignment import Alignment
from calltag.records.take import Problem

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
_MOST_OF_IT, _FEWEST = 0.65, 8  # windows that agree all through need no rest
_EVEN_ODDS, _STEEPNESS = 7.3, 1.5  # confidence over evidence, if half of all pairs belong together
_UNSURE_AT_MOST = 0.5


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
    listener: Callable[[int, int], None] | None = None,
) -> tuple[list[Comparison], list[Problem]]:
    """Line takes up by their sound.

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
    listener : callable, optional
        Is told how many steps are done, of how many: each take that is read is one, and each pair
        that is compared.

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
    bounds = bounds or Bounds()
    traces: list[tuple[Trace, float, float] | None] = []
    comparisons, problems = [], []
    n_steps, done = len(sources) + count_pairs(len(sources), n_first), 0
    if listener is not None:
        listener(0, n_steps)
    for number, source in enumerate(sources):
        try:
            begins_s, day_s = clock_s(source) if clock_s is not None else (0.0, DAY_S)
            trace = trace_take(source.path)
        except MediaError as error:
            if number == 0 and n_first == 1:
                raise
            problems.append(Problem(path=source.name, reason=error.reason))
            read = None
        else:
            read = (trace, begins_s, day_s)
        done += 1
        if listener is not None:
            listener(done, n_steps)
        is_first = n_first is None or number < n_first
        others = () if is_first and n_first is not None else traces
        for earlier, known in zip(sources, others, strict=False):
            if known is not None and read is not None:
                heard, began_s, its_day_s = known
                apart_s = within_half_s(begins_s - began_s, max(day_s, its_day_s))
                within = Bounds(bounds.low_s + apart_s, bounds.high_s + apart_s)
                comparisons.append(compare(heard, trace, earlier.name, source.name, bounds=within))
            done += 1
            if listener is not None:
                listener(done, n_steps)
        if is_first:
            traces.append(read)
    return comparisons, problems


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

    Returns
    -------
    Comparison
        The outcome.
    """
    within = bounds or Bounds()
    for trace, name in ((a, take_a), (b, take_b)):
        if not trace.even.any():
            return _nothing(take_a, take_b, f"{name} is silent")
    if within.low_s >= a.duration_s or within.high_s <= -b.duration_s:
        return _nothing(take_a, take_b, "they did not run at the same time, by what is said of it")
    if a.duration_s < b.duration_s:  # pieces of the shorter are looked for in the longer
        turned = Bounds(-within.high_s, -within.low_s)
        lines = [_inverse(line) for line in _lines(b, a, turned)]
    else:
        lines = _lines(a, b, within)
    narrow = within.high_s - within.low_s <= _NARROW_S
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


def _nothing(take_a: str, take_b: str, reason: str) -> Comparison:
    return Comparison(
        take_a=take_a, take_b=take_b, outcome=Outcome.NOTHING, alignment=None, reason=reason
    )


def _lines(a: Trace, b: Trace, bounds: Bounds) -> list[Line]:
    """Lines of all places worth a look, the best first, none twice."""
    places = search_sound(a, b, bounds) + search_outlines(a, b, bounds)
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
