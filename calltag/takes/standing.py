"""How far a take's calls stand above everything else that is heard with them.

A call's `snr_db` is measured in its own band, which is what a detector needs. What a listener needs
is the call against all of the sound around it: an engine's rumble an octave or five below drowns a
whistle in the cinema. So here the call, in its own band, is held against the whole background from
3 s before it to 3 s after it, both K-weighted as loudness is (ITU-R BS.1770-4). A filter that takes
the engine and leaves the whistle shows in this figure, and not in the other.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from calltag.media.reader import read_blocks
from calltag.records import Call, FloatArray, Levels, Span, Take
from calltag.sound.faults import clipped_samples, silent_channels
from calltag.sound.loudness import k_weighting, lufs
from calltag.sound.spectrum import (
    BIN_HZ,
    FRAMES_PER_S,
    MEAN_SQUARE,
    N_BINS,
    RATE_HZ,
    power_frames,
)
from calltag.takes.words import calls_that

AROUND_S = 3.0
"""Background is taken from this long before a call to as long after it."""

STANDS_DB = 6.0
"""A call that stands this far above all else is heard clearly: it has four times the power."""

ENOUGH_DB = 15.0
"""Calls that stand this far above all else need no help: a cut thins all sound."""

KEPT = 0.8
"""Part of its loudness that a treatment must leave of a call, 1 dB less, for it to stand."""

_GUARD_FRAMES = 4  # the spectrum's window reaches two frames beyond a call's ends
_FLOOR = 1e-12


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
    rest_s: npt.NDArray[np.float64]
    quiet_s: float


QUIET_S = 12.0
"""Length of the stretch in which hum is looked for."""


@dataclass(frozen=True, slots=True)
class Figures:
    """How calls stand above the rest of the sound, and how loud that is.

    Attributes
    ----------
    standing : int
        Calls that stand `STANDS_DB` or more above all else; after a treatment, those that it keeps.
    calls : int
        All calls.
    median_db : float
        How far the middle call stands above all else; ``nan`` without calls.
    rest_lufs : float
        Loudness of the sound between the calls, in this channel.
    """

    standing: int
    calls: int
    median_db: float
    rest_lufs: float

    def __str__(self) -> str:
        rest = f"the rest of the sound at {self.rest_lufs:.0f} LUFS"
        if not self.calls:
            return rest
        return (
            f"{calls_that(self.standing, self.calls, 'stand')} {STANDS_DB:.0f} dB or more above "
            f"all else (the middle one {self.median_db:.0f} dB); {rest}"
        )


def used_channel(take: Take) -> int:
    """Channel that a take's calls were looked for in.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    int
        Counted from zero; where it had to be changed, the first one used that did not stop.
    """
    if take.levels is None:
        return 0
    used = _used(take.levels)
    silent = silent_channels(take.levels.channel_faults)
    return next((one for one in used if one not in silent), used[0]) - 1


def clipped_ppm(take: Take, channel: int | None = None) -> float:
    """How much of a take's sound is clipped.

    Parameters
    ----------
    take : Take
        The take.
    channel : int or None
        A channel, counted from zero; None for the best of those that were listened to, so that a
        safety track counts for the one that is clipped.

    Returns
    -------
    float
        Clipped samples per million.
    """
    levels, samples = take.levels, take.duration_s * RATE_HZ
    if levels is None or not levels.clipped or samples <= 0:
        return 0.0
    clipped = clipped_samples(levels.channel_faults)
    if not clipped:  # it is not said which
        return 1e6 * levels.clipped / samples / max(1, take.channels)
    channels = _used(levels) if channel is None else [channel + 1]
    return 1e6 * min(clipped.get(one, 0) for one in channels) / samples


def _used(levels: Levels) -> list[int]:
    """Channels that were listened to, counted from one, in order of use."""
    return [int(one) for one in levels.channel.split(",") if one.strip().isdigit()] or [1]


def weights() -> npt.NDArray[np.float64]:
    """K-weighting of the shared spectrum's bins.

    Returns
    -------
    np.ndarray, shape (N_BINS,)
        Power gains.
    """
    return k_weighting(np.arange(N_BINS) * BIN_HZ)


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
    edges = np.array([[call.start_s, call.end_s] for call in calls]).reshape(-1, 2)
    spans = np.rint(edges * FRAMES_PER_S).astype(int)
    spans[:, 1] = np.maximum(spans[:, 1], spans[:, 0] + 1)
    around = spans + np.rint([-AROUND_S * FRAMES_PER_S, AROUND_S * FRAMES_PER_S]).astype(int)
    during, beside, rest = _Mean(len(calls)), _Mean(len(calls)), _Mean(1 + len(regions))
    seconds: list[FloatArray] = []
    begun = np.zeros(0, np.float32)  # frames of a second that is not whole yet
    at = 0
    for power in power_frames(blocks):
        stop = at + len(power)
        free = np.ones(len(power), bool)
        for start, end in spans:
            free[max(0, start - _GUARD_FRAMES - at) : max(0, end + _GUARD_FRAMES - at)] = False
        for i, ((start, end), (left, right)) in enumerate(zip(spans, around, strict=True)):
            if start < stop and end > at:
                during.add(i, power[max(0, start - at) : end - at])
            if left < stop and right > at:
                near = slice(max(0, left - at), right - at)
                beside.add(i, power[near][free[near]])
        outside = free.copy()
        for i, region in enumerate(regions, 1):
            inside = slice(*(max(0, round(edge * FRAMES_PER_S) - at) for edge in region))
            rest.add(i, power[inside][free[inside]])
            outside[inside] = False
        rest.add(0, power[outside])
        begun = np.concatenate([begun, power.mean(axis=1)])
        whole = len(begun) // FRAMES_PER_S * FRAMES_PER_S
        seconds.append(begun[:whole].reshape(-1, FRAMES_PER_S).mean(axis=1))
        begun = begun[whole:]
        at = stop
    common = rest.mean_of_all() if rest.counts.any() else beside.mean().mean(axis=0)
    backgrounds = np.where(beside.counts[:, None] > 0, beside.mean(), common)
    added = np.maximum(during.mean() - backgrounds, 0)
    bins_hz = np.arange(N_BINS) * BIN_HZ
    for one, call in zip(added, calls, strict=True):
        one[(bins_hz < call.low_hz - BIN_HZ) | (bins_hz > call.high_hz + BIN_HZ)] = 0
    return Spectra(
        added,
        backgrounds.astype(np.float32),
        rest.mean() if rest.counts.any() else np.repeat(common[None], len(rest.counts), axis=0),
        rest.counts / FRAMES_PER_S,
        _quietest(seconds),
    )


@dataclass(frozen=True, slots=True)
class Gains:
    """What a treatment does to power, at the bins of the shared spectrum.

    Attributes
    ----------
    calls : np.ndarray, shape (N_BINS,) or (n_calls, N_BINS)
        Around each call.
    rest : np.ndarray, shape (N_BINS,) or (1 + n_regions, N_BINS)
        Outside of all regions, and in each.
    """

    calls: npt.NDArray[np.float64]
    rest: npt.NDArray[np.float64]


def figures(
    heard: Spectra, gains: Gains | None = None, was: npt.NDArray[np.float64] | None = None
) -> Figures:
    """Tell how calls stand above the rest of the sound.

    Parameters
    ----------
    heard : Spectra
        Their spectra.
    gains : Gains or None
        What everything goes through; None for nothing.
    was : np.ndarray, shape (n_calls,), or None
        The calls' `loudness` before what was heard was treated; None where it was not.

    Returns
    -------
    Figures
        After that.
    """
    gains = gains or Gains(np.ones(N_BINS), np.ones(N_BINS))
    loud = (heard.rest * (weights() * gains.rest)).sum(axis=1)
    shares = heard.rest_s if heard.rest_s.any() else np.ones(len(loud))
    rest = float(np.average(loud, weights=shares)) * MEAN_SQUARE
    above = stand_db(heard, gains.calls)
    return Figures(
        standing=int(((above >= STANDS_DB) & kept(heard, gains.calls, was)).sum()),
        calls=len(above),
        median_db=float(np.median(above)) if len(above) else float("nan"),
        rest_lufs=lufs(rest + _FLOOR),
    )


def loudness(
    heard: Spectra, gain: npt.NDArray[np.float64] | float = 1.0
) -> npt.NDArray[np.float64]:
    """How loud each call is by itself.

    Parameters
    ----------
    heard : Spectra
        Spectra of the calls.
    gain : np.ndarray, shape (N_BINS,) or (n_calls, N_BINS), or float
        Power gain of a filter that they go through.

    Returns
    -------
    np.ndarray, shape (n_calls,)
        Power, K-weighted.
    """
    loud: npt.NDArray[np.float64] = (heard.calls * (weights() * gain)).sum(axis=1)
    return loud


def kept(
    heard: Spectra,
    gain: npt.NDArray[np.float64] | float = 1.0,
    was: npt.NDArray[np.float64] | None = None,
) -> npt.NDArray[np.bool_]:
    """Tell which calls a treatment leaves whole: `KEPT` of their loudness, or more.

    Parameters
    ----------
    heard : Spectra
        Spectra of the calls.
    gain : np.ndarray, shape (N_BINS,) or (n_calls, N_BINS), or float
        Power gain of a filter that they go through.
    was : np.ndarray, shape (n_calls,), or None
        Their `loudness` before what was heard was treated; None where it was not.

    Returns
    -------
    np.ndarray, shape (n_calls,)
        Whether each is left whole.
    """
    whole: npt.NDArray[np.bool_] = loudness(heard, gain) >= KEPT * (
        loudness(heard) if was is None else was
    )
    return whole


def stand_db(
    heard: Spectra, gain: npt.NDArray[np.float64] | float = 1.0
) -> npt.NDArray[np.float64]:
    """How far each call stands above all else.

    Parameters
    ----------
    heard : Spectra
        Spectra of the calls.
    gain : np.ndarray, shape (N_BINS,) or (n_calls, N_BINS), or float
        Power gain of a filter that everything goes through.

    Returns
    -------
    np.ndarray, shape (n_calls,)
        Levels in dB, K-weighted.
    """
    rest = (heard.backgrounds * (weights() * gain)).sum(axis=1)
    return 10 * np.log10((loudness(heard, gain) + _FLOOR) / (rest + _FLOOR))


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
