"""Two takes compared by their sound: whether they heard the same moment, and how they lie.

Two searches name places where the takes may agree; each is looked at closely, and the line of lag
over time on which most of the sound agrees is the answer, if it stands out enough. Otherwise it is
said that nothing common was heard; where several answers would do, as with a sound that repeats,
none is given as certain.

What is lined up is the sound: two microphones ten metres apart hear a call up to 29 ms apart. Times
are seconds from the beginning of a take.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NamedTuple, Self

from calltag.edit.sync.line import Line, fit_line
from calltag.edit.sync.search import Bounds, Place, overlap_s, search_outlines, search_sound
from calltag.edit.sync.trace import Trace
from calltag.records.alignment import Alignment

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

NOT_AS_SAID = "they did not run at the same time, by what is said of it"
"""Why takes are not compared that are `out_of_reach`."""

NOT_BY_CLOCKS = "they did not run at the same time, by the clocks of pairs that are lined up"
"""Why a pair was not listened to."""

_RIVAL = 0.7  # of the best evidence: another place that good makes both unsure
_RIVAL_REST = 0.5  # and of its rest, which shrinks with the overlap
_ECHO = 0.8  # the same within a place, where echoes are
_SAME_S = 0.02
_NARROW_S = 120.0  # where the user says where to look, repeated sounds seldom fall
_LIKELY = 2  # places of each search; where pairs are lined up, the right one is its first
_HOPEFUL = 0.6  # of what is worth telling: where no likely place has it, no other is looked at
_STANDS_OUT = 6.0  # height in outlines: three in four unrelated pairs have none, all related do
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

    @classmethod
    def nothing(cls, take_a: str, take_b: str, reason: str) -> Self:
        """Say that two takes have nothing in common.

        Parameters
        ----------
        take_a, take_b : str
            The takes.
        reason : str
            Why, in plain words.

        Returns
        -------
        Comparison
            Without an alignment.
        """
        return cls(
            take_a=take_a, take_b=take_b, outcome=Outcome.NOTHING, alignment=None, reason=reason
        )

    @property
    def spared(self) -> bool:
        """Whether the pair was not listened to, by the clocks of others."""
        return self.reason == NOT_BY_CLOCKS

    @property
    def lined_up(self) -> Alignment | None:
        """How the takes lie where they were lined up; None where that is a guess, or derived."""
        return self.alignment if self.outcome is Outcome.LINED_UP else None


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
        Whether their outlines alone are searched, and looked at closely where they stand out: a
        twentieth of the time, for a pair of which nothing is expected.
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
            return Comparison.nothing(take_a, take_b, f"{name} is silent")
    if out_of_reach(within, a.duration_s, b.duration_s):
        return Comparison.nothing(take_a, take_b, NOT_AS_SAID)
    if a.duration_s < b.duration_s:  # pieces of the shorter are looked for in the longer
        turned = Bounds(-within.high_s, -within.low_s)
        lines = [_inverse(line) for line in _lines(b, a, turned, worth=worth, glance=glance)]
    else:
        lines = _lines(a, b, within, worth=worth, glance=glance)
    narrow = is_narrow(within) if narrow is None else narrow
    best = lines[0] if lines else None
    if best is None or _total(best) < worth:
        return Comparison.nothing(take_a, take_b, "nothing that both heard was found")
    judged = _judged(best, lines[1:], narrow=narrow)
    return Comparison(
        take_a=take_a,
        take_b=take_b,
        outcome=Outcome.UNSURE if judged.doubt else Outcome.LINED_UP,
        alignment=Alignment(
            take_a=take_a,
            take_b=take_b,
            offset_s=_offset_s(best),
            drift_ppm=(1 / (1 + best.slope) - 1) * 1e6,
            confidence=judged.confidence,
            overlap_s=max(0.0, float(overlap_s(a, b, best.lag_s))),
        ),
        reason=judged.doubt or _agreement(best),
        repeats=judged.repeats,
    )


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


def is_narrow(bounds: Bounds) -> bool:
    """Tell whether repeated sounds seldom fall where to look.

    Parameters
    ----------
    bounds : Bounds
        Where to look.

    Returns
    -------
    bool
        Whether that is two minutes wide or less.
    """
    return bounds.high_s - bounds.low_s <= _NARROW_S


def out_of_reach(bounds: Bounds, length_a_s: float, length_b_s: float) -> bool:
    """Tell whether two takes have nothing in common wherever B may begin in A.

    Parameters
    ----------
    bounds : Bounds
        Where it may begin.
    length_a_s, length_b_s : float
        How long the takes are, in seconds.

    Returns
    -------
    bool
        Whether they are apart all the same.
    """
    return bounds.low_s >= length_a_s or bounds.high_s <= -length_b_s


def _lines(a: Trace, b: Trace, bounds: Bounds, *, worth: float, glance: bool) -> list[Line]:
    """Lines of all places worth a look, the best first, none twice."""
    searched = [search_outlines(a, b, bounds)]
    if glance:
        searched = [[place for place in searched[0] if place.height > _STANDS_OUT]]
    else:
        searched.append(search_sound(a, b, bounds))
    likely = 1 if glance else _LIKELY
    found = _fitted(a, b, [place for places in searched for place in places[:likely]])
    if any(_total(line) > _HOPEFUL * worth for line in found):
        found += _fitted(a, b, [place for places in searched for place in places[likely:]])
    distinct: list[Line] = []
    for line in sorted(found, key=_total, reverse=True):
        if all(abs(line.lag_at(known.at_s) - known.lag_s) > _SAME_S for known in distinct):
            distinct.append(line)
    return distinct


def _fitted(a: Trace, b: Trace, places: Iterable[Place]) -> list[Line]:
    return [line for place in places if (line := fit_line(a, b, place)) is not None]


def _inverse(line: Line) -> Line:
    """The same line with the takes exchanged."""
    return replace(
        line,
        at_s=line.at_s + line.lag_s,
        lag_s=-line.lag_s,
        slope=-line.slope / (1 + line.slope),
    )


class _Judged(NamedTuple):
    """What is thought of a line."""

    doubt: str  # why it is not certain; empty where it is
    confidence: float
    repeats: bool


def _judged(best: Line, others: Sequence[Line], *, narrow: bool) -> _Judged:
    """How sure the best of several lines is."""
    rivals = [
        line
        for line in others
        if line.evidence > _RIVAL * best.evidence
        and (best.rest < SURE_REST or line.rest > _RIVAL_REST * best.rest)
    ]
    doubt = _doubt(best, rivals, narrow=narrow)
    beyond = best.evidence + max(0.0, best.rest) / 2 - _EVEN_ODDS
    confidence = 1 / (1 + math.exp(-_STEEPNESS * beyond)) / (1 + len(rivals))
    if doubt:
        confidence = min(confidence, _UNSURE_AT_MOST)
    return _Judged(doubt, confidence, bool(rivals) or _echoes(best))


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
