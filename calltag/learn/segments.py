"""Call odds over time to calls: where one begins and ends, and how sure that is.

Conventions: steps of 20 ms, as `calltag.learn.hearing` gives them. The odds that "a call sounds in
this step" are the starter model's; the probability of an event is calibrated here, on more than its
own odds: what sounds around it and which noise is there.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from calltag.learn.hearing import STEPS_PER_S, Heard
from calltag.records import NOISE_KINDS, FloatArray

SOUNDING_ODDS = 0.0
"""A step belongs to an event above these log-odds. Lower ones find a few calls more and begin each
too early: the middle onset error was 24 ms at 0 and 40 ms at -1, with the same F1."""

LONGEST_GAP_S = 0.3
"""Shorter silences inside a call belong to it: a call in pieces is one call to an editor."""

SHORTEST_S = 0.04

EVIDENCE = (
    "mean_odds",
    "top_odds",
    "low_odds",
    "spread",
    "log_steps",
    "odds_before",
    "odds_after",
    "calls_around",
    "sure_around",
    "unsure_around",
    *(f"{kind}_in_it" for kind in NOISE_KINDS),
    *(f"{kind}_around" for kind in NOISE_KINDS),
)
"""What the probability of an event is judged by; see `evidence`."""

_BESIDE = round(0.3 * STEPS_PER_S)
_NEAR = 2 * STEPS_PER_S
_AROUND = 5 * STEPS_PER_S


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
    for first, last in list(pairwise(edges.tolist()))[::2]:
        if merged and first - merged[-1][1] <= gap:
            merged[-1] = (merged[-1][0], last)
        else:
            merged.append((first, last))
    return [(first, last) for first, last in merged if last - first >= shortest]


def evidence(heard: Heard, first: int, last: int) -> FloatArray:
    """Gather what speaks for and against an event.

    Parameters
    ----------
    heard : Heard
        What was heard in and around it.
    first, last : int
        Its first step and the step after its last.

    Returns
    -------
    np.ndarray, shape (len(EVIDENCE),)
        Mean, highest, lower quarter and spread of its call odds; its length; the odds just before
        and after it; how much of the five seconds on each side is call, surely call, and neither
        call nor not; the odds of each noise kind in it and in the two seconds around it.
    """
    odds = heard.call[first:last]
    before = heard.call[max(0, first - _BESIDE) : first]
    after = heard.call[last : last + _BESIDE]
    around = np.concatenate(
        [
            heard.call[max(0, first - _AROUND) : max(0, first - _BESIDE)],
            heard.call[last + _BESIDE : last + _AROUND],
            [-9.0],
        ]
    )
    near = heard.kinds[max(0, first - _NEAR) : last + _NEAR]
    return np.concatenate(
        [
            [
                odds.mean(),
                odds.max(),
                np.percentile(odds, 25),
                odds.std(),
                np.log(last - first),
                before.mean() if len(before) else -5.0,
                after.mean() if len(after) else -5.0,
                (around > 0).mean(),
                (around > 3).mean(),
                (np.abs(around + 0.5) < 2.5).mean(),
            ],
            np.clip(heard.kinds[first:last].mean(axis=0), -6, 6),
            np.clip(near.mean(axis=0), -6, 6),
        ]
    )


def call_probability(
    heard: Heard, first: int, last: int, calibration: Mapping[str, float]
) -> float:
    """Probability that an event is a call.

    Parameters
    ----------
    heard : Heard
        What was heard in and around it.
    first, last : int
        Its first step and the step after its last.
    calibration : mapping of str to float
        ``offset`` and a weight for each name in `EVIDENCE`, from the model's card.

    Returns
    -------
    float
        Between 0 and 1.
    """
    weights = np.array([calibration[name] for name in EVIDENCE])
    odds = calibration["offset"] + float(weights @ evidence(heard, first, last))
    return float(1 / (1 + np.exp(-np.clip(odds, -30, 30))))
