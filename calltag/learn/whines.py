"""Whines: tones that a machine holds for longer than an animal has breath.

The starter model hears 1.4 s to each side, so that a tone that is held is a whistle to it: the
motor of a blower, a turbine, a transformer. Here the tone is followed for as long as it lasts. One
that neither pauses nor wavers for `HELD_S` is a machine's; it is taken out of what the model hears,
so that calls beside and over it are found. A reeling bird or a cricket goes on as long, but beats
many times a second, which the sound itself tells.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.learn.hearing import FRAMES_PER_STEP, STEPS_PER_S, Heard, Hearing
from calltag.records import NOISE_KINDS, FloatArray
from calltag.sound.envelope import beat_depth
from calltag.sound.runs import runs
from calltag.sound.spectrum import FRAMES_PER_S, N_MELS, mel_edges_hz, to_db

HELD_S = 5.5
"""No call is held so long at one level; it is less than a window sees of what begins at its end."""

STANDS_DB = 8.0
"""How far a tone stands out of the bands beside it."""

WAVERS_DB = 3.0
"""A held tone stays within this of its middle level over `_MIDDLE_S`."""

DEEPEST = 0.25
"""A tone whose regular beat is deeper, by `calltag.sound.envelope.beat_depth`, is no whine."""

_MACHINE = NOISE_KINDS.index("machine")
_SURE_ODDS = 5.0  # beats, or a bass that is missing, cannot speak against it
_SUSPECT_ODDS = -1.0
_SUSPECT_S = 2.0
_FALL = 1.5  # of the odds, once a tone is out that was taken for a call
_MOST_TONES = 6
_PER_TENTH = FRAMES_PER_S // 10
_MIDDLE_S = 3.0
_LULL_TENTHS = 3
_WIDTH = 2  # bands to each side of a tone that it fills
_BESIDE = 8  # bands to each side that its background is taken from
_LISTEN_S = 2.0


class Whine(NamedTuple):
    """A held tone.

    Attributes
    ----------
    first, last : int
        Its first frame, and the frame after its last.
    bands : np.ndarray, shape (last - first,), int
        Mel band that it lies in, frame by frame.
    """

    first: int
    last: int
    bands: npt.NDArray[np.intp]


def listen_through(
    hearing: Hearing, mel: FloatArray, cut: Callable[[float, float], FloatArray]
) -> Heard:
    """Listen to a stretch of sound, through the whines in it.

    Parameters
    ----------
    hearing : Hearing
        The starter model.
    mel : np.ndarray, shape (n_frames, N_MELS), float32
        Mel power.
    cut : callable
        Gives the sound between two times, in seconds from the first frame.

    Returns
    -------
    Heard
        What is heard; where there is a whine, as if its tone were not there, and a machine.
    """
    level_db = to_db(mel)
    heard = hearing.listen(level_db)
    whines = find_whines(heard.call, level_db, cut)
    while whines:
        through = _without(hearing, level_db, whines)
        taken = [
            whine
            for whine in whines
            if _fall(heard.call[_steps(whine)], through.call[_steps(whine)])
        ]
        if len(taken) == len(whines):
            kinds = through.kinds.copy()
            for whine in whines:
                machine = kinds[_steps(whine), _MACHINE]
                np.maximum(machine, _SURE_ODDS, out=machine)
            return replace(through, kinds=kinds)
        whines = taken  # the others sound as well, and are not what is taken for a call
    return heard


def _without(hearing: Hearing, level_db: FloatArray, whines: Sequence[Whine]) -> Heard:
    """Listen as if the tones were as loud as what is beside them."""
    quieter_db = level_db.copy()
    for whine in whines:
        own = quieter_db[whine.first : whine.last]
        filled = _filled(whine.bands)
        own[filled] = np.minimum(own, _beside_db(own, filled))[filled]
    return hearing.listen(quieter_db)


def _fall(before: FloatArray, after: FloatArray) -> bool:
    """Whether it was the tone that was taken for a call."""
    suspect = before > _SUSPECT_ODDS
    return bool(suspect.any()) and float((before - after)[suspect].mean()) > _FALL


def _steps(whine: Whine) -> slice:
    return slice(whine.first // FRAMES_PER_STEP, -(-whine.last // FRAMES_PER_STEP))


def find_whines(
    call_odds: FloatArray, level_db: FloatArray, cut: Callable[[float, float], FloatArray]
) -> list[Whine]:
    """Find tones that are held and may be what the model takes for calls.

    Parameters
    ----------
    call_odds : np.ndarray, shape (n_steps,)
        Log-odds that a call sounds.
    level_db : np.ndarray, shape (n_frames, N_MELS)
        Mel levels.
    cut : callable
        Gives the sound between two times, in seconds from the first frame.

    Returns
    -------
    list of Whine
        The tones; several may sound at once.
    """
    share = scipy.ndimage.uniform_filter1d(
        (call_odds > _SUSPECT_ODDS).astype(np.float32), STEPS_PER_S, mode="nearest"
    )
    suspect = [(a, b) for a, b in runs(share > 0.5) if b - a >= _SUSPECT_S * STEPS_PER_S]
    if not suspect or not _may_hold(_means(level_db, FRAMES_PER_S)):
        return []
    whines = []
    tenths_db = _means(level_db, _PER_TENTH).copy()
    for _ in range(_MOST_TONES):
        path = _path(tenths_db)
        filled = _filled(path)
        beside_db = _beside_db(tenths_db, filled)
        at = (np.arange(len(path)), path)
        spans = _held(tenths_db[at], tenths_db[at] - beside_db[at])
        if not spans:
            break
        for a, b in spans:
            # A tenth more on each side: it may begin and end within one.
            first, last = max(0, (a - 1) * _PER_TENTH), min((b + 2) * _PER_TENTH, len(level_db))
            at_tenth = np.arange(first, last) // _PER_TENTH
            whine = Whine(first, last, path[np.clip(at_tenth, a, b - 1)])
            taken = any(
                whine.first < end * FRAMES_PER_STEP and whine.last > begin * FRAMES_PER_STEP
                for begin, end in suspect
            )
            if taken and not _beats(whine, cut):
                whines.append(whine)
        tenths_db[filled] = beside_db[filled]
    return whines


def _means(level_db: FloatArray, length: int) -> FloatArray:
    """Means of so many frames each."""
    n = max(1, len(level_db) // length)
    means: FloatArray = level_db[: n * length].reshape(n, -1, N_MELS).mean(axis=1)
    return means


def _stands_db(level_db: FloatArray) -> FloatArray:
    """How far each band stands out of those around it, shape as given."""
    padded = np.pad(level_db, ((0, 0), (_BESIDE, _BESIDE)), mode="reflect")
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * _BESIDE + 1, axis=1)
    return np.asarray(level_db - np.median(around, axis=2), np.float32)


def _may_hold(seconds_db: FloatArray) -> bool:
    """Whether a tone may be held anywhere: a quick look, second by second."""
    clear = scipy.ndimage.binary_dilation(_stands_db(seconds_db) > STANDS_DB, np.ones((1, 3)))
    least = int(HELD_S) - 1
    windows = np.lib.stride_tricks.sliding_window_view(clear, min(least, len(clear)), axis=0)
    return len(clear) >= least and bool(windows.all(axis=2).any())


def _filled(bands: npt.NDArray[np.intp]) -> npt.NDArray[np.bool_]:
    """Which bands a tone fills, shape (n, N_MELS)."""
    filled: npt.NDArray[np.bool_] = np.abs(np.arange(N_MELS) - bands[:, None]) <= _WIDTH
    return filled


def _path(level_db: FloatArray) -> npt.NDArray[np.intp]:
    """The band of the clearest tone at each moment, moving by one band at most."""
    stands = _stands_db(level_db)
    best = stands[0].copy()
    came = np.zeros(stands.shape, np.int8)
    for i in range(1, len(stands)):
        moves = np.stack([np.r_[-np.inf, best[:-1]], best, np.r_[best[1:], -np.inf]])
        moves[[0, 2]] -= 1.0
        came[i] = moves.argmax(axis=0) - 1
        best = moves.max(axis=0) + stands[i]
    path = np.empty(len(stands), np.intp)
    path[-1] = best.argmax()
    for i in range(len(stands) - 1, 0, -1):
        path[i - 1] = path[i] + came[i, path[i]]
    return path


def _beside_db(level_db: FloatArray, filled: npt.NDArray[np.bool_]) -> FloatArray:
    """Mean level of the bands beside those that a tone fills, for each moment, in all bands."""
    near = scipy.ndimage.binary_dilation(filled, np.ones((1, 2 * (_BESIDE - _WIDTH) + 1))) & ~filled
    count = np.maximum(near.sum(axis=1, keepdims=True), 1)
    mean = (level_db * near).sum(axis=1, keepdims=True) / count
    return np.broadcast_to(mean, level_db.shape).astype(np.float32)


def _held(own_db: FloatArray, stands_db: FloatArray) -> list[tuple[int, int]]:
    """Stretches, in tenths of a second, in which a tone neither pauses nor wavers."""
    middle = scipy.ndimage.median_filter(own_db, round(_MIDDLE_S * 10), mode="nearest")
    wavers = np.abs(own_db - middle)
    even = _closed((stands_db > STANDS_DB) & (wavers < WAVERS_DB))
    # From there it goes on for as long as it can be told at all.
    goes_on = _closed((stands_db > STANDS_DB / 2) & (wavers < 2 * WAVERS_DB))
    sure = [(a, b) for a, b in runs(even) if b - a >= HELD_S * 10]
    return [(a, b) for a, b in runs(goes_on) if any(a <= c and d <= b for c, d in sure)]


def _closed(so: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """The same without short lulls."""
    padded = np.pad(so, _LULL_TENTHS)
    closed: npt.NDArray[np.bool_] = scipy.ndimage.binary_closing(padded, np.ones(_LULL_TENTHS))
    return closed[_LULL_TENTHS:-_LULL_TENTHS] | so


def _beats(whine: Whine, cut: Callable[[float, float], FloatArray]) -> bool:
    """Whether a tone beats, as a cricket's or a reeling bird's does."""
    middle_s = (whine.first + whine.last) / 2 / FRAMES_PER_S
    sound = cut(middle_s - _LISTEN_S / 2, middle_s + _LISTEN_S / 2)
    at = (whine.first + whine.last) // 2 - whine.first
    reach = round(_LISTEN_S / 2 * FRAMES_PER_S)
    bands = whine.bands[max(0, at - reach) : at + reach]
    edges_hz = mel_edges_hz()
    low_hz = float(edges_hz[max(0, bands.min() - 1)])
    high_hz = float(edges_hz[min(N_MELS + 1, bands.max() + 3)])
    return beat_depth(sound, low_hz, high_hz) > DEEPEST
