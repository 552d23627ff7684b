"""Crossfades of equal power, and loops made with them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calltag.arrays import FloatArray


def fades(n: int) -> tuple[FloatArray, FloatArray]:
    """Gains of a crossfade of equal power.

    Both are the square root of a Hann slope, so that their squares sum to one: two backgrounds that
    have nothing in common keep their power at every moment of the fade.

    Parameters
    ----------
    n : int
        Length in samples.

    Returns
    -------
    fade_in, fade_out : np.ndarray, shape (n,), float32
        Gains.

    Examples
    --------
    >>> rising, falling = fades(480)
    >>> bool(np.allclose(rising**2 + falling**2, 1))
    True
    """
    phase = (np.arange(n) + 0.5) / n * np.pi / 2
    return np.sin(phase).astype(np.float32), np.cos(phase).astype(np.float32)


def join(sounds: Sequence[FloatArray], n_samples: int, fade: int) -> FloatArray:
    """Join stretches by crossfades of equal power to a loop without a seam.

    Parameters
    ----------
    sounds : sequence of np.ndarray, shape (n_channels, n), float32
        The stretches, each longer than two fades; used again from the first where they are shorter
        in all than what is wanted.
    n_samples : int
        Length of the loop.
    fade : int
        Length of a crossfade in samples.

    Returns
    -------
    np.ndarray, shape (n_channels, n_samples), float32
        The loop: played again from its end, it goes on as within.
    """
    rising, falling = fades(fade)
    out = np.zeros((len(sounds[0]), n_samples + fade), np.float32)
    # a few samples short, as rounding leaves it, is enough: the loop's own fade is at nothing there
    enough = n_samples + fade - fade // 200
    at, turn = 0, 0
    while at < enough:
        sound = sounds[turn % len(sounds)].copy()
        if turn:
            sound[:, :fade] *= rising
        end = min(at + sound.shape[1], n_samples + fade)
        if end < enough:
            sound[:, -fade:] *= falling
        out[:, at:end] += sound[:, : end - at]
        at, turn = end - fade if end < enough else end, turn + 1
    # the last fade's length runs on past the end and is laid over the beginning
    out[:, :fade] *= rising
    out[:, :fade] += out[:, n_samples:] * falling
    return out[:, :n_samples]
