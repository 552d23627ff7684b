"""Combs: lines at whole multiples of one rate, in any spectrum.

What repeats itself many times a second has such lines: in the spectrum of the sound, where the
sound itself repeats, and in the spectrum of its envelope, where noise only swells and sinks that
fast.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.ndimage

from calltag.arrays import DoubleArray, FloatArray

_HALF, _EVERY = 80, 20  # bins: half the width of the running median, and where it is taken
_LIMITS_DB = (-10.0, 20.0)  # one strong whistle must not pass for a comb
# Mean and spread, dB, of the highest of three bins of noise over its running median: a little more
# than those of white noise (1.6 and 3.8, by theory) and of rain and surf (1.8 and 4.0, measured).
_NOISE_MEAN_DB, _NOISE_SPREAD_DB = 2.5, 4.5
_NEARLY = 0.8  # a rate with lines at half its multiples has half the evidence; with all, all of it
_QUIETEST = 1e-9
_PATH_STEP = 0.016  # of the logarithm: no finer than the lowest rates are
_PATH_REACH = 10  # steps: most engines change their speed by less than a sixth in half a second,
_LEAP = 3.0  # and there is to be so much evidence that one leapt
_LASTING = 3  # frames: a frame or two alone are easily mistaken for half their rate


@dataclass(frozen=True, slots=True, kw_only=True)
class Comb:
    """Which combs are looked for.

    Attributes
    ----------
    lowest_hz, highest_hz, step_hz : float
        The rates; the highest is the first that is not looked for.
    lines : int
        At most so many lines of each count.
    top_hz : float
        Lines above do not count.
    """

    lowest_hz: float
    highest_hz: float
    step_hz: float
    lines: int
    top_hz: float

    @property
    def rates_hz(self) -> DoubleArray:
        """The rates looked for, in order."""
        return np.arange(self.lowest_hz, self.highest_hz, self.step_hz)


def heights_db(frames: FloatArray, n_bins: int) -> FloatArray:
    """Spectra, and how far each bin of them stands above the bins around it.

    Parameters
    ----------
    frames : np.ndarray, shape (n_frames, n_samples), float32
        Stretches of a signal.
    n_bins : int
        So many bins are asked for; they lie half as far apart as the stretch's length resolves.

    Returns
    -------
    np.ndarray, shape (n_frames, n_bins), float32
        The highest of each bin and its neighbours, over the running median of 161 bins.
    """
    n = frames.shape[1]
    spectrum = scipy.fft.rfft(frames * _window(n), 2 * n, axis=1)
    level = 20 * np.log10(np.abs(spectrum[:, : n_bins + 2 * _HALF]) + _QUIETEST)
    level -= _running_median(level)
    lifted = scipy.ndimage.maximum_filter1d(np.clip(level, *_LIMITS_DB), 3, axis=1)
    return lifted[:, :n_bins].astype(np.float32)


@functools.lru_cache(maxsize=8)
def _window(n: int) -> FloatArray:
    return np.hanning(n).astype(np.float32)


def _running_median(level: FloatArray) -> DoubleArray:
    """Running median of each row, taken at every twentieth bin and drawn straight between."""
    padded = np.pad(level, ((0, 0), (_HALF, _HALF)), mode="edge")
    at = np.arange(0, level.shape[1] + _EVERY - 1, _EVERY).clip(max=level.shape[1] - 1)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * _HALF + 1, axis=1)[:, at]
    middle = np.sort(around, axis=2)[:, :, _HALF]  # faster than to partition
    bins = np.arange(level.shape[1])
    return np.stack([np.interp(bins, at, row) for row in middle])


def comb_evidence(
    heights: FloatArray, bin_hz: float, comb: Comb
) -> tuple[DoubleArray, DoubleArray]:
    """How much the lines of each rate stand out.

    Parameters
    ----------
    heights : np.ndarray, shape (..., n_bins), float32
        Spectra by `heights_db`.
    bin_hz : float
        Distance of their bins.
    comb : Comb
        What is looked for.

    Returns
    -------
    evidence : np.ndarray, shape (..., n_rates)
        Mean of the lines against the sound at large, or against the places half-way between where
        that is less, in units of its spread in noise.
    strength_db : np.ndarray, shape (..., n_rates)
        How far the lines stand above the places half-way between.
    """
    on, off, n_lines = _places(comb, bin_hz, heights.shape[-1])
    padded = np.concatenate([heights, np.zeros_like(heights[..., :1])], axis=-1)
    # One line of all rates after the other, by `take`: twice as fast as by an index.
    lines = sum((padded.take(at, axis=-1) for at in on), start=np.float64(0.0))
    between = sum((padded.take(at, axis=-1) for at in off), start=np.float64(0.0))
    sigma = _NOISE_SPREAD_DB * np.sqrt(n_lines)
    evidence = np.minimum(
        (lines - between) / (np.sqrt(2.0) * sigma), (lines - n_lines * _NOISE_MEAN_DB) / sigma
    )
    return evidence, (lines - between) / n_lines


@functools.lru_cache(maxsize=8)
def _places(
    comb: Comb, bin_hz: float, n_bins: int
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Bins of each rate's lines and of the places between, `n_bins` for none; number of lines."""
    lines_hz = np.arange(1, comb.lines + 1)[:, None] * comb.rates_hz
    within = lines_hz <= comb.top_hz
    on, off = (
        np.where(within, np.minimum(np.rint(hz / bin_hz).astype(int), n_bins - 1), n_bins)
        for hz in (lines_hz, lines_hz - comb.rates_hz / 2)
    )
    return on, off, within.sum(axis=0)


