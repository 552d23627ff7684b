"""Digital silence: where sound drops out, and where a channel holds nothing."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from calltag.arrays import FloatArray
from calltag.sound.runs import runs

ZERO = 1e-7
"""What is less is silence: below one step of 24 bits; resampling leaves such traces."""

DROPOUT_S = 0.010
"""Shorter silence is no dropout."""

_SOUND = 3e-4  # a peak from which on there is sound on both sides of a dropout: -70 dBFS


def dropouts(samples: FloatArray, rate_hz: int) -> list[tuple[int, int]]:
    """Find where sound drops out: digital silence with sound, or an end of it, on both sides.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float32
        One channel.
    rate_hz : int
        Sampling rate.

    Returns
    -------
    list of tuple of int and int
        First sample of each dropout, and the first after it.

    Examples
    --------
    >>> sound = np.full(48_000, 0.1, np.float32)
    >>> sound[20_000:21_000] = 0
    >>> dropouts(sound, 48_000)
    [(20000, 21000)]
    """
    least = round(DROPOUT_S * rate_hz)
    return [
        (start, end)
        for start, end in zero_runs(samples, least)
        if end - start >= least
        and (start == 0 or sounds(samples[max(0, start - least) : start]))
        and (end == len(samples) or sounds(samples[end : end + least]))
    ]


def zero_runs(row: FloatArray, least: int) -> Iterator[tuple[int, int]]:
    """Find runs of at least `least` zeros, and any run that touches an end of the row.

    Parameters
    ----------
    row : np.ndarray, shape (n_samples,), float32
        One channel.
    least : int
        Samples.

    Yields
    ------
    tuple of int and int
        First sample of each run, and the first after it, in order.
    """
    n = len(row)
    # Samples looked at first: each run of `least` zeros holds one, and the ends are among them.
    at = np.append(np.arange(0, n, max(1, least)), n - 1)[:n]
    for first, after in runs(np.abs(row[at]) < ZERO):
        left = int(at[first - 1]) + 1 if first else 0
        right = int(at[after]) if after < len(at) else n
        for start, end in runs(np.abs(row[left:right]) < ZERO):
            start, end = left + start, left + end
            if end - start >= least or start == 0 or end == n:
                yield start, end


def sounds(row: FloatArray) -> bool:
    """Tell whether there is any sound.

    Parameters
    ----------
    row : np.ndarray, shape (n_samples,), float32
        A stretch of one channel; it may be empty.

    Returns
    -------
    bool
        Whether its peak is above -70 dBFS.
    """
    return len(row) > 0 and float(np.abs(row).max()) > _SOUND
