"""Rumble and knocks: what the lowest bands say of wind, and of a hand on the tripod.

Wind is turbulence at the microphone: what is lowest is loudest, falls steadily above, and leaps
about from tenth to tenth of a second, while what is high does not. A knock travels through the
tripod: within a few hundredths of a second the low bands leap up, and within a few tenths they are
back. Neither is proof alone (a close voice leaps as well, a slammed door knocks), so what is found
here counts as evidence beside the starter model's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.arrays import DoubleArray, FloatArray
from calltag.sound.spectrum import FRAMES_PER_S, N_MELS, TENTHS_PER_S, to_db

N_GROUPS = 4
"""Groups of mel bands: 50-220, 220-440, 500-830 Hz, 1-5 kHz."""

_GROUPS = ((0, 2), (3, 6), (8, 13), (18, 45))
_TENTH = FRAMES_PER_S // TENTHS_PER_S
_TENTHS_AT_ONCE = 6000
_CHANGE_S = 3
_FLOOR_S = 16
_FLOOR_SHARE = 10  # per cent

_LEAP_DB, _FALL_DB = 12.0, 8.0
_PEAK, _BEFORE, _AFTER = 6, (28, 4), (22, 34)  # frames: a knock's peak, and what it is held against
_APART = 8


class Knock(NamedTuple):
    """A leap of the lowest bands, and how it looks.

    Attributes
    ----------
    frame : int
        The frame of its peak.
    fall_db : float
        By how much it has fallen a quarter of a second later.
    over_next_db, over_high_db : float
        How far the lowest bands stand above the next, and above those of 1 to 5 kHz.
    """

    frame: int
    fall_db: float
    over_next_db: float
    over_high_db: float


class Rumble(NamedTuple):
    """The lowest bands, tenth by tenth of a second; each an array of shape (n,), in dB.

    Attributes
    ----------
    change_db, high_change_db : np.ndarray
        By how much their level, and that of 1 to 5 kHz, changes from one tenth to the next: the
        mean of three seconds. Of steady noise it is little more than 1.
    over_next_db, over_high_db : np.ndarray
        How far they stand above the next bands, and above those of 1 to 5 kHz, over a second.
    """

    change_db: DoubleArray
    high_change_db: DoubleArray
    over_next_db: DoubleArray
    over_high_db: DoubleArray


def group_levels_db(mel: FloatArray) -> FloatArray:
    """Levels of the groups of bands that wind and knocks are told by.

    Parameters
    ----------
    mel : np.ndarray, shape (n_frames, N_MELS), float32
        Mel power.

    Returns
    -------
    np.ndarray, shape (n_frames, N_GROUPS), float32
        Mean level of each group.
    """
    return to_db(mel @ _MEANS)


def _means() -> FloatArray:
    means = np.zeros((N_MELS, N_GROUPS), np.float32)
    for i, (first, last) in enumerate(_GROUPS):
        means[first:last, i] = 1 / (last - first)
    return means


_MEANS = _means()


def find_knocks(levels_db: npt.NDArray[np.floating]) -> list[Knock]:
    """Find leaps of the lowest bands that are over at once.

    Parameters
    ----------
    levels_db : np.ndarray, shape (n_frames, N_GROUPS)
        Levels by `group_levels_db`.

    Returns
    -------
    list of Knock
        In order of time.
    """
    low = levels_db[:, 0].astype(np.float32)
    n = len(low)
    if n < _BEFORE[0]:
        return []
    peak = scipy.ndimage.maximum_filter1d(low, _PEAK, origin=-(_PEAK // 2))
    padded = np.concatenate([low, np.full(_AFTER[1], low[-5:].mean(), np.float32)])
    sums = np.cumsum(np.concatenate([[0.0], padded]))
    width = _AFTER[1] - _AFTER[0]
    after = (sums[_AFTER[1] : _AFTER[1] + n] - sums[_AFTER[0] : _AFTER[0] + n]) / width
    at = np.flatnonzero((low >= peak - 1.0) & (peak - after > _FALL_DB))
    around = np.maximum(at[:, None] - np.arange(_BEFORE[1], _BEFORE[0]), 0)
    # the upper part of what came before: a single quiet frame in a rattle makes no knock
    before = np.percentile(low[around], 80, axis=1)
    found: list[Knock] = []
    for frame in at[peak[at] - before > _LEAP_DB].tolist():
        if not found or frame - found[-1].frame >= _APART:
            fall_db = float(peak[frame] - after[frame])
            over = levels_db[frame, 0] - levels_db[frame]
            found.append(Knock(frame, fall_db, float(over[1]), float(over[3])))
    return found


def tenth_levels_db(levels_db: npt.NDArray[np.floating]) -> DoubleArray:
    """Mean power of each whole tenth of a second, in decibels.

    Parameters
    ----------
    levels_db : np.ndarray, shape (n_frames, N_GROUPS)
        Levels by `group_levels_db`.

    Returns
    -------
    np.ndarray, shape (n_frames // 10, N_GROUPS)
        Levels of the tenths.
    """
    tenths = np.empty((len(levels_db) // _TENTH, levels_db.shape[1]))
    # some minutes at a time: hours would take much memory
    for first in range(0, len(tenths), _TENTHS_AT_ONCE):
        part = tenths[first : first + _TENTHS_AT_ONCE]
        there = levels_db[first * _TENTH : (first + len(part)) * _TENTH].astype(np.float64)
        part[:] = (10 ** (there / 10)).reshape(len(part), _TENTH, -1).mean(axis=1)
    return 10 * np.log10(tenths)


def rumble(tenths_db: DoubleArray) -> Rumble:
    """Measure how the lowest bands sound, as wind shows in them.

    Parameters
    ----------
    tenths_db : np.ndarray, shape (n, N_GROUPS)
        Levels by `tenth_levels_db`.

    Returns
    -------
    Rumble
        Of each tenth of a second.
    """
    if not len(tenths_db):
        return Rumble(*np.zeros((4, 0)))
    low, next_, _, high = _over(tenths_db, TENTHS_PER_S).T
    leaps = np.abs(np.diff(tenths_db, axis=0, prepend=tenths_db[:1]))
    change, _, _, high_change = _over(leaps, _CHANGE_S * TENTHS_PER_S).T
    return Rumble(change, high_change, low - next_, low - high)


def _over(rows: DoubleArray, length: int) -> DoubleArray:
    """Running mean of so many rows."""
    mean: DoubleArray = scipy.ndimage.uniform_filter1d(rows, length, axis=0, mode="nearest")
    return mean


def gustiness(tenths_db: DoubleArray) -> DoubleArray:
    """How much each tenth of a second looks like a gust on the microphone.

    Parameters
    ----------
    tenths_db : np.ndarray, shape (n, N_GROUPS)
        Levels by `tenth_levels_db`.

    Returns
    -------
    np.ndarray, shape (n,)
        From 0 to 1, and for the strongest bursts to 1.5; evened out over 0.7 s.
    """
    if not len(tenths_db):
        return np.zeros(0)
    low, next_, middle, high = tenths_db.T
    floor = scipy.ndimage.percentile_filter(
        low, _FLOOR_SHARE, size=TENTHS_PER_S * _FLOOR_S, mode="nearest"
    )
    drop = low - next_
    gust = (
        _ramp(low - floor, 5, 10)  # a burst, not a steady sound
        * _ramp(drop, 2, 5)  # falls from the lowest band on,
        * _ramp(-drop, -26, -22)  # but not as fast as beside a line
        * _ramp(next_ - middle, 1, 4)
        * _ramp(low - high, 8, 12)
        * (1 + _ramp(low - floor, 15, 25) / 2)
    )
    evened: DoubleArray = scipy.ndimage.uniform_filter1d(gust, 7, mode="nearest")
    return evened


def _ramp(value: npt.NDArray[np.floating], none: float, full: float) -> npt.NDArray[np.floating]:
    return np.clip((value - none) / (full - none), 0, 1)
