"""Where sounds lie so that like ones are near: directions for the angle between two measurements.

Each measurement of `calltag.sound.features` is scaled by its mean and spread over invented calls in
noise (`calltag.library.invented`), so that a pair of sounds has the same likeness in every library,
however small. Half of the likeness is what is measured, half what the starter model makes of it;
the level has no part in it. Of all directions, those are kept in which invented calls differ most.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from calltag.errors import ModelError
from calltag.sound.features import FEATURE_NAMES, FEATURE_VERSION, N_EMBEDDING

FILE = Path(__file__).with_name("likeness.npz")
CUT = 4.0
"""Deviations that a single measurement counts for at most."""

_N_MEASURED = len(FEATURE_NAMES) - 2 * N_EMBEDDING
_LEVEL = FEATURE_NAMES.index("mfcc_mean_0")

Vectors = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Likeness:
    """How sounds are placed.

    Attributes
    ----------
    mean, scale : np.ndarray, shape (n_features,)
        What scales each measurement.
    directions : np.ndarray, shape (n_features, n_directions)
        Directions that are kept.
    """

    mean: npt.NDArray[Any]
    scale: npt.NDArray[Any]
    directions: npt.NDArray[Any]

    def place(self, features: npt.NDArray[Any]) -> Vectors:
        """Place sounds.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features)
            One row of measurements for each.

        Returns
        -------
        np.ndarray, shape (n, n_directions), float32
            One vector of length one for each: the inner product of two is their likeness.
        """
        placed = whole_vectors(features, self.mean, self.scale) @ self.directions
        return _unit(placed).astype(np.float32)


def whole_vectors(
    features: npt.NDArray[Any], mean: npt.NDArray[Any], scale: npt.NDArray[Any]
) -> npt.NDArray[np.float64]:
    """Scale measurements, so that each half of them has length one.

    Parameters
    ----------
    features : np.ndarray, shape (n, n_features)
        One row of measurements for each sound.
    mean, scale : np.ndarray, shape (n_features,)
        What scales each.

    Returns
    -------
    np.ndarray, shape (n, n_features)
        The vectors before directions are chosen.
    """
    scaled = np.clip(np.nan_to_num((np.asarray(features, np.float64) - mean) / scale), -CUT, CUT)
    scaled[:, _LEVEL] = 0.0
    halves = (scaled[:, :_N_MEASURED], scaled[:, _N_MEASURED:])
    return np.concatenate([_unit(half) for half in halves], axis=1)


@cache
def likeness() -> Likeness:
    """Return what calltag comes with.

    Returns
    -------
    Likeness
        How sounds are placed.

    Raises
    ------
    ModelError
        If it is missing, damaged, or made for other measurements.
    """
    try:
        with np.load(FILE, allow_pickle=False) as stored:
            version = int(stored["feature_version"])
            known = Likeness(*(stored[name] for name in ("mean", "scale", "directions")))
    except Exception as error:
        raise ModelError(
            f"{FILE.name}: what makes sounds alike cannot be read ({type(error).__name__});"
            " install calltag again"
        ) from error
    if version != FEATURE_VERSION or known.mean.shape != (len(FEATURE_NAMES),):
        raise ModelError(f"{FILE.name}: was made for other measurements; install calltag again")
    return known


def _unit(x: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    length: npt.NDArray[np.float64] = np.linalg.norm(x, axis=1, keepdims=True)
    return x / np.maximum(length, 1e-9)
