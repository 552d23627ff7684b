"""Calls out of a chorus: what one animal near by calls, among many that go on farther away.

At first light there is hardly a silence: one animal begins before another has ended, and the odds
that a call sounds hold all of it together, for half a minute at times. What a film needs is the
animal near the camera. So where events go on and on, they are parted where something stands out of
what is usual there, and what lies between is parted again.

Two animals near by call in a chorus of six farther away, at 18 to 30 and 2 to 12 dB over air; calls
of both are real and invented. Share of the near calls that were found as events of their own (at
least half of what find and call cover is common), before and since, on eight scenes by which the
numbers here were chosen, and on eight others:

====================== =========== ===========
far calls a minute     chosen by   others
====================== =========== ===========
none                   1.00, 1.00  0.97, 0.97
20                     0.85, 0.92  0.86, 0.86
50                     0.49, 0.81  0.36, 0.64
100                    0.30, 0.71  0.30, 0.67
200                    0.29, 0.81  0.31, 0.75
====================== =========== ===========

An uneven song is not to fall to pieces by it: only what is very long is parted, or lies where most
of the time is events, and not where what stands out is most of it. In scenes of single animals that
call every few seconds events are as before: F1, half of both in common, 0.850 (0.852) and 0.858
(0.858) in unknown noise, 0.904 (0.904) in known. Parting everywhere had 0.702.

Calls that sound at once and as loud as each other stay one event. Parted by bands where two sounds
overlap and neither lies in the other's time, six animals that call 60 times a minute had F1 0.52
(0.48), and any bolder rule took single calls apart by their harmonics.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.learn.hearing import STEPS_PER_S
from calltag.records import FloatArray
from calltag.sound.runs import runs

VERY_LONG_S = 4.0
"""Hardly any call goes on for longer."""

_AROUND_S = 8.0
_BUSY = 0.6  # share of the time around an event, and in it, that is events
_SHORTEST_S = 0.8  # of what is parted
_USUAL_S = 5.0  # on each side, whose middle levels are usual
_BANDS = 3  # that stand out most
_SMOOTH_STEPS = 3
_STANDS_DB = 9.0  # over what is usual
_NEAR_DB = 9.0  # below the nearest
_FADES_DB = 5.0  # below that, where a call begins and ends
_FEWEST_STEPS = 3
_MOST = 0.75  # share of an event: if more stands out, it is one song
_ROUNDS = 3

Segment = tuple[int, int]


def out_of_chorus(segments: Sequence[Segment], power: FloatArray, *, gap: int) -> list[Segment]:
    """Part events of many animals where one of them is nearer than the rest.

    Parameters
    ----------
    segments : sequence of tuple of int
        First step of each event and the step after its last, in order.
    power : np.ndarray, shape (n_steps, N_MELS)
        Mel power of each step, by `calltag.learn.hearing.over_steps`.
    gap : int
        Steps; shorter silences inside a call belong to it.

    Returns
    -------
    list of tuple of int
        The events in order; those of a chorus in pieces, which may follow on each other.

    Examples
    --------
    A murmur of half a minute, and three calls in it.

    >>> murmur = np.ones((1500, 64))
    >>> for at in (300, 700, 1200):
    ...     murmur[at : at + 40, 30:34] = 100.0
    >>> out_of_chorus([(0, 1500)], murmur, gap=15)[1::2]
    [(299, 341), (699, 741), (1199, 1241)]

    A call by itself is left whole.

    >>> out_of_chorus([(250, 400)], murmur, gap=15)
    [(250, 400)]
    """
    n = len(power)
    around = round(_AROUND_S * STEPS_PER_S)
    busy = np.zeros(n + 2 * around + 1)  # silence before the first step, and after the last
    for first, last in segments:
        busy[around + first + 1 : around + last + 1] = 1
    sums = np.cumsum(busy)
    parted: list[Segment] = []
    for first, last in segments:
        last = min(last, n)
        length = last - first
        share = (sums[last + 2 * around] - sums[first]) / (length + 2 * around)
        if share >= _BUSY or length >= VERY_LONG_S * STEPS_PER_S:
            parted += _parted(power, first, last, gap, _ROUNDS)
        else:
            parted.append((first, last))
    return parted


def _parted(power: FloatArray, first: int, last: int, gap: int, rounds: int) -> list[Segment]:
    """Cut what stands out of a stretch, and part what is left likewise."""
    if not rounds or last - first < _SHORTEST_S * STEPS_PER_S:
        return [(first, last)]
    near = _near(_prominence_db(power, first, last), gap)
    if not near or sum(end - begin for begin, end in near) > _MOST * (last - first):
        return [(first, last)]
    pieces: list[Segment] = []
    at = first
    for begin, end in [*((first + begin, first + end) for begin, end in near), (last, last)]:
        if begin - at >= gap:
            pieces += _parted(power, at, begin, gap, rounds - 1)
        if end > begin:
            pieces.append((begin, end))
        at = end
    return pieces


def _prominence_db(power: FloatArray, first: int, last: int) -> npt.NDArray[np.floating]:
    """How far the clearest bands of each step stand out of what is usual around the stretch."""
    reach = round(_USUAL_S * STEPS_PER_S)
    usual = np.median(power[max(0, first - reach) : last + reach : 2], axis=0)
    smooth = scipy.ndimage.uniform_filter1d(power[first:last], _SMOOTH_STEPS, axis=0)
    over_db = 10 * np.log10((smooth + 1e-12) / (usual + 1e-12))
    clearest: npt.NDArray[np.floating] = np.partition(over_db, -_BANDS, axis=1)[:, -_BANDS:]
    return clearest.mean(axis=1)


def _near(prominence_db: npt.NDArray[np.floating], gap: int) -> list[Segment]:
    """Where a near animal calls: its calls, with the short silences in them."""
    clear_db = max(_STANDS_DB, float(prominence_db.max()) - _NEAR_DB)
    near: list[Segment] = []
    for begin, end in runs(prominence_db > clear_db - _FADES_DB):
        if prominence_db[begin:end].max() <= clear_db:
            continue
        if near and begin - near[-1][1] <= gap:
            near[-1] = (near[-1][0], end)
        else:
            near.append((begin, end))
    return [(begin, end) for begin, end in near if end - begin >= _FEWEST_STEPS]
