"""Fades from silence and back to it, so that sound that was cut out does not click."""

from __future__ import annotations

import numpy as np

from calltag.arrays import FloatArray


def fade_ends(samples: FloatArray, fade_in: int, fade_out: int) -> None:
    """Fade both ends of sound in place: half a period of a raised cosine, which begins at 0.

    Parameters
    ----------
    samples : np.ndarray, shape (..., n_samples), float32
        The sound, of one channel or more.
    fade_in, fade_out : int
        How many samples to fade at the beginning and at the end; of both at most `n_samples`.

    Examples
    --------
    >>> samples = np.ones(8, np.float32)
    >>> fade_ends(samples, 4, 2)
    >>> [round(float(sample), 2) for sample in samples]
    [0.0, 0.15, 0.5, 0.85, 1.0, 1.0, 0.5, 0.0]
    """
    samples[..., :fade_in] *= _rise(fade_in)
    samples[..., samples.shape[-1] - fade_out :] *= _rise(fade_out)[::-1]


def _rise(n: int) -> FloatArray:
    return (np.sin(np.linspace(0, np.pi / 2, n, endpoint=False)) ** 2).astype(np.float32)
