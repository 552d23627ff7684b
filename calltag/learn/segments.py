"""Call odds over time to events: where one begins and ends.

Conventions: steps of 20 ms, as `calltag.learn.hearing` gives them. The odds that "a call sounds in
this step" are the starter model's; how sure an event is, `calltag.learn.second_look` says.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from calltag.learn.hearing import FRAMES_PER_STEP, STEPS_PER_S
from calltag.records import FloatArray

SOUNDING_ODDS = 0.0
"""A step belongs to an event above these log-odds. Lower ones find a few calls more and begin each
too early: the middle onset error was 24 ms at 0 and 40 ms at -1, with the same F1."""

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
    for first, last in list(pairwise(edges.tolist()))[::2]:
        if merged and first - merged[-1][1] <= gap:
            merged[-1] = (merged[-1][0], last)
        else:
            merged.append((first, last))
    return [(first, last) for first, last in merged if last - first >= shortest]


def busy_frames(segments: Sequence[tuple[int, int]], n_frames: int) -> npt.NDArray[np.bool_]:
    """Tell in which frames something was found.

    Parameters
    ----------
    segments : sequence of tuple of int
        First step of each event and the step after its last.
    n_frames : int
        How many frames there are.

    Returns
    -------
    np.ndarray, shape (n_frames,), bool
        Whether each is part of an event.
    """
    busy = np.zeros(n_frames, bool)
    for first, last in segments:
        busy[first * FRAMES_PER_STEP : last * FRAMES_PER_STEP] = True
    return busy
