"""Where, roughly, two takes may have heard the same: places worth a closer look.

Two searches that see different things. Outlines are correlated over any length; pieces of the take
are summed along lines of constant drift, so that clocks which run apart do not blur the sum. The
evened sound is correlated piece by piece where the takes are short enough for that: it finds what
is too faint, or too short, for the outline.

A lag is the time of a moment in take A less its time in take B; a place holds the lag in the middle
of take B, since that is where drift changes it least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import scipy.fft

from calltag.arrays import DoubleArray, FloatArray
from calltag.edit.sync.trace import EVEN_RATE_HZ, Complex, Trace
from calltag.sound.spectrum import FRAMES_PER_S

MOST_DRIFT_PPM = 200.0
"""Clocks differ by no more: crystals are good to 50 millionths (common practice), cold or hot."""

LEAST_OVERLAP_S = 2.0
"""Takes that have less in common are not looked for."""

_PLACES = 8  # looked for by each search
_APART_S = 0.25  # between two places
_PIECE_S = 60.0  # of the outline: at the greatest drift, half of it moves by less than a frame
_MOST_PIECES = 40  # in longer takes, pieces grow and the greatest drift blurs them a little
_BLUR_S = 0.02  # by how much a sum along a line may miss the true drift at the ends
_WINDOW = EVEN_RATE_HZ  # one second
_FEWEST_WINDOWS, _MOST_WINDOWS = 8, 64
_WORK_S2 = 40_000.0  # windows times seconds of take A that are worth the wait: some half a second
_POOL = EVEN_RATE_HZ // 200  # steps of lag, 5 ms; within one, the highest value counts
_BAND = 1_600  # bins of a window, 1 Hz each, in which most happens: few calls are wider
_BLOCK = 80_000  # length of an FFT that is fast for its length
_AT_ONCE = 8  # windows, so that they stay within the processor's cache
_DEVIATION = 1.4826  # of a Gaussian, over its median distance from the middle
_LINEAR = 10.0  # mean powers; higher ones count by their logarithm: no window decides alone


@dataclass(frozen=True, slots=True)
class Place:
    """A lag worth a closer look.

    Attributes
    ----------
    lag_s : float
        Time in take A less time in take B, in the middle of take B.
    slope : float
        How the lag changes over a second of take B.
    slope_reach : float
        How far off `slope` may be.
    height : float
        How far it stands out, in deviations of the search's own noise.
    """

    lag_s: float
    slope: float
    slope_reach: float
    height: float


@dataclass(frozen=True, slots=True)
class Bounds:
    """Lags to look at: from `low_s` to `high_s`."""

    low_s: float = -np.inf
    high_s: float = np.inf

    def hold(self, lags_s: DoubleArray) -> npt.NDArray[np.bool_]:
        """Tell which lags are within.

        Parameters
        ----------
        lags_s : np.ndarray, any shape
            Lags in seconds.

        Returns
        -------
        np.ndarray of bool, shape of `lags_s`
            Whether each is within.
        """
        inside: npt.NDArray[np.bool_] = (lags_s >= self.low_s) & (lags_s <= self.high_s)
        return inside


def overlap_s(a: Trace, b: Trace, lags_s: npt.ArrayLike) -> DoubleArray:
    """Tell how long two takes overlap.

    Parameters
    ----------
    a, b : Trace
        The takes.
    lags_s : array_like
        Lags.

    Returns
    -------
    np.ndarray
        Seconds, of the same shape; below zero where the takes lie apart.
    """
    lag = np.asarray(lags_s, np.float64)
    return np.minimum(a.duration_s, b.duration_s + lag) - np.maximum(0.0, lag)


def search_outlines(a: Trace, b: Trace, bounds: Bounds) -> list[Place]:
    """Look for places where the outlines of two takes agree.

    Parameters
    ----------
    a, b : Trace
        The takes.
    bounds : Bounds
        Lags to look at.

    Returns
    -------
    list of Place
        The best first.
    """
    n_a, n_b = len(a.outline), len(b.outline)
    lags = np.arange(1 - n_b, n_a)
    lags_s = lags / FRAMES_PER_S
    common_s = overlap_s(a, b, lags_s)
    allowed = bounds.hold(lags_s) & (common_s >= LEAST_OVERLAP_S)
    if not allowed.any():
        return []
    pieces = _piece_correlations(a.outline, b.outline)
    highest = np.full(len(lags), -np.inf, np.float32)
    slopes = np.zeros(len(lags), np.float32)
    tried = _slopes(b.duration_s, len(pieces))
    for slope in tried:
        total = np.zeros(len(lags), np.float32)
        for start, end, products in pieces:
            moved = round(((start + end - n_b) / 2) * slope)
            first = (start - end + 1) - start - moved - int(lags[0])
            low, high = max(0, first), min(len(lags), first + len(products))
            total[low:high] += products[low - first : high - first]
        better = total > highest
        highest[better], slopes[better] = total[better], slope
    with np.errstate(invalid="ignore"):
        highest /= np.sqrt(np.maximum(common_s, LEAST_OVERLAP_S))
    reach = 0.75 * float(tried[1] - tried[0]) if len(tried) > 1 else MOST_DRIFT_PPM / 1e6
    return _peaks(highest, lags_s, allowed, slopes, reach)


def _piece_correlations(a: FloatArray, b: FloatArray) -> list[tuple[int, int, FloatArray]]:
    """Correlate each piece of B with all of A, summed over bands.

    Value ``j`` of a piece of m frames belongs to its first frame lying ``j - (m - 1)`` frames after
    the first of A.
    """
    n_pieces = min(_MOST_PIECES, max(1, round(len(b) / (_PIECE_S * FRAMES_PER_S))))
    edges = np.linspace(0, len(b), n_pieces + 1).astype(int)
    n = scipy.fft.next_fast_len(len(a) + int(np.diff(edges).max()), real=True)
    spectrum = [scipy.fft.rfft(band, n) for band in a.T]
    pieces = []
    for start, end in pairwise(edges.tolist()):
        product = sum(
            whole * scipy.fft.rfft(band, n).conj()
            for whole, band in zip(spectrum, b[start:end].T, strict=True)
        )
        values = scipy.fft.irfft(product, n)
        before = values[n - (end - start - 1) :]
        pieces.append((start, end, np.concatenate([before, values[: len(a)]])))
    return pieces


def _slopes(duration_s: float, n_pieces: int) -> DoubleArray:
    if n_pieces == 1:
        return np.zeros(1)
    most = MOST_DRIFT_PPM / 1e6
    return np.linspace(-most, most, 2 * int(np.ceil(most * duration_s / 2 / _BLUR_S)) + 1)


def search_sound(a: Trace, b: Trace, bounds: Bounds) -> list[Place]:
    """Look for places where the evened sound of two takes agrees.

    Parameters
    ----------
    a, b : Trace
        The takes.
    bounds : Bounds
        Lags to look at.

    Returns
    -------
    list of Place
        The best first; none where the takes are too long for this.
    """
    n_windows = min(_MOST_WINDOWS, int(_WORK_S2 / max(a.duration_s, 1.0)))
    starts = _eventful(b, n_windows)
    n_steps = (len(a.even) - _WINDOW) // _POOL
    if len(starts) < min(_FEWEST_WINDOWS, len(b.even) // _WINDOW) or not starts or n_steps < 1:
        return []
    within = _steps_within(bounds, b.duration_s, n_steps)
    if not within:
        return []
    votes = _window_votes(a, [b.sound(start, start + _WINDOW) for start in starts], within)
    last = starts[-1] // _POOL
    score, count = np.zeros(n_steps + last), np.zeros(n_steps + last)
    for start, vote in zip(starts, votes, strict=True):
        first = last - start // _POOL + within.start
        score[first : first + len(within)] += vote
        count[first : first + len(within)] += 1
    lags_s = (np.arange(len(score)) - last + 0.5) * _POOL / EVEN_RATE_HZ
    allowed = bounds.hold(lags_s) & (count >= 1) & (overlap_s(a, b, lags_s) >= LEAST_OVERLAP_S)
    if not allowed.any():
        return []
    height = (score / np.sqrt(np.maximum(count, 1))).astype(np.float32)
    return _peaks(height, lags_s, allowed, np.zeros_like(height), MOST_DRIFT_PPM / 1e6)


def _steps_within(bounds: Bounds, length_s: float, n_steps: int) -> range:
    """Steps of A in which something of B may lie, where that lies within bounds."""
    low, high = (
        np.clip(edge_s * EVEN_RATE_HZ / _POOL, 0, n_steps)
        for edge_s in (bounds.low_s, bounds.high_s + length_s)
    )
    return range(int(low), int(np.ceil(high)))


def _eventful(b: Trace, n_windows: int) -> list[int]:
    """Starts of the windows of B in which most happens, in order."""
    starts = np.arange(0, len(b.even) - _WINDOW + 1, _WINDOW)
    events = np.cumsum(np.concatenate([[0.0], np.square(b.outline).sum(axis=1)]))
    frames = starts * FRAMES_PER_S // EVEN_RATE_HZ
    ends = np.minimum(frames + _WINDOW * FRAMES_PER_S // EVEN_RATE_HZ, len(events) - 1)
    sums = events[ends] - events[frames]
    return sorted(starts[np.argsort(-sums, kind="stable")[:n_windows]].tolist())


def _window_votes(a: Trace, windows: Sequence[Complex], within: range) -> FloatArray:
    """Let windows vote for their places in A; shape (n_windows, len(within)), of mean 0 each.

    Each is looked for in the band alone in which most happens in it. The rest of it is mostly noise
    of its own, and a band of a sixth is correlated in a sixth of the time. The steps of A are gone
    through in blocks, each as long as its FFT less a window [1]_.

    References
    ----------
    .. [1] A. V. Oppenheim and R. W. Schafer, "Discrete-Time Signal Processing", Prentice Hall,
       1989: the overlap-save method.
    """
    per_bin = _BLOCK // _WINDOW  # bins of a block to one of a window
    n_bins, pool = per_bin * _BAND, _POOL * _BAND // _WINDOW
    firsts, spectra = _bands(windows, n_bins)
    steps = (_BLOCK - _WINDOW) // _POOL
    highest = np.zeros((len(windows), len(within)), np.float32)
    total = np.zeros(len(windows))
    for first in range(0, len(within), steps):
        at = (within.start + first) * _POOL
        block = scipy.fft.fft(a.sound(at, at + _BLOCK))
        n = min(steps, len(within) - first)
        for row in range(0, len(windows), _AT_ONCE):
            some = slice(row, row + _AT_ONCE)
            bands = [block[at * per_bin :][:n_bins] for at in firsts[some]]
            products = np.stack(bands) * spectra[some]
            values = scipy.fft.ifft(products, axis=1, overwrite_x=True)
            power = _power(values[:, : n * pool])
            total[some] += power.sum(axis=1)
            highest[some, first : first + n] = power.reshape(len(power), n, pool).max(axis=2)
    mean = np.maximum(total / (len(within) * pool), 1e-9).astype(np.float32)
    votes = as_votes(highest / mean[:, None])
    return votes - votes.mean(axis=1, keepdims=True)


def _bands(windows: Sequence[Complex], n_bins: int) -> tuple[list[int], Complex]:
    """First bins of the bands in which most happens in windows, and their spectra, conjugated.

    The spectra are those of windows with zeros after them, shape (n_windows, n_bins).
    """
    spectra = scipy.fft.fft(np.stack(windows), axis=1)
    up_to = np.cumsum(_power(spectra), axis=1, dtype=np.float64)
    up_to = np.concatenate([np.zeros((len(windows), 1)), up_to], axis=1)
    firsts = np.argmax(up_to[:, _BAND:] - up_to[:, :-_BAND], axis=1).tolist()
    bands = np.stack([row[at : at + _BAND] for row, at in zip(spectra, firsts, strict=True)])
    return firsts, scipy.fft.fft(scipy.fft.ifft(bands, axis=1), n_bins, axis=1).conj()


def _power(values: Complex) -> FloatArray:
    power: FloatArray = np.square(values.real) + np.square(values.imag)
    return power


def as_votes(power: FloatArray) -> FloatArray:
    """Take the power of a correlation, over its mean, for votes.

    Parameters
    ----------
    power : np.ndarray, float32
        Powers, 1 on average.

    Returns
    -------
    np.ndarray of the same shape
        The same up to 10 and beyond that growing with the logarithm only: a window that agrees
        strongly counts for more than an echo in it, and still does not outvote all others.
    """
    high = _LINEAR * (1 + np.log(np.maximum(power, _LINEAR) / _LINEAR))
    votes: FloatArray = np.minimum(power, high)
    return votes


def _peaks(
    height: FloatArray,
    lags_s: DoubleArray,
    allowed: npt.NDArray[np.bool_],
    slopes: FloatArray,
    slope_reach: float,
) -> list[Place]:
    """List the highest lags, apart from each other, in deviations of all."""
    middle = np.median(height[allowed])
    deviation = _DEVIATION * np.median(np.abs(height[allowed] - middle))
    standing = np.where(allowed, (height - middle) / max(float(deviation), 1e-9), -np.inf)
    places: list[Place] = []
    for _ in range(_PLACES):
        at = int(np.argmax(standing))
        if not standing[at] > 0:
            break
        places.append(Place(float(lags_s[at]), float(slopes[at]), slope_reach, float(standing[at])))
        standing[np.abs(lags_s - lags_s[at]) <= _APART_S] = -np.inf
    return places
