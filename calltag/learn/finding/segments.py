"""Call odds over time to events: where one begins and ends.

Conventions: steps of 20 ms, as `calltag.learn.networks.starter_model` gives them. The odds that "a
call sounds in this step" are the starter model's; how sure an event is,
`calltag.learn.finding.second_look` says.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.arrays import FloatArray
from calltag.learn.finding.beside import power_beside
from calltag.learn.finding.turns import in_turns
from calltag.learn.networks.starter_model import FRAMES_PER_STEP, STEPS_PER_S
from calltag.sound.runs import joined, runs

SOUNDING_ODDS = 0.0
"""An event has a step above these log-odds."""

FAINTEST_ODDS = -1.5
"""No event goes on where the log-odds are lower."""

BELOW_PEAK = 3.0
"""A faint event goes on until its log-odds are this much below their highest. A clear one ends at
`SOUNDING_ODDS`: going further began it too early."""

LONGEST_GAP_S = 0.3
"""Shorter silences inside a call belong to it: a call in pieces is one call to an editor."""

LONGEST_GAP_STEPS = round(LONGEST_GAP_S * STEPS_PER_S)

HALF_HEARD_ODDS = -1.0
"""What stays below even odds, and rises above these, is an event as well, but a half-heard one."""

SHORTEST_S = 0.04
_LONGEST_LULL_S = 0.1  # where the odds of a faint event sink

_LOUD_SHARE = 0.25
_CLEAR = 3.0  # times the background, in a band that shows the event
_OF_CLEAREST = 0.1
_SILENT = 2.5  # times the background, where nothing sounds
_FADED = 0.1  # of the event's own level
_SMOOTH_STEPS = 5


def find_segments(call_odds: FloatArray, power: FloatArray) -> list[tuple[int, int]]:
    """Find events: stretches that are likely to be calls, apart where it is silent between them.

    What lies closer together is one event, unless animals answer each other there.

    Parameters
    ----------
    call_odds : np.ndarray, shape (n_steps,)
        Log-odds that a call sounds.
    power : np.ndarray, shape (n_steps, N_MELS)
        Mel power of each step, by `calltag.learn.networks.starter_model.over_steps`.

    Returns
    -------
    list of tuple of int
        First step of each event and the step after its last, in order, apart by more than
        `LONGEST_GAP_S`, or by `calltag.learn.finding.turns.QUIET_S` where bands differ.

    Examples
    --------
    >>> odds = np.full(100, -5.0)
    >>> odds[10:20] = odds[25:30] = odds[80:90] = 4.0
    >>> steady = np.ones((100, 64))
    >>> find_segments(odds, steady)
    [(10, 30), (80, 90)]

    What is faint goes on further.

    >>> odds[60:95] = -1.0
    >>> odds[80:90] = 0.5
    >>> find_segments(odds, steady)
    [(10, 30), (60, 95)]

    Silence parts what the odds hold together.

    >>> odds = np.where((np.arange(200) >= 60) & (np.arange(200) < 140), 4.0, -5.0)
    >>> sound = np.ones((200, 64))
    >>> sound[60:85, 20:30] = sound[115:140, 20:30] = 100.0
    >>> find_segments(odds, sound)
    [(60, 87), (113, 140)]
    """
    # In this order: to a loud animal, a faint one that answers it would be silence.
    return _apart(in_turns(_in_odds(call_odds), power), power)


def find_half_heard(
    call_odds: FloatArray, events: Sequence[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Find half-heard events: stretches that may be calls, apart from all that likely are.

    Few of them are calls, and which ones is told by the second look, which takes them for less
    likely the further below even odds they stay.

    Parameters
    ----------
    call_odds : np.ndarray, shape (n_steps,)
        Log-odds that a call sounds.
    events : sequence of tuple of int
        First step of each event that was found there and the step after its last.

    Returns
    -------
    list of tuple of int
        The same of each half-heard one, in order, apart from each other and from those events by
        more than `LONGEST_GAP_S`.

    Examples
    --------
    >>> odds = np.full(200, -5.0)
    >>> odds[10:20], odds[24:40], odds[80:90] = 4.0, -0.5, -0.5
    >>> find_half_heard(odds, [(10, 20)])
    [(80, 90)]
    """
    free, apart = np.ones(len(call_odds), bool), LONGEST_GAP_STEPS + 1
    for first, last in events:
        free[max(0, first - apart) : last + apart] = False
    return [
        (first, last)
        for first, last in _long_enough(
            joined(runs(call_odds > HALF_HEARD_ODDS), LONGEST_GAP_STEPS)
        )
        if free[first:last].all()
    ]


def _in_odds(call_odds: FloatArray) -> list[tuple[int, int]]:
    """Find events by the odds alone."""
    cores = _long_enough(joined(runs(call_odds > SOUNDING_ODDS), LONGEST_GAP_STEPS))
    ends = [0, *(last for _, last in cores)]
    begins = [*(first for first, _ in cores), len(call_odds)]
    segments = []
    for i, (first, last) in enumerate(cores):
        least = max(call_odds[first:last].max() - BELOW_PEAK, FAINTEST_ODDS)
        before, after = call_odds[ends[i] : first], call_odds[last : begins[i + 1]]
        if least < SOUNDING_ODDS:
            first -= _reach(before[::-1] > least)
            last += _reach(after > least)
        segments.append((first, last))
    return joined(segments, LONGEST_GAP_STEPS)


def _apart(segments: list[tuple[int, int]], power: FloatArray) -> list[tuple[int, int]]:
    """Part events where nothing stands out of the background for longer than `LONGEST_GAP_S`."""
    pieces: list[tuple[int, int]] = []
    for (first, last), behind in zip(segments, power_beside(segments, power), strict=True):
        begin = first
        if last - first > LONGEST_GAP_STEPS and behind is not None:
            for end, goes_on in _long_within(_silent(power[first:last], behind)):
                pieces.append((begin, first + end))
                begin = first + goes_on
        pieces.append((begin, last))
    return _long_enough(pieces)


def _long_enough(pieces: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Those that no event is too short for."""
    shortest = round(SHORTEST_S * STEPS_PER_S)
    return [(first, last) for first, last in pieces if last - first >= shortest]


def _long_within(so: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches too long for a gap in which something is so, that touch neither end."""
    return [
        (first, last)
        for first, last in runs(so)
        if last - first > LONGEST_GAP_STEPS and first > 0 and last < len(so)
    ]


def _silent(power: FloatArray, behind: FloatArray) -> npt.NDArray[np.bool_]:
    """Where an event does not stand out of what is behind it, in the bands that show it."""
    n_loud = int(_LOUD_SHARE * len(power))
    clear = np.sort(power, axis=0)[-n_loud:].mean(axis=0) / behind
    shows = clear > max(_CLEAR, _OF_CLEAREST * clear.max())
    if not shows.any():
        return np.zeros(len(power), bool)
    over = scipy.ndimage.uniform_filter1d(
        (power[:, shows] / behind[shows]).mean(axis=1), _SMOOTH_STEPS, mode="nearest"
    )
    silent: npt.NDArray[np.bool_] = over < min(_SILENT, _FADED * np.sort(over)[-n_loud:].mean())
    return silent


def _reach(goes_on: npt.NDArray[np.bool_]) -> int:
    """How many steps an event goes on, over short lulls."""
    at = np.concatenate([[-1], np.flatnonzero(goes_on)])
    breaks = np.flatnonzero(np.diff(at) > round(_LONGEST_LULL_S * STEPS_PER_S) + 1)
    return int(at[breaks[0]] if len(breaks) else at[-1]) + 1


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
