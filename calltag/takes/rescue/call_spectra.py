"""Spectra of a take's calls and of the sound around and between them, from one pass over it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.media.sound_blocks.reader import read_blocks
from calltag.records.found import Call
from calltag.records.span import Span
from calltag.sound.spectrum import BIN_HZ, FRAMES_PER_S, N_BINS, RATE_HZ, power_frames

AROUND_S = 3.0
"""Background is taken from this long before a call to as long after it."""

QUIET_S = 12.0
"""Length of the stretch in which hum is looked for."""

_GUARD_FRAMES = 4  # the spectrum's window reaches two frames beyond a call's ends


@dataclass(frozen=True, slots=True)
class Spectra:
    """Mean power spectra of a channel's calls and their backgrounds.

    Attributes
    ----------
    calls : np.ndarray, shape (n_calls, N_BINS), float32
        What each call adds to its background, within its own band.
    backgrounds : np.ndarray, shape (n_calls, N_BINS), float32
        The sound around each call.
    rest : np.ndarray, shape (1 + n_regions, N_BINS), float32
        The sound between all calls: outside of all regions, and in each.
    rest_s : np.ndarray, shape (1 + n_regions,)
        How long that is.
    quiet_s : float
        Start of the quietest stretch of `QUIET_S`.
    """

    calls: FloatArray
    backgrounds: FloatArray
    rest: FloatArray
    rest_s: DoubleArray
    quiet_s: float


def listen(
    path: Path, calls: Sequence[Call], channel: int, regions: Sequence[Span] = ()
) -> Spectra:
    """Take the spectra of a take's calls and of the sound around them, in one pass.

    Parameters
    ----------
    path : Path
        The take's file.
    calls : sequence of Call
        Its calls.
    channel : int
        The channel, counted from zero.
    regions : sequence of Span
        Stretches whose rest is kept apart; none overlapping another.

    Returns
    -------
    Spectra
        Of that channel.

    Raises
    ------
    MediaError
        If the sound cannot be read.
    """
    blocks = (block[channel] for block in read_blocks(path, rate_hz=RATE_HZ))
    return spectra(blocks, calls, regions)


def spectra(
    blocks: Iterable[FloatArray], calls: Sequence[Call], regions: Sequence[Span] = ()
) -> Spectra:
    """Take the spectra of calls and of the sound around them.

    Parameters
    ----------
    blocks : iterable of np.ndarray, shape (n_samples,), float32
        One channel at `RATE_HZ`, from the take's first sample.
    calls : sequence of Call
        The take's calls.
    regions : sequence of Span
        Stretches whose rest is kept apart; none overlapping another.

    Returns
    -------
    Spectra
        Of that channel.
    """
    gathering = _Gathering(calls, regions)
    for power in power_frames(blocks):
        gathering.add(power)
    return gathering.spectra()


class _Gathering:
    """Sums of frames around calls and between them, made as the frames come."""

    def __init__(self, calls: Sequence[Call], regions: Sequence[Span]) -> None:
        edges = np.array([[call.start_s, call.end_s] for call in calls]).reshape(-1, 2)
        spans = np.rint(edges * FRAMES_PER_S).astype(int)
        spans[:, 1] = np.maximum(spans[:, 1], spans[:, 0] + 1)
        around = np.rint([-AROUND_S * FRAMES_PER_S, AROUND_S * FRAMES_PER_S]).astype(int)
        self._calls, self._regions = calls, regions
        self._spans, self._around = spans, spans + around
        self._during, self._beside = _Mean(len(calls)), _Mean(len(calls))
        self._rest = _Mean(1 + len(regions))
        self._seconds: list[FloatArray] = []
        self._begun = np.zeros(0, np.float32)  # frames of a second that is not whole yet
        self._at = 0

    def add(self, power: FloatArray) -> None:
        """Take the next frames of the take."""
        at, stop = self._at, self._at + len(power)
        free = np.ones(len(power), bool)
        for start, end in self._spans:
            free[max(0, start - _GUARD_FRAMES - at) : max(0, end + _GUARD_FRAMES - at)] = False
        for i, ((start, end), (left, right)) in enumerate(
            zip(self._spans, self._around, strict=True)
        ):
            if start < stop and end > at:
                self._during.add(i, power[max(0, start - at) : end - at])
            if left < stop and right > at:
                near = slice(max(0, left - at), right - at)
                self._beside.add(i, power[near][free[near]])
        self._add_rest(power, free)
        self._add_seconds(power.mean(axis=1))
        self._at = stop

    def _add_rest(self, power: FloatArray, free: npt.NDArray[np.bool_]) -> None:
        outside = free.copy()
        for i, region in enumerate(self._regions, 1):
            inside = slice(*(max(0, round(edge * FRAMES_PER_S) - self._at) for edge in region))
            self._rest.add(i, power[inside][free[inside]])
            outside[inside] = False
        self._rest.add(0, power[outside])

    def _add_seconds(self, level: FloatArray) -> None:
        begun = np.concatenate([self._begun, level])
        whole = len(begun) // FRAMES_PER_S * FRAMES_PER_S
        self._seconds.append(begun[:whole].reshape(-1, FRAMES_PER_S).mean(axis=1))
        self._begun = begun[whole:]

    def spectra(self) -> Spectra:
        """The means of what came."""
        rest, beside = self._rest, self._beside
        common = rest.mean_of_all() if rest.counts.any() else beside.mean().mean(axis=0)
        backgrounds = np.where(beside.counts[:, None] > 0, beside.mean(), common)
        added = np.maximum(self._during.mean() - backgrounds, 0)
        bins_hz = np.arange(N_BINS) * BIN_HZ
        for one, call in zip(added, self._calls, strict=True):
            one[(bins_hz < call.low_hz - BIN_HZ) | (bins_hz > call.high_hz + BIN_HZ)] = 0
        return Spectra(
            added,
            backgrounds.astype(np.float32),
            rest.mean() if rest.counts.any() else np.repeat(common[None], len(rest.counts), axis=0),
            rest.counts / FRAMES_PER_S,
            _quietest(self._seconds),
        )


class _Mean:
    """Means of spectra that come in pieces."""

    def __init__(self, n: int) -> None:
        self.counts = np.zeros(n)
        self._sums = np.zeros((n, N_BINS))

    def add(self, i: int, power: FloatArray) -> None:
        self._sums[i] += power.sum(axis=0)
        self.counts[i] += len(power)

    def mean_of_all(self) -> FloatArray:
        mean: FloatArray = (self._sums.sum(axis=0) / max(self.counts.sum(), 1)).astype(np.float32)
        return mean

    def mean(self) -> FloatArray:
        return (self._sums / np.maximum(self.counts, 1)[:, None]).astype(np.float32)


def _quietest(seconds: Sequence[FloatArray]) -> float:
    level = np.concatenate(seconds) if seconds else np.zeros(0)
    n = min(round(QUIET_S), len(level))
    if not n:
        return 0.0
    return float(np.convolve(level, np.ones(n), mode="valid").argmin())
