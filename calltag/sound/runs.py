"""Runs: stretches of steps in which something is so."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt


def runs(so: npt.NDArray[Any]) -> list[tuple[int, int]]:
    """Find the stretches in which something is so.

    Parameters
    ----------
    so : np.ndarray, shape (n,), bool
        Whether it is, step by step.

    Returns
    -------
    list of tuple of int
        First step of each stretch and the step after its last, in order.

    Examples
    --------
    >>> runs(np.array([True, True, False, True]))
    [(0, 2), (3, 4)]
    """
    edges = np.flatnonzero(np.diff(so.astype(bool), prepend=False, append=False))
    return list(pairwise(edges.tolist()))[::2]
