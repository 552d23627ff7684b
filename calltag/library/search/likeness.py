"""Where sounds lie so that like ones are near: the angle between two rows of measurements.

Half of the likeness compares every measurement, each scaled by its spread over invented calls; the
other half compares what tells call types apart among them, whatever the noise
(`calltag.learn.call_types.kinship`). Both scales are known beforehand, so that a pair of sounds has
the same likeness in every library, however small. The level has no part in it, nor has the starter
model: it hears the background too, and changes from version to version.

What was tried, by mean average precision with the query's own recording left out; of birds the mean
over seven types in four sets of scenes at 0 to 20 dB:

================================  ==============  =========================  =================
what is compared                  birds in noise  ESC-10, four with voices   ESC-10, ten kinds
================================  ==============  =========================  =================
half and half                     0.90            0.75                       0.60
seven tenths measurements         0.86            0.76                       0.61
three tenths measurements         0.92            0.73                       0.58
seven tenths, before it was
known how calls go (`voice`)      0.78            0.72                       0.60
================================  ==============  =========================  =================

The starter model would know more of ESC-10, with whose recordings it was made, and less elsewhere.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.call_types.kinship import prior
from calltag.sound.features import FEATURE_NAMES, FEATURE_VERSION

_OF_TYPES = 0.5

PLACES_VERSION = 100 * FEATURE_VERSION + 1
"""Version of what `place` gives: of the measurements, and of how they are placed.

Vectors of another version cannot be compared. The last two digits go up with each change to
`place`, or to what types have in common."""

_LEVEL = FEATURE_NAMES.index("mfcc_mean_0")


def place(features: npt.NDArray[Any]) -> FloatArray:
    """Place sounds where the inner product of two is their likeness.

    Parameters
    ----------
    features : np.ndarray, shape (n, n_features)
        One row of measurements for each, of version `calltag.sound.features.FEATURE_VERSION`.

    Returns
    -------
    np.ndarray, shape (n, n_directions), float32
        One vector of length one for each.

    Raises
    ------
    ModelError
        If what types have in common is missing from the installation.
    """
    known = prior()
    scaled = known.scaled(features)
    scaled[:, _LEVEL] = 0.0
    sure = np.sqrt(known.spread / (1 + known.spread))  # how far a direction tells types apart
    types = _unit(known.place(features) * sure)
    parts = (np.sqrt(1 - _OF_TYPES) * _unit(scaled), np.sqrt(_OF_TYPES) * types)
    return _unit(np.concatenate(parts, axis=1)).astype(np.float32)


def _unit(x: DoubleArray) -> DoubleArray:
    length: DoubleArray = np.linalg.norm(x, axis=1, keepdims=True)
    return x / np.maximum(length, 1e-9)
