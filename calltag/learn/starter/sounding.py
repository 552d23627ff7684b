"""Where a call sounds, told by its level: what holds a call here holds little else."""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.learn.finding.segments import LONGEST_GAP_S
from calltag.sound.spectrum import HOP, RATE_HZ

DROP_DB = 25.0
"""A call sounds where its level is within this of its highest."""


def _level(samples: FloatArray) -> FloatArray:
    """RMS level of every 10 ms, shape (n // HOP,)."""
    n = len(samples) // HOP
    return np.sqrt((samples[: n * HOP].reshape(n, HOP) ** 2).mean(axis=1) + 1e-14)


def active_frames(samples: FloatArray) -> npt.NDArray[np.bool_]:
    """Where a call sounds, per 10 ms: within `DROP_DB` of its highest level, short gaps closed.

    Parameters
    ----------
    samples : np.ndarray, shape (n,), float32
        A call at `RATE_HZ`.

    Returns
    -------
    np.ndarray, shape (n // HOP,), bool
        True where it sounds.
    """
    level = _level(samples)
    if not len(level):
        return np.zeros(0, bool)
    active = level > level.max() * 10 ** (-DROP_DB / 20)
    on = np.flatnonzero(active)
    for left, right in itertools.pairwise(on):
        if right - left <= LONGEST_GAP_S * RATE_HZ / HOP:
            active[left:right] = True
    return active