def follow(evidence: DoubleArray, comb: Comb) -> npt.NDArray[np.intp]:
    """Follow the rate that has the most evidence through time; most of its changes are gradual.

    Parameters
    ----------
    evidence : np.ndarray, shape (n_frames, n_rates)
        By `comb_evidence`, of frames half a second apart; at least one.
    comb : Comb
        What was looked for.

    Returns
    -------
    np.ndarray, shape (n_frames,), int
        Number of the rate in `Comb.rates_hz`; the lowest that explains the lines as well, since its
        multiples have lines too.

    Notes
    -----
    The best path by dynamic programming, on rates 1.6 % apart. An engine that changes its speed
    blurs its lines, so that one frame alone is easily mistaken for half its rate.
    """
    rates_hz = comb.rates_hz
    n_steps = int(np.log(comb.highest_hz / comb.lowest_hz) / _PATH_STEP)
    edges = comb.lowest_hz * np.exp(_PATH_STEP * np.arange(n_steps + 1))
    starts = np.unique(np.searchsorted(rates_hz, edges)).clip(max=len(rates_hz) - 1)
    totals = [np.maximum.reduceat(evidence[0], starts)]
    for frame in evidence[1:]:
        near = scipy.ndimage.maximum_filter1d(totals[-1], 2 * _PATH_REACH + 1, mode="nearest")
        before = np.maximum(near, totals[-1].max() - _LEAP)
        totals.append(np.maximum.reduceat(frame, starts) + before)
    path = np.zeros(len(evidence), np.intp)
    first, last = 0, len(starts)
    for i in reversed(range(len(evidence))):
        at = first + int(totals[i][first:last].argmax())
        if totals[i][at] < totals[i].max() - _LEAP:
            at = int(totals[i].argmax())
        own = evidence[i, starts[at] : starts[at + 1] if at + 1 < len(starts) else None]
        path[i] = starts[at] + int(own.argmax())
        first, last = max(0, at - _PATH_REACH), at + _PATH_REACH + 1
    return _fundamental(evidence, path, comb)


def _fundamental(
    evidence: DoubleArray, path: npt.NDArray[np.intp], comb: Comb
) -> npt.NDArray[np.intp]:
    frames = np.arange(len(evidence))
    enough = _NEARLY * evidence[frames, path]
    rates_hz = comb.lowest_hz + path * comb.step_hz
    best = path
    for divisor in (2, 3, 4):
        # a step to each side: the multiple's rate was found to a step, and is divided
        step = np.rint((rates_hz / divisor - comb.lowest_hz) / comb.step_hz).astype(int)
        lower = np.maximum(step[:, None] + [-1, 0, 1], 0)
        at = lower[frames, evidence[frames[:, None], lower].argmax(axis=1)]
        better = (evidence[frames, at] >= enough) & (rates_hz / divisor >= comb.lowest_hz)
        lasting = scipy.ndimage.binary_opening(better, np.ones(min(_LASTING, len(better))))
        best = np.where(lasting, at, best)
    return best
