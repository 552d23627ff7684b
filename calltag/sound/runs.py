"""Runs: stretches of steps in which something is so, by themselves or over short gaps."""

from __future__ import annotations

from collections.abc import Iterable
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
    padded = np.zeros(len(so) + 2, bool)
    padded[1:-1] = so
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return list(pairwise(edges.tolist()))[::2]


def joined(stretches: Iterable[tuple[int, int]], gap: int) -> list[tuple[int, int]]:
    """Join stretches over the short gaps between them.

    Parameters
    ----------
    stretches : iterable of tuple of int
        First step of each and the step after its last, in order.
    gap : int
        Steps that may lie between two.

    Returns
    -------
    list of tuple of int
        In order, further apart than that.

    Examples
    --------
    >>> joined([(0, 2), (4, 5), (8, 9)], gap=2)
    [(0, 5), (8, 9)]
    """
    wider: list[tuple[int, int]] = []
    for first, last in stretches:
        if wider and first - wider[-1][1] <= gap:
            wider[-1] = (wider[-1][0], last)
        else:
            wider.append((first, last))
    return wider
