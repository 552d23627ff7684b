"""Steps of level: where sound is all at once louder or softer, high and low alike, and stays so.

A recorder's automatic gain makes such steps, and so does a hand on its dial. What begins or ends
out of doors does not reach over all bands alike, and gusts and waves go up and down.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from calltag.arrays import DoubleArray, FloatArray

_FRAME_S = 0.1
_SIDE = 20  # frames that are looked at on each side of a step,
_GAP = 1  # and those between, in which the gain moves
_NEAR = 3  # what is next to it shows that it was no swell
_ALIKE_DB, _ALIKE = 3.5, 0.35  # the bands do the same up to this, or this part of the step
_BANDS_HZ = (100.0, 400.0, 1600.0, 6400.0)
_STEP_DB = 2.0  # in each band; a listener hears one of 1 dB where nothing else moves
_OVER_SPREAD = 4.0  # times what the level moves by on either side
_TENTH_BELOW = 1.28  # deviations: so far below its middle a normal distribution's lowest tenth ends
_FLOOR = 1e-14
_PIECE_FRAMES = 100


def gain_steps(samples: FloatArray, rate_hz: int) -> list[float]:
    """Find where the level of a channel steps in all bands at once.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float32
        One channel.
    rate_hz : int
        Sampling rate.

    Returns
    -------
    list of float
        The steps, in seconds from the first sample, to a tenth; none within 2.1 s of an end.

    Examples
    --------
    >>> sound = np.random.default_rng(0).normal(0, 0.01, 480_000).astype(np.float32)
    >>> sound[240_000:] *= 2
    >>> [round(float(at_s)) for at_s in gain_steps(sound, 48_000)]
    [5]
    """
    levels_db = _levels_db(samples, round(_FRAME_S * rate_hz), rate_hz)
    n_frames = levels_db.shape[1]
    if n_frames < 2 * (_SIDE + _GAP):
        return []
    sides = sliding_window_view(levels_db, _SIDE, axis=1)
    apart = _SIDE + 2 * _GAP
    middles_db = np.median(sides, axis=2)
    lasting_db = middles_db[:, apart:] - middles_db[:, :-apart]
    edges_db = sides[:, apart:, :_NEAR].mean(axis=2) - sides[:, :-apart, -_NEAR:].mean(axis=2)
    spread_db = np.maximum(
        *(_unevenness_db(sides)[part] for part in (slice(apart, None), slice(-apart)))
    )
    both_db = np.concatenate([lasting_db, edges_db])
    mean_db = np.abs(edges_db.mean(axis=0))
    there = (np.abs(both_db).min(axis=0) >= _STEP_DB) & (
        np.abs(np.sign(both_db).sum(axis=0)) == len(both_db)
    )
    there &= np.ptp(both_db, axis=0) <= np.maximum(_ALIKE_DB, _ALIKE * mean_db)
    there &= mean_db >= _OVER_SPREAD * spread_db
    at = []
    left = np.where(there, mean_db, 0.0)
    while left.any():
        i = int(left.argmax())
        at.append(i)
        left[max(0, i - _SIDE) : i + _SIDE + 1] = 0
    return [(i + _SIDE + _GAP) * _FRAME_S for i in sorted(at)]


def _unevenness_db(sides: DoubleArray) -> DoubleArray:
    """How much the middle band moves within each side, as a deviation; calls only stand above."""
    low_db, middle_db = np.percentile(np.median(sides, axis=0), [10, 50], axis=1)
    uneven: DoubleArray = (middle_db - low_db) / _TENTH_BELOW
    return uneven


def _levels_db(samples: FloatArray, frame: int, rate_hz: int) -> DoubleArray:
    """Levels of the bands, frame by frame, shape (n_bands, n_frames)."""
    n_frames = len(samples) // frame
    edges = np.searchsorted(np.fft.rfftfreq(frame, 1 / rate_hz), _BANDS_HZ)
    window = np.hanning(frame).astype(np.float32)
    power = np.empty((len(_BANDS_HZ) - 1, n_frames))
    for first in range(0, n_frames, _PIECE_FRAMES):
        last = min(first + _PIECE_FRAMES, n_frames)
        frames = samples[first * frame : last * frame].reshape(-1, frame) * window
        spectra = np.abs(np.fft.rfft(frames, axis=1)) ** 2 / frame**2
        for band, (low, high) in enumerate(pairwise(edges)):
            power[band, first:last] = spectra[:, low:high].sum(axis=1)
    return 10 * np.log10(power + _FLOOR)
