"""Calls out of a chorus: what one animal near by calls, among many that go on farther away.

At first light there is hardly a silence: one animal begins before another has ended, and the odds
that a call sounds hold all of it together, for half a minute at times; so do crickets and frogs.
What a film needs is the animal near the camera. So an event that goes on and on, and is likely to
be calls at all, is parted where something stands out of what is usual there; what lies between is
parted again; and pieces that sound alike are joined, since they are one call of which a part is
louder.

An uneven song is not to fall to pieces by it: only what is very long is parted, or lies where most
of the time is events, and not where what stands out is most of it. Calls that sound at once and as
loud as each other stay one event.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.arrays import FloatArray
from calltag.learn.finding.segments import LONGEST_GAP_STEPS
from calltag.learn.networks.starter_model import STEPS_PER_S
from calltag.sound.runs import joined, runs

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
_FEWEST_STEPS = 4
_MOST = 0.75  # share of an event: if more stands out, it is one song
_ROUNDS = 3
_ALIKE = 0.85  # cosine of what two pieces have over the quiet moments
_QUIET = 25  # percentile of the levels around
_OVER_QUIET_DB = 3.0

Segment = tuple[int, int]


def going_on(segments: Sequence[Segment], n_steps: int) -> list[int]:
    """Tell which events go on and on, or lie among such.

    Parameters
    ----------
    segments : sequence of tuple of int
        First step of each event and the step after its last, in order.
    n_steps : int
        Steps that there are; before and after them it counts as silent.

    Returns
    -------
    list of int
        Which of the segments, in order.

    Examples
    --------
    >>> going_on([(0, 300), (500, 600)], n_steps=1000)
    [0]
    """
    around = round(_AROUND_S * STEPS_PER_S)
    busy = np.zeros(n_steps + 2 * around + 1)
    for first, last in segments:
        busy[around + first + 1 : around + last + 1] = 1
    sums = np.cumsum(busy)
    which = []
    for i, (first, last) in enumerate(segments):
        length = last - first
        share = (sums[min(last, n_steps) + 2 * around] - sums[first]) / (length + 2 * around)
        if share >= _BUSY or length >= VERY_LONG_S * STEPS_PER_S:
            which.append(i)
    return which


def out_of_chorus(power: FloatArray, first: int, last: int) -> list[Segment]:
    """Part an event that goes on where something stands out of it.

    Parameters
    ----------
    power : np.ndarray, shape (n_steps, N_MELS)
        Mel power of each step, by `calltag.learn.networks.starter_model.over_steps`.
    first, last : int
        First step of the event and the step after its last.

    Returns
    -------
    list of tuple of int
        Its pieces in order, one after the other; the event itself where nothing stands out.

    Examples
    --------
    A murmur of half a minute, and three calls in it.

    >>> murmur = np.ones((1500, 64))
    >>> for at in (300, 700, 1200):
    ...     murmur[at : at + 40, 30:34] = 100.0
    >>> out_of_chorus(murmur, 0, 1500)[1::2]
    [(299, 341), (699, 741), (1199, 1241)]
    """
    last = min(last, len(power))
    return _alike_joined(power, first, last, _parted(power, first, last, _ROUNDS))


def _parted(power: FloatArray, first: int, last: int, rounds: int) -> list[Segment]:
    """Cut what stands out of a stretch, and part what is left likewise."""
    if not rounds or last - first < _SHORTEST_S * STEPS_PER_S:
        return [(first, last)]
    near = _near(_prominence_db(power, first, last))
    if not near or sum(end - begin for begin, end in near) > _MOST * (last - first):
        return [(first, last)]
    pieces: list[Segment] = []
    at = first
    for begin, end in [*((first + begin, first + end) for begin, end in near), (last, last)]:
        if begin - at >= LONGEST_GAP_STEPS:
            pieces += _parted(power, at, begin, rounds - 1)
        if end > begin:
            pieces.append((begin, end))
        at = end
    return pieces


def _alike_joined(power: FloatArray, first: int, last: int, pieces: list[Segment]) -> list[Segment]:
    """Join pieces that sound alike: one call, of which a part is louder."""
    if len(pieces) == 1:
        return pieces
    quiet_db = np.percentile(_db(_around(power, first, last)), _QUIET, axis=0) + _OVER_QUIET_DB

    def colour(piece: Segment) -> npt.NDArray[np.floating]:
        over = np.maximum(_db(power[slice(*piece)]) - quiet_db, 0).mean(axis=0)
        return over / (np.linalg.norm(over) + 1e-9)

    together = [pieces[0]]
    for begin, end in pieces[1:]:
        before = together[-1]
        if (
            begin - before[1] <= LONGEST_GAP_STEPS
            and colour(before) @ colour((begin, end)) > _ALIKE
        ):
            together[-1] = (before[0], end)
        else:
            together.append((begin, end))
    return together


def _around(power: FloatArray, first: int, last: int) -> FloatArray:
    """Every second step of a stretch and what surrounds it."""
    reach = round(_USUAL_S * STEPS_PER_S)
    return power[max(0, first - reach) : last + reach : 2]


def _db(power: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    return 10 * np.log10(power + 1e-12)


def _prominence_db(power: FloatArray, first: int, last: int) -> npt.NDArray[np.floating]:
    """How far the clearest bands of each step stand out of what is usual around the stretch."""
    usual = np.median(_around(power, first, last), axis=0)
    smooth = scipy.ndimage.uniform_filter1d(power[first:last], _SMOOTH_STEPS, axis=0)
    over_db = _db(np.maximum(smooth, 0)) - _db(usual)  # a running mean may end below zero
    clearest: npt.NDArray[np.floating] = np.partition(over_db, -_BANDS, axis=1)[:, -_BANDS:]
    return clearest.mean(axis=1)


def _near(prominence_db: npt.NDArray[np.floating]) -> list[Segment]:
    """Where a near animal calls: its calls, with the short silences in them."""
    clear_db = max(_STANDS_DB, float(prominence_db.max()) - _NEAR_DB)
    standing = runs(prominence_db > clear_db - _FADES_DB)
    clear = [(b, e) for b, e in standing if prominence_db[b:e].max() > clear_db]
    near = joined(clear, LONGEST_GAP_STEPS)
    return [(begin, end) for begin, end in near if end - begin >= _FEWEST_STEPS]
