"""What a take is put together from: parts that sound now and then, over a background."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np

from calltag.arrays import FloatArray
from calltag.learn.starter import synth_noise
from calltag.learn.starter.synth_calls import Rng
from calltag.records.span import Span
from calltag.sound.spectrum import RATE_HZ

TAKE_S = 20

Sound = Callable[[], FloatArray]
"""Gives a sound, float32 at `calltag.sound.spectrum.RATE_HZ`, each time another."""

_AIR = 10**-2.3  # RMS; of what follows its logarithm
_HISS = (-5.2, -4.6)  # no recorder is without its own, as most invented air would be in high bands
_NOISES = (
    synth_noise.wind,
    synth_noise.waves,
    synth_noise.drops,
    *[synth_noise.engine] * 3,
    synth_noise.aircraft,
)
_NOISE_SHARE = 0.85
_NOISE = (-2.8, -1.3)


class Part(NamedTuple):
    """What is added to a take: its sound as long as the take, and where that sounds."""

    sound: FloatArray
    spans: tuple[Span, ...]


NOTHING = Part(np.zeros(0, np.float32), ())
"""What is not in a take."""


def background(rng: Rng) -> FloatArray:
    """Draw what is behind a take: air, mostly with a noise in it.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.

    Returns
    -------
    np.ndarray, shape (n,), float32
        As long as a take.
    """
    n = TAKE_S * RATE_HZ
    behind = synth_noise.air(rng, n) * _AIR
    if rng.random() < _NOISE_SHARE:
        noise = _NOISES[rng.integers(len(_NOISES))]
        behind = behind + noise(rng, n) * 10 ** rng.uniform(*_NOISE)
    return behind


def when(rng: Rng, *, alone: bool) -> tuple[float, float]:
    """Draw when something begins and ends; what is not alone need not be there with the rest.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    alone : bool
        Whether there is nothing else in the take.

    Returns
    -------
    tuple of float
        Both, in seconds.
    """
    if alone:
        return rng.uniform(0.5, 4), rng.uniform(10, TAKE_S - 0.5)
    start_s = rng.uniform(0.5, 8)
    return start_s, min(start_s + rng.uniform(5, 11), TAKE_S - 0.5)


def in_turn(
    rng: Rng, one: Sound, start_s: float, end_s: float, gap_s: float, spread_db: float
) -> Part:
    """Let something sound again and again, as long as there is time.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    one : callable
        Gives a sound, each time another.
    start_s, end_s : float
        From when until when.
    gap_s : float
        Mean pause.
    spread_db : float
        By how much levels differ.

    Returns
    -------
    Part
        All of it.
    """
    sound = np.zeros(TAKE_S * RATE_HZ, np.float32)
    spans = []
    at = round(start_s * RATE_HZ)
    while at < (end_s - 1) * RATE_HZ:
        now = one()[: len(sound) - at]
        sound[at : at + len(now)] += now * np.float32(10 ** (rng.normal(0, spread_db) / 20))
        spans.append(Span(at / RATE_HZ, (at + len(now)) / RATE_HZ))
        at += len(now) + int((0.05 + rng.exponential(gap_s)) * RATE_HZ)
    return Part(sound, tuple(spans))


def put_together(
    rng: Rng, behind: FloatArray, parts: Iterable[tuple[Part, tuple[float, float]]]
) -> FloatArray:
    """Lay parts over a background, and a recorder's hiss over all.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    behind : np.ndarray, shape (n,)
        The background.
    parts : iterable of tuple
        Each part, and the least and the most that it may stand out, in decibels.

    Returns
    -------
    np.ndarray, shape (n,), float32
        The sound, nowhere louder than 0.6.
    """
    hiss = rng.standard_normal(len(behind)) * 10 ** rng.uniform(*_HISS)
    sound = (behind + hiss).astype(np.float32)
    for part, levels_db in parts:
        if part.spans:
            sound += part.sound * _gain(part, behind, rng.uniform(*levels_db))
    sound *= min(1, 0.6 / np.abs(sound).max())
    return sound


def _gain(part: Part, behind: FloatArray, level_db: float) -> float:
    """What lifts a part so far over what is behind it, in the band that holds nearly all of it."""
    own, other = (np.abs(np.fft.rfft(sound)) ** 2 for sound in (part.sound, behind))
    shares = np.cumsum(own) / own.sum()
    low, high = np.searchsorted(shares, [0.05, 0.95])
    sounding = sum(span.length_s for span in part.spans) / TAKE_S
    there = own[low : high + 1].sum() / min(1.0, max(0.05, sounding))
    return float(np.sqrt(other[low : high + 1].sum() * 10 ** (level_db / 10) / there))
