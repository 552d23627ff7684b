"""Where sounds lie so that like ones are near: the angle between two rows of measurements.

Half of the likeness compares every measurement, each scaled by its spread over invented calls; the
other half compares what tells call types apart among them, whatever the noise
(`calltag.learn.kinship`). Both scales are known beforehand, so that a pair of sounds has the same
likeness in every library, however small. The level has no part in it, nor has the starter model: it
hears the background too, and changes from version to version.

What was tried, by mean average precision with the query's own recording left out:

================================  ========  ============  ============  =========
what is compared                  invented  the demo's    ESC-10, four  ESC-10,
                                  animals   kept calls    with voices   ten kinds
================================  ========  ============  ============  =========
both of these                          0.89          1.00          0.71       0.56
all measurements                      0.84          0.98          0.72       0.57
what tells types apart                0.89          1.00          0.62       0.45
all measurements, and the model       0.56          0.89          0.75       0.68
================================  ========  ============  ============  =========

The starter model was made with the recordings of ESC-10, which flatters it there.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from calltag.learn.kinship import CUT, prior
from calltag.sound.features import FEATURE_NAMES, N_MEASURED

_LEVEL = FEATURE_NAMES.index("mfcc_mean_0")


def place(features: npt.NDArray[Any]) -> npt.NDArray[np.float32]:
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
    measured = np.asarray(features, np.float64)[:, :N_MEASURED]
    scaled = np.clip(np.nan_to_num((measured - known.mean) / known.scale), -CUT, CUT)
    scaled[:, _LEVEL] = 0.0
    halves = (_unit(scaled), _unit(known.place(features)))
    return _unit(np.concatenate(halves, axis=1)).astype(np.float32)


def _unit(x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    length: npt.NDArray[np.float64] = np.linalg.norm(x, axis=1, keepdims=True)
    return x / np.maximum(length, 1e-9)
