"""Call odds over time to calls: where one begins and ends, and how sure that is.

Conventions: steps of 20 ms, as `calltag.learn.hearing` gives them; probabilities and log-odds of "a
call sounds in this step" are the starter model's, those of an event are calibrated here.
"""

from __future__ import annotations

import numpy as np

from calltag.learn.hearing import STEPS_PER_S
from calltag.records import FloatArray

SOUNDING_ODDS = -0.6
"""A step belongs to an event above these log-odds."""

SEED_ODDS = 0.0
"""An event has a step above these log-odds."""

LONGEST_GAP_S = 0.3
"""Shorter silences inside a call belong to it: a call in pieces is one call to an editor."""

SHORTEST_S = 0.04


def find_segments(call_odds: FloatArray) -> list[tuple[int, int]]:
    """Find events in the odds.

    Parameters
    ----------
    call_odds : np.ndarray, shape (n_steps,)
        Log-odds that a call sounds.

    Returns
    -------
    list of tuple of int
        First step of each event and the step after its last, in order, apart by more than
        `LONGEST_GAP_S`.

    Examples
    --------
    >>> odds = np.full(100, -5.0)
    >>> odds[10:20] = odds[25:30] = odds[80:90] = 4.0
    >>> find_segments(odds)
    [(10, 30), (80, 90)]
    """
    sounding = np.concatenate([[False], call_odds > SOUNDING_ODDS, [False]])
    edges = np.flatnonzero(sounding[1:] != sounding[:-1])
    gap, shortest = round(LONGEST_GAP_S * STEPS_PER_S), round(SHORTEST_S * STEPS_PER_S)
    merged: list[tuple[int, int]] = []
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if call_odds[first:last].max() <= SEED_ODDS:
            continue
        if merged and first - merged[-1][1] <= gap:
            merged[-1] = (merged[-1][0], last)
        else:
            merged.append((first, last))
    return [(first, last) for first, last in merged if last - first >= shortest]


def call_probability(call_odds: FloatArray, calibration: tuple[float, float, float]) -> float:
    """Probability that an event is a call.

    Parameters
    ----------
    call_odds : np.ndarray, shape (n_steps,)
        Log-odds over the event.
    calibration : tuple of three float
        Offset, and weights of the mean and of the highest log-odds, fitted on scenes that the
        model was not trained on; part of the model's card.

    Returns
    -------
    float
        Between 0 and 1.
    """
    offset, of_mean, of_top = calibration
    odds = offset + of_mean * float(call_odds.mean()) + of_top * float(call_odds.max())
    return float(1 / (1 + np.exp(-odds)))
