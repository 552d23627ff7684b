"""What calls of one type share: covariances within invented types and between them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.linalg

from calltag.arrays import FloatArray
from calltag.files import written_whole
from calltag.learn.call_types.kinship import CUT, LEAST_SPREAD, Kinship
from calltag.learn.invented_types.heard import Measured
from calltag.learn.networks.voice import Voice
from calltag.sound.features import MEASURED_VERSION, VOICE

N_DIRECTIONS = 64
"""Directions among the measurements that tell types apart. With 36 more real calls were known than
with 24, and fewer strangers taken for them; 64 did still better, a hundred did not."""

_WIDEST = 3.0
"""Variance between types in any direction, at most, over that within: invented calls are heard
whole, so that their length seems to tell more of them than it does."""

_DIAGONAL = 0.1  # weight of the variances alone in the covariance within types


def with_voices(calls: Sequence[Measured], voice: Voice) -> FloatArray:
    """Put what a network makes of calls beside what was measured of them.

    Parameters
    ----------
    calls : sequence of Measured
        The calls.
    voice : Voice
        The network.

    Returns
    -------
    np.ndarray, shape (n, N_MEASURED), float32
        One row for each.
    """
    rows = np.stack([call.row for call in calls])
    rows[:, VOICE] = voice.numbers(call.patch for call in calls)
    return rows


def learn_kinship(
    measured: FloatArray,
    codes: npt.NDArray[np.intp],
) -> Kinship:
    """Learn what tells types apart.

    Parameters
    ----------
    measured : np.ndarray, shape (n, n_measured)
        Measurements.
    codes : np.ndarray, shape (n,), int
        Type of each, from 0; every type has two at least.

    Returns
    -------
    Kinship
        `N_DIRECTIONS` at most, in which the spread within types is one, or less where that between
        types would be more than `_WIDEST`; the widest first.
    """
    measured = np.asarray(measured, np.float64)
    mean, scale = measured.mean(axis=0), measured.std(axis=0)
    scale[scale < 1e-9] = 1.0
    scaled = np.clip((measured - mean) / scale, -CUT, CUT)
    n = np.bincount(codes)
    centres = np.stack([scaled[codes == code].mean(axis=0) for code in range(len(n))])
    apart = scaled - centres[codes]
    within = apart.T @ apart / (len(codes) - len(n))
    within = (1 - _DIAGONAL) * within + _DIAGONAL * np.diag(within.diagonal())
    within += 1e-4 * np.eye(len(within))
    between = np.cov(centres.T) - within * (1 / n).mean()
    spread, vectors = scipy.linalg.eigh(between, within)
    best = np.argsort(-spread)[:N_DIRECTIONS]
    spread = np.maximum(spread[best], LEAST_SPREAD)
    narrower = np.sqrt(np.minimum(1.0, _WIDEST / spread))
    vectors = vectors[:, best] * narrower
    return Kinship(
        mean=mean,
        scale=scale,
        directions=vectors,
        centre=centres.mean(axis=0) @ vectors,
        spread=spread * narrower**2,
    )


def write(path: Path, known: Kinship) -> None:
    """Write a prior.

    Parameters
    ----------
    path : Path
        The file.
    known : Kinship
        The prior.
    """
    content: dict[str, Any] = {"measured_version": MEASURED_VERSION, **known.arrays(np.float32)}
    with written_whole(path) as partial, partial.open("wb") as file:
        np.savez(file, **content)
