"""Whines: tones that a machine holds for longer than an animal has breath.

The starter model hears a second or two to each side, so that a tone that is held is a whistle to
it: the motor of a blower, a turbine, a transformer. Here the tone is followed for as long as it
lasts. One that neither pauses nor wavers for `HELD_S` is a machine's; it is taken out of what the
model hears, so that calls beside and over it are found. A reeling bird or a cricket goes on as
long, but beats many times a second, which the sound itself tells.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.arrays import FloatArray
from calltag.learn.networks.starter_model import (
    FRAMES_PER_STEP,
    STEPS_PER_S,
    Heard,
    StarterModel,
    over_steps,
)
from calltag.records.label import NOISE_KINDS
from calltag.sound.envelope import beat_depth
from calltag.sound.running import running_percentile
from calltag.sound.runs import joined, runs
from calltag.sound.spectrum import FRAMES_PER_S, N_MELS, mel_edges_hz

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
_MOST_TONES = 10
_SLOTS_PER_S = 5  # a tone is followed in steps of 0.2 s
_PER_SLOT = FRAMES_PER_S // _SLOTS_PER_S
_MIDDLE_S = 3.0
_LULL = 1  # slot
_MOVE = 1.0  # what it costs a path to change its band, in dB
_QUIETER = 30  # percent: tones may stand close together
_WIDTH = 2  # bands to each side of a tone that it fills
_BESIDE = 8  # bands to each side that its background is taken from
_LISTEN_S = 2.0


class Whine(NamedTuple):
    """A held tone.

    Attributes
    ----------
    first : int
        Its first frame.
    bands : np.ndarray, shape (n_frames,), int
        Mel band that it lies in, frame by frame.
    """

    first: int
    bands: npt.NDArray[np.intp]

    @property
    def last(self) -> int:
        """The frame after its last."""
        return self.first + len(self.bands)


def listen_through(
    hearing: StarterModel, level_db: FloatArray, cut: Callable[[float, float], FloatArray]
) -> Heard:
    """Listen to a stretch of sound, through the whines in it.

    Parameters
    ----------
    hearing : StarterModel
        The starter model.
    level_db : np.ndarray, shape (n_frames, N_MELS), float32
        Mel levels in dBFS.
    cut : callable
        Gives the sound between two times, in seconds from the first frame.

    Returns
    -------
    Heard
        What is heard; where there is a whine, as if its tone were not there, and a machine.
    """
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


def _without(hearing: StarterModel, level_db: FloatArray, whines: Sequence[Whine]) -> Heard:
    """Listen as if the tones were as loud as what is beside them."""
    quieter_db = level_db.copy()
    for whine in whines:
        own = quieter_db[whine.first : whine.last]
        beside_db = _beside_db(own, whine.bands)[:, None]
        np.minimum(own, beside_db, out=own, where=_filled(whine.bands))
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
    if not suspect or not _may_hold(over_steps(level_db, FRAMES_PER_S)):
        return []
    whines = []
    slots_db = over_steps(level_db, _PER_SLOT)
    for _ in range(_MOST_TONES):
        path = _path(slots_db)
        own_db = slots_db[np.arange(len(path)), path]
        beside_db = _beside_db(slots_db, path)
        spans = _held(own_db, own_db - beside_db)
        if not spans:
            break
        for span in spans:
            whine = _whine(path, span, len(level_db))
            if _sounds_in(whine, suspect) and not _beats(whine, cut):
                whines.append(whine)
        slots_db = np.where(_filled(path), beside_db[:, None], slots_db)
    return whines


def _whine(path: npt.NDArray[np.intp], span: tuple[int, int], n_frames: int) -> Whine:
    """A tone that is held for a span of slots, and may begin and end within one beside these."""
    a, b = span
    first, last = max(0, (a - 1) * _PER_SLOT), min((b + 2) * _PER_SLOT, n_frames)
    slot = np.arange(first, last) // _PER_SLOT
    return Whine(first, path[np.clip(slot, a, b - 1)])


def _sounds_in(whine: Whine, stretches: Sequence[tuple[int, int]]) -> bool:
    """Whether a tone sounds in one of some stretches of steps."""
    return any(
        whine.first < end * FRAMES_PER_STEP and whine.last > begin * FRAMES_PER_STEP
        for begin, end in stretches
    )


def _stands_db(level_db: FloatArray) -> FloatArray:
    """How far each band stands out of the quieter of those around it, shape as given."""
    quieter = running_percentile(level_db, _QUIETER, _BESIDE, ends="symmetric")
    return np.asarray(level_db - quieter, np.float32)


def _may_hold(seconds_db: FloatArray) -> bool:
    """Whether a tone may be held anywhere: a quick look, second by second."""
    least = int(HELD_S) - 1
    if len(seconds_db) < least:
        return False
    clear = scipy.ndimage.binary_dilation(_stands_db(seconds_db) > STANDS_DB, np.ones((1, 3)))
    windows = np.lib.stride_tricks.sliding_window_view(clear, least, axis=0)
    return bool(windows.all(axis=2).any())


def _filled(bands: npt.NDArray[np.intp]) -> npt.NDArray[np.bool_]:
    """Which bands a tone fills, shape (n, N_MELS)."""
    filled: npt.NDArray[np.bool_] = np.abs(np.arange(N_MELS) - bands[:, None]) <= _WIDTH
    return filled


def _path(level_db: FloatArray) -> npt.NDArray[np.intp]:
    """The band of the clearest tone at each moment, moving by one band at most."""
    stands = _stands_db(level_db)
    came = np.zeros(stands.shape, np.intp)
    moves = np.full((3, N_MELS), -np.inf)
    best = stands[0]
    for i in range(1, len(stands)):
        moves[0, 1:], moves[1], moves[2, :-1] = best[:-1] - _MOVE, best, best[1:] - _MOVE
        came[i] = moves.argmax(axis=0) - 1
        best = moves.max(axis=0) + stands[i]
    path = np.empty(len(stands), np.intp)
    path[-1] = best.argmax()
    for i in range(len(stands) - 1, 0, -1):
        path[i - 1] = path[i] + came[i, path[i]]
    return path


def _beside_db(level_db: FloatArray, bands: npt.NDArray[np.intp]) -> FloatArray:
    """Mean level of what is beside a tone, for each moment, shape (n,)."""
    away = np.abs(np.arange(N_MELS) - bands[:, None])
    near = (away > _WIDTH) & (away <= _BESIDE)
    return np.asarray((level_db * near).sum(axis=1) / near.sum(axis=1), np.float32)


def _held(own_db: FloatArray, stands_db: FloatArray) -> list[tuple[int, int]]:
    """Stretches, in slots, in which a tone neither pauses nor wavers."""
    middle = scipy.ndimage.median_filter(own_db, round(_MIDDLE_S * _SLOTS_PER_S), mode="nearest")
    wavers = np.abs(own_db - middle)
    even = joined(runs((stands_db > STANDS_DB) & (wavers < WAVERS_DB)), _LULL)
    # From there it goes on for as long as it can be told at all.
    goes_on = joined(runs((stands_db > STANDS_DB / 2) & (wavers < 2 * WAVERS_DB)), _LULL)
    sure = [(a, b) for a, b in even if b - a >= HELD_S * _SLOTS_PER_S]
    return [(a, b) for a, b in goes_on if any(a <= c and d <= b for c, d in sure)]


def _beats(whine: Whine, cut: Callable[[float, float], FloatArray]) -> bool:
    """Whether a tone beats, as a cricket's or a reeling bird's does."""
    reach = round(_LISTEN_S / 2 * FRAMES_PER_S)
    middle = len(whine.bands) // 2
    bands = whine.bands[middle - reach : middle + reach]
    at = whine.first + middle
    sound = cut((at - reach) / FRAMES_PER_S, (at + reach) / FRAMES_PER_S)
    edges_hz = mel_edges_hz()
    low_hz = float(edges_hz[max(0, bands.min() - 1)])
    high_hz = float(edges_hz[min(N_MELS + 1, bands.max() + 3)])
    return beat_depth(sound, low_hz, high_hz) > DEEPEST
