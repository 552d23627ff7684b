"""Measures of spectral shape, frame by frame, defined as in librosa and held to it by the tests.

Every function takes frames along the first axis and returns one number, or one row, per frame. They
work on the shared power spectrum and need no other pass over the sound.

References
----------
.. [1] G. Peeters, "A large set of audio features for sound description", IRCAM, 2004.
.. [2] D.-N. Jiang et al., "Music type classification by spectral contrast feature", IEEE ICME,
   2002.
.. [3] S. Davis and P. Mermelstein, "Comparison of parametric representations for monosyllabic
   word recognition", IEEE Transactions on Acoustics, Speech and Signal Processing 28(4), 1980.
"""

from __future__ import annotations

import itertools
from functools import cache
from typing import NamedTuple

import numpy as np
import scipy.fft
import scipy.ndimage

from calltag.arrays import FloatArray
from calltag.sound.spectrum import BIN_HZ, N_BINS

BINS_HZ: FloatArray = (np.arange(N_BINS) * BIN_HZ).astype(np.float32)
CONTRAST_EDGES_HZ = (0.0, 200.0, 400.0, 800.0, 1600.0, 3200.0, 6400.0, 12_800.0)
_TINY = np.float32(1e-20)
_GROUP = 32  # bins that are summed at once
_PIECE = 256  # bins that are sorted at once
_END_SHARE = 0.02  # of a band's bins, that make its peak, and its valley
_LEAST_ONSET_DB = 1.0
_ONSETS_APART, _ONSET_BESIDE, _ONSET_AROUND = 3, 7, 21  # frames
_PAST_LAG_0 = 0.3  # the autocorrelation's first peak ends where it falls below
_NEARLY = 0.9  # as high as the best: of several such peaks the shortest period is the pitch


def centroid_hz(magnitude: FloatArray) -> FloatArray:
    """Centre of gravity of the spectrum.

    Parameters
    ----------
    magnitude : np.ndarray, shape (n_frames, N_BINS)
        Magnitude spectrum.

    Returns
    -------
    np.ndarray, shape (n_frames,)
        Frequency in hertz; 0 for silence.
    """
    total = magnitude.sum(axis=1)
    return np.divide(magnitude @ BINS_HZ, total, out=np.zeros_like(total), where=total > _TINY)


def bandwidth_hz(magnitude: FloatArray, centroid: FloatArray | None = None) -> FloatArray:
    """Spread of the spectrum around its centroid.

    Parameters
    ----------
    magnitude : np.ndarray, shape (n_frames, N_BINS)
        Magnitude spectrum.
    centroid : np.ndarray, shape (n_frames,), optional
        Its centroid in hertz, where that is known.

    Returns
    -------
    np.ndarray, shape (n_frames,)
        Standard deviation in hertz; 0 for silence.
    """
    total = magnitude.sum(axis=1)
    if centroid is None:
        centroid = centroid_hz(magnitude)
    distance = BINS_HZ[None] - centroid[:, None]
    np.square(distance, out=distance)
    spread = np.einsum("ij,ij->i", magnitude, distance)
    return np.sqrt(np.divide(spread, total, out=np.zeros_like(total), where=total > _TINY))


