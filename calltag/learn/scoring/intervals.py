"""How far a figure may lie from the truth, by chance alone: 95 % intervals."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

RESAMPLES = 1000
"""Bootstrap samples that an interval is taken from."""

_Z = 1.959963984540054  # the normal distribution's 97.5 % point


@dataclass(frozen=True, slots=True)
class Interval:
    """A 95 % interval.

    Attributes
    ----------
    low, high : float
        Its ends; ``nan`` where there is too little to tell.
    """

    low: float
    high: float


def wilson(right: int, n: int) -> Interval:
    """Interval of a share, by Wilson's score method.

    Parameters
    ----------
    right : int
        How many of them came true.
    n : int
        How many there were.

    Returns
    -------
    Interval
        Never outside 0 to 1; ``nan`` for none.

    References
    ----------
    .. [1] E. B. Wilson, "Probable inference, the law of succession, and statistical inference",
       Journal of the American Statistical Association 22(158), 1927, pp. 209-212.

    Examples
    --------
    >>> eight_of_ten = wilson(8, 10)
    >>> round(eight_of_ten.low, 4), round(eight_of_ten.high, 4)
    (0.4902, 0.9433)
    """
    if n == 0:
        return Interval(math.nan, math.nan)
    p = right / n
    centre = p + _Z**2 / (2 * n)
    reach = _Z * math.sqrt(p * (1 - p) / n + _Z**2 / (4 * n**2))
    scale = 1 + _Z**2 / n
    return Interval(max(0.0, (centre - reach) / scale), min(1.0, (centre + reach) / scale))


def bootstrap(table: npt.NDArray[Any], figure: Callable[[npt.NDArray[Any]], float]) -> Interval:
    """Interval of a figure when takes are drawn again, with replacement; the same every time.

    Parameters
    ----------
    table : np.ndarray, shape (n_takes, ...)
        Counts of each take, or of each group.
    figure : callable
        Makes the figure of the sum of some of them.

    Returns
    -------
    Interval
        Between the 2.5 % and 97.5 % points; ``nan`` for fewer than two takes.

    References
    ----------
    .. [1] B. Efron, R. J. Tibshirani, "An Introduction to the Bootstrap", Chapman & Hall, 1993,
       chapter 13.
    """
    if len(table) < 2:
        return Interval(math.nan, math.nan)
    draws = np.random.default_rng(0).integers(len(table), size=(RESAMPLES, len(table)))
    values = np.array([figure(table[draw].sum(axis=0)) for draw in draws])
    values = values[~np.isnan(values)]
    if not len(values):
        return Interval(math.nan, math.nan)
    low, high = np.percentile(values, [2.5, 97.5])
    return Interval(float(low), float(high))
