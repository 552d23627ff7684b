"""The noise floor: the level that each band falls back to between sounds.

A floor that follows slow change is what calls are measured against. It is the lower part of the
level distribution within some seconds around each moment, band by band, so that neither a call nor
a gust of a second lifts it, while an engine that runs for longer does.
"""

from __future__ import annotations

import numpy as np

from calltag.arrays import FloatArray
from calltag.sound.running import running_percentile
from calltag.sound.spectrum import FRAMES_PER_S

STEP_FRAMES = 20
"""Levels are averaged over this many frames (0.2 s) before the floor is taken."""

SPAN_S = 8.0
"""The floor at a moment is taken from this many seconds around it."""

SHARE = 25
"""Percentile of the averaged levels that counts as the floor."""


def noise_floor_db(level_db: FloatArray) -> FloatArray:
    """Noise floor per band, following slow change.

    Parameters
    ----------
    level_db : np.ndarray, shape (n_frames, n_bands), float32
        Level per frame and band, in dB.

    Returns
    -------
    np.ndarray, shape (n_frames, n_bands), float32
        Floor per frame and band, in dB.

    Examples
    --------
    A steady level with a call of one second on it has the steady level as its floor.

    >>> level = np.full((2000, 1), -60.0, np.float32)
    >>> level[900:1000] = -20.0
    >>> sorted(set(noise_floor_db(level).ravel().tolist()))
    [-60.0]
    """
    n_frames, n_bands = level_db.shape
    if n_frames < STEP_FRAMES:
        return np.repeat(level_db.min(axis=0, keepdims=True), n_frames, axis=0)
    n_steps = n_frames // STEP_FRAMES
    steps = level_db[: n_steps * STEP_FRAMES].reshape(n_steps, STEP_FRAMES, n_bands).mean(axis=1)
    half = int(SPAN_S / 2 * FRAMES_PER_S / STEP_FRAMES)
    floor = running_percentile(steps.T, SHARE, half, ends="edge").T
    # Straight from the middle of each step to that of the next, and level at both ends.
    found = np.empty_like(level_db)
    first, last = STEP_FRAMES // 2, (n_steps - 1) * STEP_FRAMES + STEP_FRAMES // 2
    found[:first], found[last:] = floor[0], floor[-1]
    between = found[first:last].reshape(n_steps - 1, STEP_FRAMES, n_bands)
    share = (np.arange(STEP_FRAMES, dtype=np.float32) + 0.5) / STEP_FRAMES
    np.multiply(np.diff(floor, axis=0)[:, None], share[:, None], out=between)
    between += floor[:-1, None]
    return found
