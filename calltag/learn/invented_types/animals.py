"""Animals that do not exist: each draws its calls from one type, never twice the same."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import soxr

from calltag.arrays import FloatArray
from calltag.learn.starter import synth_calls
from calltag.learn.starter.synth_calls import Rng
from calltag.sound.spectrum import RATE_HZ

_LONGEST_S = 4.0


def animal(rng: Rng) -> Callable[[], FloatArray]:
    """Draw a call type.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.

    Returns
    -------
    callable
        Gives a call of it, float32 at `RATE_HZ`, each time another.
    """
    makers = np.array([maker for maker, _ in synth_calls.FAMILIES], object)
    chance = np.array([weight for _, weight in synth_calls.FAMILIES])
    voices = [
        rng.choice(makers, p=chance / chance.sum())(rng) for _ in range(rng.choice([1, 1, 1, 2, 3]))
    ]
    count = int(rng.choice([1, 1, 1, 2, 3, 4, 6]))
    gap_s = synth_calls.log_uniform(rng, 0.02, 0.28)
    loose = count > 1 and rng.random() < 0.3
    pace = 0.04 * np.exp(rng.normal(0, 0.5))
    colour_db = rng.uniform(2, 6)
    roomy = 0.7 * rng.choice([0.3, 0.7, 1.0])

    def call() -> FloatArray:
        """Call once."""
        pieces: list[FloatArray] = []
        for i in range(max(1, count + (int(rng.integers(-1, 2)) if loose else 0))):
            one = voices[i % len(voices)]()
            level = np.float32(np.exp(rng.normal(0, 0.2)) / (np.abs(one).max() + 1e-9))
            gap = np.zeros(int(gap_s * np.exp(rng.normal(0, 0.1)) * RATE_HZ), np.float32)
            pieces += [one * level, gap]
        sound = np.concatenate(pieces[:-1])[: int(_LONGEST_S * RATE_HZ)]
        if rng.random() < roomy:
            sound = synth_calls.placed(rng, sound)
        return _as_found(rng, _individual(rng, sound, pace, colour_db))

    return call


def _individual(rng: Rng, sound: FloatArray, pace: float, colour_db: float) -> FloatArray:
    """Another animal of the kind, elsewhere: a little faster or slower, and of other colour."""
    sound = soxr.resample(sound, RATE_HZ, RATE_HZ * np.exp(rng.normal(0, pace)))
    gain_db = rng.normal(0, colour_db, rng.integers(3, 8))

    def gain(hz: FloatArray) -> FloatArray:
        at = np.log(np.maximum(hz, 60) / 60) / np.log(20_000 / 60)
        return np.asarray(10 ** (np.interp(at, np.linspace(0, 1, len(gain_db)), gain_db) / 20))

    sound = synth_calls.filtered(sound, gain)
    return np.asarray(sound / (np.abs(sound).max() + 1e-9), np.float32)


def _as_found(rng: Rng, sound: FloatArray) -> FloatArray:
    """What is found is not always one whole call: now and then it is less, or two in one."""
    if rng.random() < 0.12 and len(sound) > 0.25 * RATE_HZ:
        cut = int(len(sound) * rng.uniform(0.1, 0.45))
        return sound[cut:] if rng.random() < 0.5 else sound[:-cut]
    if rng.random() < 0.1 and len(sound) < 1.5 * RATE_HZ:
        again = sound * np.float32(np.exp(rng.normal(0, 0.3)))
        gap = np.zeros(int(rng.uniform(0.03, 0.3) * RATE_HZ), np.float32)
        return np.concatenate([sound, gap, again])
    return sound
