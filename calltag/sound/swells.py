"""Swells: low sound that rises and sinks slowly, as of an aircraft that passes far away.

A jet's noise has neither lines nor a throb, and what distance leaves of it is low: to the ear of a
model that hears a second or two it is air. What tells it is its course. It rises far above the
quietest of the take, more so below than above, for seconds on end; it is smooth, which gusts, surf
and thunder are not, and it takes its time, which knocks and calls do not. Leaves and rain rise
above as much as below. A forest that roars far away does as an aircraft does: so a swell alone is
a doubt, and no more.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.arrays import DoubleArray
from calltag.sound.runs import joined, runs
from calltag.sound.spectrum import TENTHS_PER_S, mel_centres_hz

LOW_HZ, HIGH_HZ = (100.0, 800.0), (2500.0, 8000.0)
OVER_DB = 5.0
"""A swell stands so far above the take's quietest tenth."""

LOWER_DB = 1.0
"""It stands by so much less above it in the high bands."""

ROUGH_DB = 1.0
"""Most that its level strays from its median of a second: noise of 200 Hz strays by as much."""

MOST_DB = 8.0
"""Most that it rises or sinks within 3 s."""

SHORTEST_S = 6.0
_QUIETEST = 10  # per cent
_STEADY, _SHORT, _AROUND = 31, 11, 41  # tenths: of medians, and over which it strays
_AT_ONCE = 6000  # tenths
_GAP = 10  # tenths that a swell may be told by nothing


def slow_swells(levels_db: npt.NDArray[np.floating]) -> npt.NDArray[np.bool_]:
    """Tell where low sound swells slowly.

    Parameters
    ----------
    levels_db : np.ndarray, shape (n, N_MELS)
        Mel levels of a take, ten a second.

    Returns
    -------
    np.ndarray, shape (n,), bool
        Whether each tenth is part of a swell of `SHORTEST_S` or more.
    """
    if not len(levels_db):
        return np.zeros(0, bool)
    low, high = (_level_db(levels_db, band_hz) for band_hz in (LOW_HZ, HIGH_HZ))
    low_over, high_over = _over_quietest(low), _over_quietest(high)
    strays = np.square(low - _median(low, _SHORT))
    rough_db2 = scipy.ndimage.uniform_filter1d(strays, _AROUND, mode="nearest")
    moves = scipy.ndimage.maximum_filter1d(low_over, _STEADY) - scipy.ndimage.minimum_filter1d(
        low_over, _STEADY
    )
    swells = (
        (low_over >= OVER_DB)
        & (high_over <= low_over - LOWER_DB)
        & (rough_db2 <= ROUGH_DB**2)
        & (moves <= MOST_DB)
    )
    lasting = np.zeros(len(swells), bool)
    for first, last in joined(runs(swells), _GAP):
        lasting[first:last] = last - first >= SHORTEST_S * TENTHS_PER_S
    return lasting


def _level_db(levels_db: npt.NDArray[np.floating], band_hz: tuple[float, float]) -> DoubleArray:
    centres_hz = mel_centres_hz()
    bands = (centres_hz >= band_hz[0]) & (centres_hz <= band_hz[1])
    means = [
        (10 ** (levels_db[at : at + _AT_ONCE, bands].astype(np.float64) / 10)).mean(axis=1)
        for at in range(0, len(levels_db), _AT_ONCE)  # hours would take much
    ]
    return np.asarray(10 * np.log10(np.concatenate(means)))


def _over_quietest(level_db: DoubleArray) -> DoubleArray:
    steady = _median(level_db, _STEADY)
    return steady - float(np.percentile(steady, _QUIETEST))


def _median(level_db: DoubleArray, size: int) -> DoubleArray:
    evened: DoubleArray = scipy.ndimage.median_filter(level_db, size, mode="nearest")
    return evened