def rolloff_hz(magnitude: FloatArray, share: float = 0.85) -> FloatArray:
    """Frequency below which a share of the spectrum lies.

    Parameters
    ----------
    magnitude : np.ndarray, shape (n_frames, N_BINS)
        Magnitude spectrum.
    share : float
        The share.

    Returns
    -------
    np.ndarray, shape (n_frames,)
        Frequency in hertz.
    """
    # In groups first, then within the one where the share is reached: several times as fast as to
    # sum up bin by bin.
    whole = N_BINS // _GROUP * _GROUP
    groups = np.einsum("ijk->ij", magnitude[:, :whole].reshape(-1, whole // _GROUP, _GROUP))
    rest = magnitude[:, whole:].sum(axis=1, keepdims=True)
    below = np.cumsum(np.concatenate([groups, rest], axis=1), axis=1)
    wanted = share * below[:, -1:]
    group = (below >= wanted).argmax(axis=1)[:, None]
    bins = np.minimum(group * _GROUP + np.arange(_GROUP), N_BINS - 1)
    inside = np.take_along_axis(magnitude, bins, axis=1)
    before = np.concatenate([np.zeros_like(below[:, :1]), below], axis=1)
    inside[:, :1] += np.take_along_axis(before, group, axis=1)
    reached = np.cumsum(inside, axis=1) >= wanted
    reached[:, -1] = True  # whatever rounding makes of it
    return BINS_HZ[np.take_along_axis(bins, reached.argmax(axis=1)[:, None], axis=1)[:, 0]]


def flatness(power: FloatArray) -> FloatArray:
    """Geometric over arithmetic mean of the power: 0 for a tone, 0.56 for white noise.

    Silence reads 1, which looks like noise: gate by level first.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, n_bins)
        Power spectrum.

    Returns
    -------
    np.ndarray, shape (n_frames,)
        Between 0 and 1.
    """
    kept = np.maximum(power, np.float32(1e-10))
    flat: FloatArray = np.exp(np.log(kept).mean(axis=1)) / kept.mean(axis=1)
    return flat


def contrast_db(power: FloatArray) -> FloatArray:
    """Peaks over valleys of the spectrum, per octave.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum.

    Returns
    -------
    np.ndarray, shape (n_frames, 7)
        Difference of the mean magnitude of the highest and lowest 2 % of bins in each band of
        `CONTRAST_EDGES_HZ`, in dB.
    """
    peak, valley = np.empty((2, len(power), len(_octaves())), np.float32)
    narrow = [bins for bins, n_ends in _octaves() if n_ends == 1]  # the lower ones
    starts = [bins.start for bins in narrow]
    for ends, extreme in ((peak, np.maximum), (valley, np.minimum)):
        ends[:, : len(narrow)] = extreme.reduceat(power[:, : narrow[-1].stop], starts, axis=1)
    np.sqrt(peak[:, : len(narrow)], out=peak[:, : len(narrow)])
    np.sqrt(valley[:, : len(narrow)], out=valley[:, : len(narrow)])
    for i, (bins, n_ends) in enumerate(_octaves()[len(narrow) :], len(narrow)):
        lowest, highest = _ends(power[:, bins], n_ends)
        peak[:, i] = np.sqrt(highest).mean(axis=1)
        valley[:, i] = np.sqrt(lowest).mean(axis=1)
    contrast: FloatArray = 10 * np.log10(np.maximum(peak, 1e-10) / np.maximum(valley, 1e-10))
    return contrast


def _ends(rows: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest numbers of each row, in order.

    Rows are sorted piece by piece, then what may be at the ends: short pieces are sorted several
    times as fast as long ones, and faster than partitioned.
    """
    pieces = [
        np.sort(rows[:, first : first + _PIECE], axis=1)
        for first in range(0, rows.shape[1], _PIECE)
    ]
    if len(pieces) == 1:
        return pieces[0][:, :count], pieces[0][:, -count:]
    low, high = (
        np.sort(np.concatenate([piece[:, end] for piece in pieces], axis=1), axis=1)
        for end in (slice(count), slice(-count, None))
    )
    return low[:, :count], high[:, -count:]


class _Octave(NamedTuple):
    """Bins of a band of `CONTRAST_EDGES_HZ`, and how many of them make its peak, and its valley."""

    bins: slice
    n_ends: int


@cache
def _octaves() -> list[_Octave]:
    octaves = []
    for low, high in itertools.pairwise(CONTRAST_EDGES_HZ):
        inside = np.flatnonzero((low <= BINS_HZ) & (high >= BINS_HZ))
        first, last = int(inside[0]), int(inside[-1])
        if low > 0:
            first -= 1  # a band takes the last bin of the one below, as librosa's does
        top = high == CONTRAST_EDGES_HZ[-1]
        if top:
            last = N_BINS - 1
        n_ends = max(1, int(np.rint(_END_SHARE * (last - first + 1))))
        octaves.append(_Octave(slice(first, last + 1 if top else last), n_ends))
    return octaves


def mfcc(level_db: FloatArray, count: int = 20) -> FloatArray:
    """Mel-frequency cepstral coefficients.

    Parameters
    ----------
    level_db : np.ndarray, shape (n_frames, n_mels)
        Mel levels in dB.
    count : int
        Coefficients to keep.

    Returns
    -------
    np.ndarray, shape (n_frames, count)
        Orthonormal cosine transform of the levels.
    """
    transformed: FloatArray = scipy.fft.dct(level_db, type=2, norm="ortho", axis=1)[:, :count]
    return transformed


def onset_strength(level_db: FloatArray) -> FloatArray:
    """How much the level rises from one frame to the next, over all mel bands.

    Parameters
    ----------
    level_db : np.ndarray, shape (n_frames, n_mels)
        Mel levels in dB.

    Returns
    -------
    np.ndarray, shape (n_frames,)
        Mean rise in dB; 0 in the first frame.
    """
    out = np.zeros(len(level_db), np.float32)
    out[1:] = np.maximum(0.0, np.diff(level_db, axis=0)).mean(axis=1)
    return out


def onset_frames(strength: FloatArray) -> list[int]:
    """Frames at which something begins: local peaks of the onset strength.

    A peak stands 1 dB or more over the mean of the 0.2 s around it; within three frames only the
    first counts.

    Parameters
    ----------
    strength : np.ndarray, shape (n_frames,)
        From `onset_strength`.

    Returns
    -------
    list of int
        Frame numbers in ascending order.
    """
    if not len(strength):
        return []
    highest = scipy.ndimage.maximum_filter1d(strength, _ONSET_BESIDE, mode="nearest")
    around = scipy.ndimage.uniform_filter1d(strength, _ONSET_AROUND, mode="nearest")
    peaks = np.flatnonzero((strength >= highest) & (strength >= around + _LEAST_ONSET_DB))
    kept: list[int] = []
    for peak in peaks.tolist():
        if not kept or peak - kept[-1] > _ONSETS_APART:
            kept.append(peak)
    return kept


def pitch_track_hz(
    magnitude: FloatArray, *, low_hz: float = 80.0, high_hz: float = 4000.0
) -> tuple[FloatArray, FloatArray]:
    """Pitch by the autocorrelation of each frame, computed from its spectrum.

    Parameters
    ----------
    magnitude : np.ndarray, shape (n_frames, N_BINS)
        Magnitude spectrum.
    low_hz, high_hz : float
        Where to look.

    Returns
    -------
    pitch_hz : np.ndarray, shape (n_frames,)
        Pitch in hertz.
    strength : np.ndarray, shape (n_frames,)
        Height of the correlation's peak, 1 for a perfectly periodic sound.
    """
    # Wiener-Khinchin, by magnitude: power would let formants outweigh other harmonics.
    # A spectrum without phases goes back by a cosine transform, up to a factor.
    correlation = scipy.fft.dct(magnitude, type=1, axis=1)
    rate_hz = 2 * BIN_HZ * (N_BINS - 1)
    first, last = int(rate_hz / high_hz), int(rate_hz / low_hz)
    scaled = correlation[:, : last + 1] / np.maximum(correlation[:, :1], _TINY)
    lags = np.arange(last + 1, dtype=np.int16)
    low = scaled < _PAST_LAG_0
    rows = np.arange(len(magnitude))
    dip = low.argmax(axis=1).astype(np.int16)  # past the peak at lag 0
    dip[~low[rows, dip]] = last + 1
    wanted = np.where(lags[first:] >= dip[:, None], scaled[:, first:], np.float32(-1.0))
    best = wanted.max(axis=1, keepdims=True)
    near = (wanted >= _NEARLY * best).argmax(axis=1).astype(np.int16)
    tops = np.ones(wanted.shape, bool)
    np.less_equal(wanted[:, 1:], wanted[:, :-1], out=tops[:, :-1])
    lag = (tops & (lags[: wanted.shape[1]] >= near[:, None])).argmax(axis=1)  # its own top
    inner = np.clip(lag, 1, wanted.shape[1] - 2)
    left, mid, right = (wanted[rows, inner + d] for d in (-1, 0, 1))
    bend = left - 2 * mid + right
    shift = np.where(np.abs(bend) > 1e-12, 0.5 * (left - right) / np.where(bend == 0, 1, bend), 0.0)
    pitch = rate_hz / (first + inner + np.clip(shift, -0.5, 0.5))
    return pitch.astype(np.float32), wanted[rows, lag]


def peak_hz(magnitude: FloatArray) -> FloatArray:
    """Strongest frequency, between bins by a parabola through the logarithm.

    Parameters
    ----------
    magnitude : np.ndarray, shape (n_frames, N_BINS)
        Magnitude spectrum.

    Returns
    -------
    np.ndarray, shape (n_frames,)
        Frequency in hertz, within 0.02 bins for a steady tone.

    References
    ----------
    .. [1] J. O. Smith, "Spectral audio signal processing", W3K Publishing, 2011, chapter on peaks.
    """
    top = magnitude[:, 1:-1].argmax(axis=1)[:, None] + 1
    around = np.take_along_axis(magnitude, top + np.arange(-1, 2), axis=1)
    left, mid, right = np.log(np.square(around) + _TINY).T
    bend = left - 2 * mid + right
    shift = np.where(bend < -1e-9, 0.5 * (left - right) / np.where(bend == 0, 1, bend), 0.0)
    found: FloatArray = ((top[:, 0] + shift) * BIN_HZ).astype(np.float32)
    return found
