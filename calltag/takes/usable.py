"""The usable stretches of a take, and what each can be used for."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from calltag.records import Span, Usable
from calltag.takes.masking import Effect, Left
from calltag.takes.thresholds import Thresholds
from calltag.takes.words import hertz, listed

NATURAL_SOUND = "natural sound"
"""Purpose of a stretch that is good as it is."""

# What `calltag.media.reader` says of stretches without sound.
_BETWEEN = re.compile(r"sound is (?:damaged|missing) between ([\d.]+) and ([\d.]+) s")
_UP_TO = re.compile(r"(?:sound ends at|cannot be read beyond) ([\d.]+) s")
_FROM = re.compile(r"sound starts ([\d.]+) s after the picture")


class LowCut(NamedTuple):
    """A stretch of a take whose noise a low cut takes, and where the cut takes 3 dB."""

    start_s: float
    end_s: float
    cut_hz: float

    @property
    def span(self) -> Span:
        """The stretch."""
        return Span(self.start_s, self.end_s)


class _Cell(NamedTuple):
    span: Span
    left: Left
    cut_hz: float


def broken_spans(faults: Iterable[str], duration_s: float) -> list[Span]:
    """Find where faults of the recording say that there is no sound.

    Parameters
    ----------
    faults : iterable of str
        Faults in the words of `calltag.media.reader`.
    duration_s : float
        Length of the take.

    Returns
    -------
    list of Span
        In the order of the faults.

    Examples
    --------
    >>> broken_spans(["sound ends at 40.0 s, 20.0 s before the end of the take"], 60.0)
    [Span(start_s=40.0, end_s=60.0)]
    """
    spans = []
    for fault in faults:
        if place := _BETWEEN.search(fault):
            spans.append(Span(float(place[1]), float(place[2])))
        elif place := _UP_TO.search(fault):
            spans.append(Span(float(place[1]), duration_s))
        elif place := _FROM.search(fault):
            spans.append(Span(0.0, float(place[1])))
    return spans


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
    least_s = min(t.least_usable_s, 0.9 * duration_s)
    usable: list[Usable] = []
    for kept, group in itertools.groupby(cells, lambda cell: cell.left != Left.LOST):
        run = list(group)
        standing = any(
            call.start_s < run[-1].span.end_s and call.end_s > run[0].span.start_s
            for effect in effects
            for call in effect.standing
        )
        length_s = run[-1].span.end_s - run[0].span.start_s
        if kept and (length_s >= least_s or standing):
            usable.extend(_by_purpose(run, least_s))
    return tuple(usable), natural_s


def low_cuts(
    effects: Sequence[Effect],
    broken: Sequence[Span],
    duration_s: float,
    thresholds: Thresholds,
) -> tuple[LowCut, ...]:
    """List the low cuts that the reasons and usable stretches of a take are given with.

    Reasons and purposes name these, and `calltag.takes.rescue` makes them.

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
    tuple of LowCut
        In order, none overlapping another.
    """
    cells = _cells(effects, broken, duration_s, thresholds)
    cuts: list[LowCut] = []
    for cell in cells:
        if not cell.cut_hz:
            continue
        start_s, end_s = cell.span
        if cuts and cuts[-1].cut_hz == cell.cut_hz and cuts[-1].end_s == start_s:
            start_s = cuts.pop().start_s
        cuts.append(LowCut(start_s, end_s, cell.cut_hz))
    return tuple(cuts)


def _cells(
    effects: Sequence[Effect], broken: Sequence[Span], duration_s: float, t: Thresholds
) -> list[_Cell]:
    """The take cut at every edge of a noise: what is left there, and the low cut it needs."""
    painted = [(start_s, end_s, Left.LOST, 0.0) for start_s, end_s in broken]
    for effect in effects:
        start_s, end_s = effect.noise.start_s - t.margin_s, effect.noise.end_s + t.margin_s
        painted.append((start_s, end_s, effect.left, effect.cut_hz))
    rescued = [
        (call.start_s - t.handle_s, call.end_s + t.handle_s)
        for effect in effects
        if effect.left == Left.LOST
        for call in effect.standing
    ]
    edges = {0.0, duration_s}
    for start_s, end_s, *_ in [*painted, *rescued]:
        edges |= {min(max(edge, 0.0), duration_s) for edge in (start_s, end_s)}
    cells = []
    for start_s, end_s in itertools.pairwise(sorted(edges)):
        middle = (start_s + end_s) / 2
        here = [(left, cut) for a, b, left, cut in painted if a <= middle < b]
        left = max((left for left, _ in here), default=Left.NATURAL)
        gone = any(a <= middle < b for a, b in broken)
        if left == Left.LOST and not gone and any(a <= middle < b for a, b in rescued):
            left = Left.OVER
        cut_hz = max((cut for _, cut in here), default=0.0)
        cells.append(_Cell(Span(start_s, end_s), left, cut_hz))
    return cells


def _by_purpose(run: Sequence[_Cell], least_s: float) -> list[Usable]:
    """One usable run, split where its purpose changes; too short a part takes its neighbour's."""
    parts: list[_Cell] = []
    for left, group in itertools.groupby(run, lambda cell: cell.left):
        cells = list(group)
        span = Span(cells[0].span.start_s, cells[-1].span.end_s)
        parts.append(_Cell(span, left, max(cell.cut_hz for cell in cells)))
    while len(parts) > 1:
        short = min(range(len(parts)), key=lambda i: parts[i].span.length_s)
        if parts[short].span.length_s >= least_s:
            break
        first = short - 1 if short else 0
        one, other = parts[first : first + 2]
        parts[first : first + 2] = [
            _Cell(
                Span(one.span.start_s, other.span.end_s),
                max(one.left, other.left),
                max(one.cut_hz, other.cut_hz),
            )
        ]
    return [Usable(*part.span, _purpose(part.left, part.cut_hz)) for part in parts]


def _purpose(left: Left, cut_hz: float) -> str:
    if left == Left.NATURAL:
        return NATURAL_SOUND
    if left == Left.HUM:
        return "natural sound after notches at the hum"
    if left == Left.RUMBLE:
        return f"natural sound after a low cut at {hertz(cut_hz)}"
    if left == Left.BESIDE and cut_hz:
        return f"calls after a low cut at {hertz(cut_hz)}"
    return "calls, with the noise under them"


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
    return (Usable(0.0, duration_s, f"to be heard first: perhaps {names}"),)
