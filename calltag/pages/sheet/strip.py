"""A take's strip over time: where its calls, its usable stretches and its noise lie."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from calltag.learn.labels.vocabulary import noise_kind
from calltag.pages.spectrogram import Tick
from calltag.records.found import TakeLog
from calltag.records.verdict import Verdict
from calltag.words import clock

_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600, 7200, 14400)
_MOST_TICKS = 8


class Stretch(NamedTuple):
    """A stretch on a take's strip: shares of its length, and what stands there."""

    start: float
    length: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A line of the strip over time.

    Attributes
    ----------
    name : str
        What stands before it.
    kind : str
        ``"call"``, ``"usable"`` or ``"noise"``.
    stretches : tuple of Stretch
        What is drawn.
    """

    name: str
    kind: str
    stretches: tuple[Stretch, ...]

    @property
    def text(self) -> str:
        """What it shows, for those who do not see it."""
        return f"{self.name}: " + ", ".join(stretch.text for stretch in self.stretches)


def strip(
    take_log: TakeLog, verdict: Verdict, calls: Iterable[tuple[float, float, str]]
) -> tuple[Row, ...]:
    """Lay out calls, usable stretches and noise over a take's length.

    Parameters
    ----------
    take_log : TakeLog
        The take.
    verdict : Verdict
        Its verdict, with usable stretches.
    calls : iterable of (float, float, str)
        Start, end and name of the calls that are shown.

    Returns
    -------
    tuple of Row
        Calls, usable stretches, and a row for each kind of noise; those that hold something.
    """
    length_s = take_log.take.duration_s
    rows = [
        ("calls", "call", list(calls)),
        ("usable", "usable", [(*one[:2], one.purpose) for one in verdict.usable]),
    ]
    kinds: dict[str, list[tuple[float, float, str]]] = defaultdict(list)
    for span in take_log.noise:
        kinds[noise_kind(span.kind) or span.kind].append((span.start_s, span.end_s, span.kind))
    rows += [(kind, "noise", kinds[kind]) for kind in sorted(kinds)]
    return tuple(
        Row(
            name=name,
            kind=kind,
            stretches=tuple(_stretch(*stretch, length_s=length_s) for stretch in stretches),
        )
        for name, kind, stretches in rows
        if stretches and length_s > 0
    )


def time_ticks(length_s: float) -> tuple[Tick, ...]:
    """Choose marks for the axis of a take's strip.

    Parameters
    ----------
    length_s : float
        Length of the take.

    Returns
    -------
    tuple of Tick
        Round times from the start on.

    Examples
    --------
    >>> [tick.text for tick in time_ticks(35)]
    ['0:00', '0:05', '0:10', '0:15', '0:20', '0:25', '0:30', '0:35']
    """
    if not 0 < length_s < math.inf:
        return ()
    step_s = next((s for s in _STEPS_S if length_s / s < _MOST_TICKS), _STEPS_S[-1])
    n_ticks = min(int(length_s / step_s) + 1, 100)
    return tuple(Tick(n * step_s / length_s, clock(n * step_s)) for n in range(n_ticks))


def _stretch(start_s: float, end_s: float, text: str, *, length_s: float) -> Stretch:
    start_s, end_s = (min(max(edge, 0.0), length_s) for edge in (start_s, end_s))
    return Stretch(
        start_s / length_s,
        (end_s - start_s) / length_s,
        f"{text} {clock(start_s)}-{clock(end_s)}",
    )
