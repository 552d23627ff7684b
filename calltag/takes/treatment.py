"""What may be done to a take's sound: a channel, low cuts, notches; and doing it.

A low cut may be set for the whole take, or only where a noise is: outside of that nothing is
filtered, so that a boom before the engine comes is left as it was.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calltag.records import FloatArray, Span
from calltag.sound.filters import Piece, filtered, filtered_in_pieces, gain_db, hum_notch, low_cut
from calltag.sound.hum import Hum
from calltag.sound.spectrum import BIN_HZ, N_BINS, RATE_HZ
from calltag.takes.usable import LowCut
from calltag.takes.words import hertz, listed, stretches


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """What is done to a take's sound.

    Attributes
    ----------
    channel : int or None
        Channel that is put on all tracks, counted from one; None leaves the tracks as they are.
    low_cut_hz : float or None
        Where a low cut of the whole take takes 3 dB.
    cuts : tuple of LowCut
        Low cuts of parts of the take; in order, none overlapping another.
    hum : Hum or None
        Hum whose lines are taken out.
    """

    channel: int | None = None
    low_cut_hz: float | None = None
    cuts: tuple[LowCut, ...] = ()
    hum: Hum | None = None

    def __bool__(self) -> bool:
        return bool(self.cuts) or any(
            part is not None for part in (self.channel, self.low_cut_hz, self.hum)
        )

    def __str__(self) -> str:
        parts = []
        if self.channel is not None:
            parts.append(f"channel {self.channel} on every track")
        if self.low_cut_hz is not None:
            parts.append(f"low cut at {hertz(self.low_cut_hz)}")
        for name, spans in by_cut(self.cuts):
            parts.append(f"low cut at {name} {stretches(spans, float('inf'))}")
        if self.hum is not None:
            lines = listed([f"{line * self.hum.mains_hz:.0f}" for line in self.hum.lines])
            parts.append(f"notches at {lines} Hz")
        return listed(parts) if parts else "nothing"


def by_cut(cuts: Sequence[LowCut]) -> list[tuple[str, list[Span]]]:
    """Group low cuts by their frequency as it is said.

    Parameters
    ----------
    cuts : sequence of LowCut
        In order.

    Returns
    -------
    list of tuple of str and list of Span
        The frequency in words, and where it is cut; the longest in all first.
    """
    groups: dict[str, list[Span]] = {}
    for cut in cuts:
        groups.setdefault(hertz(cut.cut_hz), []).append(cut.span)
    return sorted(groups.items(), key=lambda group: -sum(span.length_s for span in group[1]))


def treated(
    blocks: Iterable[FloatArray], treatment: Treatment, rate_hz: int
) -> Iterator[FloatArray]:
    """Treat sound that comes in blocks.

    Parameters
    ----------
    blocks : iterable of np.ndarray, shape (n_channels, n_samples), float32
        Consecutive stretches of sound from the take's first sample.
    treatment : Treatment
        What to do.
    rate_hz : int
        Sampling rate.

    Yields
    ------
    np.ndarray, shape (n_channels, n_samples), float32
        The treated sound; every sound in it lies where it lay.
    """
    sound: Iterable[FloatArray] = blocks
    if treatment.channel is not None:
        chosen = treatment.channel - 1
        sound = (np.repeat(block[chosen][None], len(block), axis=0) for block in blocks)
    if treatment.cuts:
        pieces = [Piece(c.start_s, c.end_s, low_cut(c.cut_hz, rate_hz)) for c in treatment.cuts]
        sound = filtered_in_pieces(sound, pieces, rate_hz)
    whole = []
    if treatment.low_cut_hz is not None:
        whole.append(low_cut(treatment.low_cut_hz, rate_hz))
    if treatment.hum is not None:
        whole.append(hum_notch(treatment.hum.base_hz, treatment.hum.lines, rate_hz))
    yield from filtered(sound, np.concatenate(whole), rate_hz) if whole else sound


def cut_gain(cut_hz: float | None) -> npt.NDArray[np.float64]:
    """Power gain of a low cut at the bins of the shared spectrum.

    Parameters
    ----------
    cut_hz : float or None
        Where it takes 3 dB; None for no cut.

    Returns
    -------
    np.ndarray, shape (N_BINS,)
        Gains.
    """
    if cut_hz is None:
        return np.ones(N_BINS)
    cut = low_cut(cut_hz, RATE_HZ)
    return 10 ** (gain_db(cut, np.arange(N_BINS) * BIN_HZ, RATE_HZ) / 10)
