"""How numbers are stored: measurements as bytes, and numbers that may be unknown.

The log, the catalogue and the story in a kept call's file store them alike.
"""

from __future__ import annotations

import math

import numpy as np

from calltag.arrays import FloatArray

_STORED = np.dtype("<f4")


def pack_features(features: FloatArray) -> bytes:
    """Turn measurements into bytes.

    Parameters
    ----------
    features : np.ndarray, shape (n_features,)
        Measurements.

    Returns
    -------
    bytes
        Little-endian float32.

    Examples
    --------
    >>> pack_features(np.array([1.0])).hex()
    '0000803f'
    """
    return np.asarray(features).astype(_STORED).tobytes()


def unpack_features(packed: bytes) -> FloatArray:
    """Turn bytes back into measurements.

    Parameters
    ----------
    packed : bytes
        What `pack_features` made.

    Returns
    -------
    np.ndarray, shape (n_features,), float32
        Measurements.

    Raises
    ------
    ValueError
        If the bytes are no whole number of measurements.
    """
    return np.frombuffer(packed, _STORED).astype(np.float32)


def known_or_nan(value: float | None) -> float:
    """Return a number as it was before it was stored.

    SQLite stores a NaN as NULL, and a story leaves out what is not finite.

    Parameters
    ----------
    value : float or None
        What was stored.

    Returns
    -------
    float
        NaN for None.
    """
    return math.nan if value is None else value
