"""Which channel of a take to listen to.

Cameras write two tracks or more that may be the same, half dead, inverted or differently placed.
One channel is chosen by what is in it; channels are never averaged, since an inverted pair sums to
nothing and a channel full of wind spoils a clean one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.records.span import Span
from calltag.records.take import ChannelFault
from calltag.sound.channels.channel_faults import QUIETER_DB, cut_off_everywhere_s, find_faults
from calltag.sound.channels.channel_seconds import (
    AUDIBLE_POWER,
    SILENT_POWER,
    Seconds,
    decibels,
    hissing,
    measure_seconds,
    of_all,
)
from calltag.sound.channels.clipping import PeakMeter
from calltag.sound.channels.dropouts import DROPOUT_S, ZERO, zero_runs
from calltag.sound.channels.faults import said
from calltag.sound.channels.silences import DEAD_S, RecordedSilences, Silences
from calltag.sound.spectrum import RATE_HZ

_SPARE_DB = 12.0  # a safety track this much lower is as good as the other
_HISS_COST_DB = 40.0
_MARGIN_DB = 6.0  # a channel must be better by this much to be changed to
_CLIPPED_A_MINUTE = 600  # louder by being clipped is no better
_CLIPPED_COST_DB = 6.0  # for ten times as many clipped samples a minute
_DEAD_COST_DB = 1e6  # what was dead lately may sound now; it comes last
_DEAD_AT_END_S = 0.1
_MEMORY_S = 60.0
_FADE_S = 0.005


class ChannelReport(NamedTuple):
    """What was found in the channels of one take.

    Attributes
    ----------
    channel : str
        The chosen channel, counted from one; several, in order of use, where it had to be changed.
    found : tuple of ChannelFault
        What is wrong.
    peak_dbfs : float
        Highest sample of any channel, as it was recorded; ``-inf`` for digital silence.
    clipped : int
        Samples in runs at full scale, all channels, as they were recorded.
    """

    channel: str
    found: tuple[ChannelFault, ...]
    peak_dbfs: float
    clipped: int

    @property
    def faults(self) -> tuple[str, ...]:
        """What is wrong, in plain words."""
        return tuple(map(said, self.found))


class Chooser:
    """Chooses the channel of a take that calls are looked for in, block by block.

    The choice is kept until the channel dies or another is clearly better, so that levels do not
    jump. A channel that dies within a block is left at that very sample.

    Parameters
    ----------
    rate_hz : int
        Sampling rate of the blocks.
    floats : bool
        Whether the file holds floats, which go above full scale unharmed: then only flat tops are
        clipped, in others all that is above it.
    highest : float
        Highest sample that the file can hold, full scale at 1.

    Examples
    --------
    The second channel is the first one inverted, which summed would be silence.

    >>> rng = np.random.default_rng(0)
    >>> sound = rng.normal(0, 0.1, 96_000).astype(np.float32)
    >>> chooser = Chooser()
    >>> chosen = chooser.choose(np.stack([sound, -sound]))
    >>> bool((chosen == sound).all())
    True
    >>> chooser.report().faults
    ('channel 2 is channel 1 turned upside down (inverted)',)
    """

    def __init__(
        self, rate_hz: int = RATE_HZ, *, floats: bool = False, highest: float = 1.0
    ) -> None:
        self._rate_hz = rate_hz
        self._chosen: list[int] = []
        self._seconds: list[Seconds] = []
        self._peaks = PeakMeter(rate_hz, floats=floats, highest=highest)
        self._silences = Silences(rate_hz)
        self._recorded = RecordedSilences(rate_hz)
        self._recorded_runs: Mapping[int, Sequence[tuple[int, int]]] = {}
        self._recent: DoubleArray | None = None

    def note_recorded(self, rows: slice, at: int, samples: FloatArray, rate_hz: int) -> None:
        """Take in sound of the next block as it was recorded, where that was at another rate.

        Parameters
        ----------
        rows : slice
            The channels of the block that it is of.
        at : int
            Its first sample, counted at its own rate from the beginning of the take.
        samples : np.ndarray, shape (n_channels, n_samples), float32
            The sound.
        rate_hz : int
            Its sampling rate.
        """
        self._peaks.note_recorded(rows, samples, rate_hz)
        self._recorded.add(rows, at, samples, rate_hz)

    def choose(self, block: FloatArray) -> FloatArray:
        """Take the best channel out of the next block of the take.

        Parameters
        ----------
        block : np.ndarray, shape (n_channels, n_samples), float32
            The block; it follows on the one before.

        Returns
        -------
        np.ndarray, shape (n_samples,), float32
            The chosen channel; a view of `block` unless the channel changes in it.
        """
        if block.shape[1] == 0:
            chosen: FloatArray = block[0]
            return chosen
        clipped = self._peaks.add(block)
        self._recorded_runs = self._recorded.within(self._silences.n_samples, block.shape[1])
        self._silences.add(block, self._recorded_runs)
        seconds = measure_seconds(block, self._rate_hz)
        self._seconds.append(seconds)
        return self._follow(block, seconds, clipped)

    @property
    def index(self) -> int:
        """Index of the channel in use, counted from zero."""
        return self._chosen[-1] if self._chosen else 0

    def report(self) -> ChannelReport:
        """Tell what was found in the blocks so far.

        Returns
        -------
        ChannelReport
            Chosen channel, faults, peak and clipped samples.
        """
        used = list(dict.fromkeys(self._chosen)) or [0]
        peak, clipped = self._peaks.peak, self._peaks.clipped
        found: Iterable[ChannelFault] = ()
        if self._seconds:
            found = find_faults(of_all(self._seconds), self._silences, clipped, used)
        return ChannelReport(
            channel=", ".join(str(c + 1) for c in used),
            found=tuple(found),
            peak_dbfs=float(20 * np.log10(peak)) if peak > 0 else float("-inf"),
            clipped=int(clipped.sum()),
        )

    def silences(self) -> tuple[Span, ...]:
        """Tell where there was no sound in the blocks so far.

        Returns
        -------
        tuple of Span
            Stretches of half a second or more that are digital silence in every channel, and the
            end, where it holds nothing but hiss; in order, none overlapping another.
        """
        silences, rate_hz = self._silences, self._rate_hz
        cut_s = cut_off_everywhere_s(of_all(self._seconds)) if self._seconds else None
        hiss = () if cut_s is None else (Span(cut_s, silences.n_samples / rate_hz),)
        return (*(Span(a / rate_hz, b / rate_hz) for a, b in silences.mute()), *hiss)

    def _follow(
        self, block: FloatArray, seconds: Seconds, clipped: npt.NDArray[np.int64]
    ) -> FloatArray:
        """Choose for this block, and change over within it where the chosen channel dies."""
        n_seconds = len(seconds.power)
        level_db = decibels(seconds.mid)
        sums = np.array(
            [
                seconds.low.sum(axis=0),
                seconds.mid.sum(axis=0),
                clipped,
                level_db.sum(axis=0),
                (level_db**2).sum(axis=0),
                np.full(len(block), n_seconds),
            ]
        )
        if self._recent is not None:
            sums += self._recent * np.exp(-n_seconds / _MEMORY_S)
        self._recent = sums
        costs = _costs(sums)
        best = int(np.argmin(costs))
        now = self._chosen[-1] if self._chosen else int(np.argmax(np.isfinite(costs)))
        if np.isfinite(costs[best]) and costs[now] - costs[best] > _MARGIN_DB:
            now = best
        self._use(now)
        chosen: FloatArray = block[now]
        fade = round(_FADE_S * self._rate_hz)
        start = self._death(block, seconds, now, 0)
        while start is not None:
            rest = block[:, start : start + self._rate_hz]
            silent = np.abs(rest).max(axis=1, initial=0.0) <= ZERO
            if silent.all():
                break
            now = int(np.argmin(np.where(silent, np.inf, np.minimum(costs, _DEAD_COST_DB))))
            chosen = chosen.copy() if np.shares_memory(chosen, block) else chosen
            _cross(chosen, block[now], start, fade)
            self._use(now)
            start = self._death(block, seconds, now, start + 1)
        return chosen

    def _death(self, block: FloatArray, seconds: Seconds, channel: int, after: int) -> int | None:
        """Find where a channel falls silent for long, or sinks into the noise, after a sample."""
        n = block.shape[1]
        zeros: Iterable[tuple[int, int]] = self._silences.runs[channel]
        if channel in self._recorded_runs:  # the block's own, since it is cut
            zeros = zero_runs(block[channel], round(DROPOUT_S * self._rate_hz))
        deaths = [
            start
            for start, end in zeros
            if start >= after
            and (end - start) > (_DEAD_AT_END_S if end == n else DEAD_S) * self._rate_hz
        ]
        quiet = seconds.power[:, channel] < SILENT_POWER
        others = seconds.power.max(axis=1) > AUDIBLE_POWER
        sunk = np.flatnonzero(quiet & others) * self._rate_hz
        # Digital silence is known to the sample; what is left here hisses below -90 dBFS.
        deaths += [int(at) for at in sunk if at >= after and abs(float(block[channel, at])) > ZERO]
        return min(deaths, default=None)

    def _use(self, channel: int) -> None:
        if not self._chosen or self._chosen[-1] != channel:
            self._chosen.append(channel)


def _costs(sums: DoubleArray) -> DoubleArray:
    """Decibels by which each channel is worse, by what was summed up lately; infinite if dead."""
    low, mid, clipped, sum_db, sum_db2, weight = sums
    sane = clipped * 60 < _CLIPPED_A_MINUTE * weight
    best = mid[sane].max() if sane.any() else mid.max()
    with np.errstate(divide="ignore", invalid="ignore"):
        rumble_db = 10 * np.log10(low / mid)
        quieter_db = 10 * np.log10(best / mid)
    cost = rumble_db + np.maximum(0.0, quieter_db - _SPARE_DB)
    cost += _CLIPPED_COST_DB * np.log10(1 + clipped * 60 / weight)
    swing_db = np.sqrt(np.maximum(sum_db2 / weight - (sum_db / weight) ** 2, 0.0))
    cost[hissing(swing_db, sum_db / weight, rumble_db, float(weight[0]))] += _HISS_COST_DB
    return np.where((quieter_db < QUIETER_DB) & np.isfinite(cost), cost, np.inf)


def _cross(chosen: FloatArray, other: FloatArray, start: int, fade: int) -> None:
    """Go over to another channel at a sample, fading it in."""
    chosen[start:] = other[start:]
    n = min(fade, len(chosen) - start)
    chosen[start : start + n] *= np.linspace(0, 1, n, dtype=np.float32)
