"""What is measured of every second of each channel: by it one is chosen, and what is wrong is told.

Levels, wind and likeness are judged on two pieces of 43 ms out of every second, which is enough to
choose by and costs next to nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray

SILENT_POWER = 1e-9
"""A second below it is silent, at -90 dBFS: an open input of 16 bits."""

AUDIBLE_POWER = 1e-8
"""A second above it is heard."""

_HISS_SWING_DB = 0.6  # hiss of 43 ms in that band varies by 0.3 dB
_WHITE_RUMBLE_DB = -10.0  # white noise has -15; out of doors low frequencies are stronger
_LIVE_SWING_DB = 1.5
_CUT_OFF_DB = 10.0  # a microphone that is cut off takes as much and more of all sound with it
_BEFORE_SECONDS = 30  # that it is held against
_LEAST_SECONDS = 5  # before the swing of a level says anything
_PIECE = 2048
_GOLDEN = 0.618034
_LOW_GROUP = 64  # means of 64 samples hold what lies below some 300 Hz, at 48 kHz
_MID_GROUP = 4  # steps between means of four: some 1 to 8 kHz, where most animals call
_FAINTEST_POWER = 1e-15


class Seconds(NamedTuple):
    """Measured in every second of some sound.

    Attributes
    ----------
    power, low, mid : np.ndarray, shape (n_seconds, n_channels)
        Mean square: of all, of the low frequencies, and of those in which most animals call.
    mean : np.ndarray, shape (n_seconds, n_channels)
        Mean of the samples.
    like, like_low : np.ndarray, shape (n_seconds, n_channels, n_channels)
        Correlation of each two channels: of their high, and of their low frequencies.
    """

    power: DoubleArray
    low: DoubleArray
    mid: DoubleArray
    mean: DoubleArray
    like: DoubleArray
    like_low: DoubleArray


def of_all(blocks: Sequence[Seconds]) -> Seconds:
    """Put the seconds of successive blocks together.

    Parameters
    ----------
    blocks : sequence of Seconds
        One or more.

    Returns
    -------
    Seconds
        All of them.
    """
    return Seconds(*(np.concatenate(part) for part in zip(*blocks, strict=True)))


def measure_seconds(block: FloatArray, rate_hz: int) -> Seconds:
    """Measure two short pieces out of every second of a block.

    Parameters
    ----------
    block : np.ndarray, shape (n_channels, n_samples), float32
        The block; a sample at least. What is left beyond its whole seconds is looked at only where
        there is none.
    rate_hz : int
        Its sampling rate.

    Returns
    -------
    Seconds
        What was measured, second by second.
    """
    n = block.shape[1]
    n_seconds = max(1, n // rate_hz)
    half = min(n, rate_hz) // 2
    width = min(_PIECE, max(1, half))
    # Spread within the half seconds by the golden ratio, so that no beat is always missed.
    starts = half * np.arange(2 * n_seconds) + (
        (np.arange(2 * n_seconds) * _GOLDEN) % 1.0 * (half - width)
    ).astype(int)
    pieces = np.stack([block[:, start : start + width] for start in starts], axis=1)
    pieces = pieces.reshape(len(block), n_seconds, -1)
    mean = pieces.mean(axis=2)
    pieces -= mean[:, :, None]
    low = _means(pieces, _LOW_GROUP)
    return Seconds(
        _power(pieces),
        _power(low),
        _power(np.diff(_means(pieces, _MID_GROUP), axis=2)),
        mean.T.astype(np.float64),
        # Steps weigh high frequencies up, in which only a copy is like the other; microphones side
        # by side have the low ones in common, and there show which one is inverted.
        _likeness(np.diff(pieces, axis=2)),
        _likeness(low),
    )


def _power(pieces: FloatArray) -> DoubleArray:
    """Mean square of every channel, second by second."""
    power: FloatArray = np.einsum("cst,cst->sc", pieces, pieces) / pieces.shape[2]
    return power.astype(np.float64)


def _likeness(pieces: FloatArray) -> DoubleArray:
    """Correlate all pairs of channels, second by second."""
    products = np.einsum("cst,dst->scd", pieces, pieces).astype(np.float64)
    norm = np.sqrt(np.einsum("scc->sc", products))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.nan_to_num(products / (norm[:, :, None] * norm[:, None, :]))


def _means(pieces: FloatArray, group: int) -> FloatArray:
    """Means of groups of samples: a low-pass filter, and a lower rate."""
    n = pieces.shape[2] // group * group
    if n < 2 * group:
        return pieces
    groups = pieces[:, :, :n].reshape(*pieces.shape[:2], -1, group)
    means: FloatArray = groups @ np.full(group, 1 / group, np.float32)
    return means


def hissing(
    swing_db: DoubleArray, level_db: DoubleArray, rumble_db: DoubleArray, n_seconds: float
) -> npt.NDArray[np.bool_]:
    """Find channels as steady and as white as hiss, and below one with life in it.

    Parameters
    ----------
    swing_db, level_db : np.ndarray, shape (n_channels,)
        Standard deviation, and mean, of the level of their middle frequencies.
    rumble_db : np.ndarray, shape (n_channels,)
        Level of their low frequencies over that of the middle ones.
    n_seconds : float
        How much that was taken from.

    Returns
    -------
    np.ndarray, shape (n_channels,), bool
        Whether each is hiss; none where there are too few seconds to tell.
    """
    alive = swing_db > _LIVE_SWING_DB
    if n_seconds < _LEAST_SECONDS or not alive.any():
        return np.zeros(len(swing_db), bool)
    hiss = (swing_db < _HISS_SWING_DB) & (rumble_db < _WHITE_RUMBLE_DB)
    return hiss & (level_db < level_db[alive].max())


def cut_off(low: DoubleArray, mid: DoubleArray) -> int | None:
    """Find when a microphone was cut off: from there on its channel holds nothing but hiss.

    What was between the loud moments before goes with the microphone, deep and high: where a call
    or a machine ends, one of them stays as it was.

    Parameters
    ----------
    low, mid : np.ndarray, shape (n_seconds,)
        Power of its low and of its middle frequencies.

    Returns
    -------
    int or None
        The first second of hiss; None where the channel holds the place's sound to its end, or
        never did.
    """
    low_db, mid_db = decibels(low), decibels(mid)
    if len(mid) < 2 * _LEAST_SECONDS:
        return None
    above = np.flatnonzero(mid_db > np.median(mid_db[-_LEAST_SECONDS:]) + _CUT_OFF_DB / 2)
    cut = int(above[-1]) + 1 if len(above) else 0
    if not _LEAST_SECONDS <= cut <= len(mid) - _LEAST_SECONDS:
        return None
    rumble_db = float(decibels(low[cut:].mean()) - decibels(mid[cut:].mean()))
    if np.std(mid_db[cut:]) >= _HISS_SWING_DB or rumble_db >= _WHITE_RUMBLE_DB:
        return None
    before = slice(max(0, cut - _BEFORE_SECONDS), cut)
    falls_db = [np.percentile(db[before], 10) - np.median(db[cut:]) for db in (low_db, mid_db)]
    return cut if min(falls_db) > _CUT_OFF_DB else None


def decibels(power: DoubleArray) -> DoubleArray:
    """Express power in decibels, no lower than -150.

    Parameters
    ----------
    power : np.ndarray
        Mean squares.

    Returns
    -------
    np.ndarray of the same shape
        Decibels.
    """
    return 10 * np.log10(np.maximum(power, _FAINTEST_POWER))
