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
    centres = (np.arange(n_steps) + 0.5) * STEP_FRAMES - 0.5
    left = np.clip(np.searchsorted(centres, np.arange(n_frames)) - 1, 0, max(0, n_steps - 2))
    right = np.minimum(left + 1, n_steps - 1)
    share = np.clip((np.arange(n_frames) - centres[left]) / STEP_FRAMES, 0.0, 1.0)
    weight = share.astype(np.float32)[:, None]
    found = floor[left]
    found += (floor[right] - found) * weight
    return found
