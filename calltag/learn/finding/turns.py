"""Animals that answer each other: an event is parted where one stops and another begins.

The odds hold together what follows within a third of a second, as the notes of one call do, and so
do they where another animal answers at once. What tells the two apart is the band: where it is
quiet for a moment, and what sounds before lies elsewhere than what sounds after, they are two
calls. The bands are compared with little regard to pitch, so that two notes of one voice stay one
call, and so does whatever goes on without a pause. Where calls go on for so long that nothing
beside them is free of them, their own quietest moments are the background, if all are turns.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.ndimage

from calltag.arrays import FloatArray
from calltag.learn.finding.beside import LEAST_POWER, power_beside
from calltag.learn.networks.starter_model import STEPS_PER_S
from calltag.sound.runs import runs

QUIET_S = 0.1
"""Where it is quiet for a shorter time, a call goes on."""

SHORTEST_S = 0.15
"""What is shorter than this, before or after, is no turn of its own."""

ALIKE = 0.8
"""Bands whose cosine is higher are one animal's."""

_LISTENS_S = 0.4  # to each side of where it is quiet
_QUIET = 0.1  # of the loudest moment on either side, the less loud of the two
_SOUNDS = 2.0  # times the background
_CLEAR = 60.0  # loudness, in backgrounds of one band, of what can be told to lie elsewhere
_SMOOTH_STEPS = 3
_QUIETEST = 0.1  # share of an event's steps, where there is nothing beside it
_LONGEST_S = 4.0  # of a turn, where its event is all that is heard
_PITCH_BANDS = 3.0  # standard deviation by which bands are blurred; an octave has some ten


def in_turns(segments: Sequence[tuple[int, int]], power: FloatArray) -> list[tuple[int, int]]:
    """Part events in which one animal answers another.

    Parameters
    ----------
    segments : sequence of tuple of int
        First step of each event and the step after its last, in order.
    power : np.ndarray, shape (n_steps, N_MELS)
        Mel power of each step.

    Returns
    -------
    list of tuple of int
        The same, and in place of such an event its parts, apart by `QUIET_S` at least.

    Examples
    --------
    >>> power = np.ones((100, 64))
    >>> power[20:40, 4:8] = power[48:70, 40:44] = 100.0
    >>> in_turns([(20, 70)], power)
    [(20, 41), (47, 70)]

    A voice that goes on with another note has one turn.

    >>> power[48:70] = 1.0
    >>> power[48:70, 6:10] = 100.0
    >>> in_turns([(20, 70)], power)
    [(20, 70)]
    """
    turns: list[tuple[int, int]] = []
    for (first, last), behind in zip(segments, power_beside(segments, power), strict=True):
        own = power[first:last]
        pauses = _pauses(own, _quietest(own) if behind is None else behind)
        edges = [0, *(edge for pause in pauses for edge in pause), last - first]
        parts = list(zip(edges[::2], edges[1::2], strict=True))
        longest = max(end - begin for begin, end in parts)
        if behind is None and longest > round(_LONGEST_S * STEPS_PER_S):
            parts = [(0, last - first)]  # a chorus, or one song, in which some calls stand out
        turns += [(first + begin, first + end) for begin, end in parts]
    return turns


def _quietest(power: FloatArray) -> FloatArray:
    """Mean power of the quietest moments of an event, above 0."""
    n_quiet = max(1, round(_QUIETEST * len(power)))
    quietest = np.argsort(power.sum(axis=1), kind="stable")[:n_quiet]
    return np.maximum(power[quietest].mean(axis=0), LEAST_POWER)


def _pauses(power: FloatArray, behind: FloatArray) -> list[tuple[int, int]]:
    """Where it is quiet in an event between two sounds that lie in other bands."""
    shortest, quiet = round(SHORTEST_S * STEPS_PER_S), round(QUIET_S * STEPS_PER_S)
    listens = round(_LISTENS_S * STEPS_PER_S)
    if len(power) < quiet + 2 * shortest:
        return []
    over = scipy.ndimage.uniform_filter1d(power / behind, _SMOOTH_STEPS, axis=0, mode="nearest")
    sounding = np.sqrt(np.where(over > _SOUNDS, over - 1, 0))
    loudness = np.square(sounding).sum(axis=1)
    before, after = (
        scipy.ndimage.maximum_filter1d(loudness, listens, origin=origin, mode="constant")
        for origin in ((listens - 1) // 2, -(listens // 2))
    )
    either = np.minimum(before, after)
    pauses: list[tuple[int, int]] = []
    begin = 0
    for first, last in runs((loudness < _QUIET * either) & (either > _CLEAR)):
        if (
            last - first >= quiet
            and min(first - begin, len(power) - last) >= shortest
            and not _alike(sounding[max(begin, first - listens) : first], sounding[last:][:listens])
        ):
            pauses.append((first, last))
            begin = last
    return pauses


def _alike(before: FloatArray, after: FloatArray) -> bool:
    """Whether two sounds lie in the same bands, as far as those of one animal do."""
    one, other = (
        scipy.ndimage.gaussian_filter1d(each.sum(axis=0), _PITCH_BANDS, mode="nearest")
        for each in (before, after)
    )
    return bool(one @ other > ALIKE * np.linalg.norm(one) * np.linalg.norm(other))
