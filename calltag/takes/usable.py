"""The usable stretches of a take, and what each can be used for."""

from __future__ import annotations

import functools
import itertools
import operator
from collections.abc import Sequence
from typing import NamedTuple

from calltag.records.span import Span, merged
from calltag.records.verdict import Usable
from calltag.takes.filter_cuts import UNCUT, Band, Cut
from calltag.takes.masking import Effect, Left
from calltag.takes.thresholds import Thresholds
from calltag.words import listed

NATURAL_SOUND = "natural sound"
"""Purpose of a stretch that is good as it is."""

CALLS_IN_NOISE = "calls, with the noise under them"
"""Purpose of a stretch with calls that no filter parts from the noise."""

HEARD_FIRST = "to be heard first"
"""How the purpose of a stretch begins of which calltag is not sure."""

_MOST_OF_IT = 0.9  # of a take shorter than any usable stretch, this part is one


class _Cell(NamedTuple):
    span: Span
    left: Left
    band: Band


def usable_stretches(
    effects: Sequence[Effect],
    broken: Sequence[Span],
    duration_s: float,
    thresholds: Thresholds,
) -> tuple[tuple[Usable, ...], float]:
    """Find what of a take can be used.

    Parameters
    ----------
    effects : sequence of Effect
        What its noises do.
    broken : sequence of Span
        Where it has no sound.
    duration_s : float
        Its length.
    thresholds : Thresholds
        Where the lines are drawn.

    Returns
    -------
    usable : tuple of Usable
        In order, none overlapping another.
    natural_s : float
        How many seconds are natural sound as it is, scraps too short to use among them.
    """
    t = thresholds
    cells = _cells(effects, broken, duration_s, t)
    natural_s = sum(cell.span.length_s for cell in cells if cell.left == Left.NATURAL)
    least_s = min(t.least_usable_s, _MOST_OF_IT * duration_s)
    usable: list[Usable] = []
    for kept, group in itertools.groupby(cells, lambda cell: cell.left != Left.LOST):
        run = list(group)
        whole = Span(run[0].span.start_s, run[-1].span.end_s)
        if kept and (whole.length_s >= least_s or _holds_a_call(whole, effects)):
            usable.extend(_by_purpose(run, least_s))
    return tuple(usable), natural_s


def _holds_a_call(span: Span, effects: Sequence[Effect]) -> bool:
    """Whether a call that stands above its noise sounds within a stretch."""
    return any(call.span.overlaps(span) for effect in effects for call in effect.standing)


def needed_cuts(
    effects: Sequence[Effect],
    broken: Sequence[Span],
    duration_s: float,
    thresholds: Thresholds,
) -> tuple[Cut, ...]:
    """List the cuts that the reasons and usable stretches of a take are given with.

    Reasons and purposes name these, and `calltag.takes.rescue.examining` makes them.

    Parameters
    ----------
    effects : sequence of Effect
        What its noises do.
    broken : sequence of Span
        Where it has no sound.
    duration_s : float
        Its length.
    thresholds : Thresholds
        Where the lines are drawn.

    Returns
    -------
    tuple of Cut
        In order, none overlapping another.
    """
    cells = _cells(effects, broken, duration_s, thresholds)
    cuts: list[Cut] = []
    for cell in cells:
        if not cell.band:
            continue
        start_s, end_s = cell.span
        if cuts and cuts[-1].band == cell.band and cuts[-1].end_s == start_s:
            start_s = cuts.pop().start_s
        cuts.append(Cut(start_s, end_s, cell.band))
    return tuple(cuts)


def _cells(
    effects: Sequence[Effect], broken: Sequence[Span], duration_s: float, t: Thresholds
) -> list[_Cell]:
    """The take cut at every edge of a noise: what is left there, and the cuts it needs."""
    painted = [(Span(*one), Left.LOST, UNCUT, list[Span]()) for one in broken]
    for effect in effects:
        span = Span(effect.noise.start_s - t.margin_s, effect.noise.end_s + t.margin_s)
        drowns = effect.left in (Left.LOST, Left.OVER)
        left = Left.LOST if drowns else effect.left
        painted.append((span, left, effect.band, _kept(effect, t) if drowns else []))
    edges = {0.0, duration_s}
    for span, _, _, kept in painted:
        edges |= {min(max(edge, 0.0), duration_s) for one in (span, *kept) for edge in one}
    cells = []
    for start_s, end_s in itertools.pairwise(sorted(edges)):
        cell = Span(start_s, end_s)
        here = [one for one in painted if one[0].holds(cell)]
        lefts = [
            Left.OVER if any(one.holds(cell) for one in kept) else left for _, left, _, kept in here
        ]
        band = functools.reduce(operator.and_, (band for _, _, band, _ in here), UNCUT)
        cells.append(_Cell(cell, max(lefts, default=Left.NATURAL), band))
    return cells


def _kept(effect: Effect, t: Thresholds) -> list[Span]:
    """What is left of a noise that has no band of its own: calls that drown it."""
    calls = (Span(call.start_s - t.handle_s, call.end_s + t.handle_s) for call in effect.standing)
    return merged(calls, t.least_usable_s)


def _by_purpose(run: Sequence[_Cell], least_s: float) -> list[Usable]:
    """One usable run, split where its purpose changes.

    Too short a part takes the purpose of a neighbour of which less is left; that of one of which
    more is left is its own as long as it is long enough.
    """
    parts: list[_Cell] = []
    for left, group in itertools.groupby(run, lambda cell: cell.left):
        cells = list(group)
        span = Span(cells[0].span.start_s, cells[-1].span.end_s)
        band = functools.reduce(operator.and_, (cell.band for cell in cells))
        parts.append(_Cell(span, left, band))
    while True:
        better_s = [
            0.0
            if one.left == other.left
            else min(one, other, key=operator.attrgetter("left")).span.length_s
            for one, other in itertools.pairwise(parts)
        ]
        if min(better_s, default=least_s) >= least_s:
            break
        first = better_s.index(min(better_s))
        one, other = parts[first : first + 2]
        parts[first : first + 2] = [
            _Cell(
                Span(one.span.start_s, other.span.end_s),
                max(one.left, other.left),
                one.band & other.band,
            )
        ]
    return [Usable(*part.span, _purpose(part.left, part.band)) for part in parts]


def _purpose(left: Left, band: Band) -> str:
    if left == Left.NATURAL:
        return NATURAL_SOUND
    if left == Left.HUM:
        return "natural sound after notches at the hum"
    if left == Left.RUMBLE:
        return f"natural sound after a {band}"
    if left in (Left.ABOVE, Left.BELOW) and band.is_open:
        return f"calls after a {band}"
    return CALLS_IN_NOISE


def doubtful(
    effects: Sequence[Effect], duration_s: float, thresholds: Thresholds
) -> tuple[Usable, ...]:
    """Keep a take to be heard first, where the noise that would lose it is not certain.

    Parameters
    ----------
    effects : sequence of Effect
        What its noises do.
    duration_s : float
        Its length.
    thresholds : Thresholds
        Where the lines are drawn.

    Returns
    -------
    tuple of Usable
        The whole take, or nothing where the noise is certain.
    """
    lost = [effect.noise for effect in effects if effect.left == Left.LOST]
    total_s = sum(noise.span.length_s for noise in lost)
    mean = sum(noise.confidence * noise.span.length_s for noise in lost) / max(total_s, 1e-9)
    if not lost or mean >= thresholds.sure_confidence:
        return ()
    names = listed(sorted({noise.kind for noise in lost}), "or")
    return (Usable(0.0, duration_s, f"{HEARD_FIRST}: perhaps {names}"),)
