"""Takes in which invented people talk, invented animals call, or both, in noise of all kinds."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np

from calltag.arrays import FloatArray
from calltag.learn.invented_talk.speakers import talk
from calltag.learn.invented_types.animals import animal
from calltag.learn.starter import synth_calls, synth_noise
from calltag.learn.starter.lessons import Take
from calltag.learn.starter.synth_calls import Maker, Rng
from calltag.records.span import Span
from calltag.sound.spectrum import RATE_HZ

TAKE_S = 20
SORTS = ("talk", "animals", "talk and animals")
"""What is in a take."""

Call = Callable[[], FloatArray]

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
_LEVELS_DB = (0.0, 24.0)  # how far a part stands out, in the band that holds nearly all of it
_LIKE_VOICES: tuple[Maker, ...] = (  # of what is most like a voice, and of some that is not
    synth_calls.voiced,
    synth_calls.voiced,
    synth_calls.hoot,
    synth_calls.cluck,
    synth_calls.bark,
    synth_calls.trill,
    synth_calls.pulse,
    synth_calls.rasp,
)


class Part(NamedTuple):
    """What is added to a take: its sound as long as the take, and where that sounds."""

    sound: FloatArray
    spans: tuple[Span, ...]


def take(rng: Rng, sort: str) -> Take:
    """Make a take.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    sort : str
        One of `SORTS`.

    Returns
    -------
    Take
        Of `TAKE_S` seconds.
    """
    n = TAKE_S * RATE_HZ
    behind = background(rng)
    parts = {
        "talk": Part(np.zeros(n, np.float32), ()),
        "animals": Part(np.zeros(n, np.float32), ()),
    }
    for what, make in (("talk", _people), ("animals", animals)):
        if what in sort:
            parts[what] = make(rng, *when(rng, alone=what == sort))
    sound = put_together(rng, behind, [(part, _LEVELS_DB) for part in parts.values()])
    return Take(sound, parts["talk"].spans, parts["animals"].spans)


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


def _people(rng: Rng, start_s: float, end_s: float) -> Part:
    sound = np.zeros(TAKE_S * RATE_HZ, np.float32)
    first, last = round(start_s * RATE_HZ), round(end_s * RATE_HZ)
    said = talk(rng, end_s - start_s)[: last - first]
    sound[first : first + len(said)] = said
    return Part(sound, (Span(start_s, start_s + len(said) / RATE_HZ),))


def animals(rng: Rng, start_s: float, end_s: float) -> Part:
    """Draw a few animals in turn; or one that goes on, much like a voice; or many at once.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    start_s, end_s : float
        From when until when.

    Returns
    -------
    Part
        What they call.
    """
    chance = rng.random()
    if chance < 0.5:
        mix = [animal(rng) for _ in range(rng.integers(1, 4))]

        def one_of_them() -> FloatArray:
            calls = mix[rng.integers(len(mix))]
            return calls() if rng.random() < 0.8 else synth_calls.phrase(rng)

        return in_turn(rng, one_of_them, start_s, end_s, rng.choice([0.15, 0.6, 2.0]), 3.0)
    if chance < 0.75:
        gap_s = rng.choice([0.1, 0.3, 1.0])
        return in_turn(rng, _like_a_voice(rng), start_s, end_s, gap_s, 2.0)
    alike = _like_a_voice(rng) if rng.random() < 0.5 else None
    chorus = [
        in_turn(
            rng,
            alike or animal(rng),
            start_s + rng.uniform(0, 2),
            end_s,
            rng.choice([0.1, 0.3, 0.8]),
            1.0,
        )
        for _ in range(rng.integers(3, 8))
    ]
    levels = [np.float32(10 ** (rng.normal(0, 4) / 20)) for _ in chorus]
    sound = sum(one.sound * level for one, level in zip(chorus, levels, strict=True))
    return Part(np.asarray(sound), tuple(span for one in chorus for span in one.spans))


def _like_a_voice(rng: Rng) -> Call:
    family = _LIKE_VOICES[rng.integers(len(_LIKE_VOICES))]
    return lambda: synth_calls.phrase(rng, [(family, 1.0)])


def in_turn(
    rng: Rng, call: Call, start_s: float, end_s: float, gap_s: float, spread_db: float
) -> Part:
    """Call again and again, as long as there is time.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    call : callable
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
        one = call()[: len(sound) - at]
        sound[at : at + len(one)] += one * np.float32(10 ** (rng.normal(0, spread_db) / 20))
        spans.append(Span(at / RATE_HZ, (at + len(one)) / RATE_HZ))
        at += len(one) + int((0.05 + rng.exponential(gap_s)) * RATE_HZ)
    return Part(sound, tuple(spans))


def _gain(part: Part, behind: FloatArray, level_db: float) -> float:
    """What lifts a part so far over what is behind it, in the band that holds nearly all of it."""
    own, other = (np.abs(np.fft.rfft(sound)) ** 2 for sound in (part.sound, behind))
    shares = np.cumsum(own) / own.sum()
    low, high = np.searchsorted(shares, [0.05, 0.95])
    sounding = sum(span.length_s for span in part.spans) / TAKE_S
    there = own[low : high + 1].sum() / min(1.0, max(0.05, sounding))
    return float(np.sqrt(other[low : high + 1].sum() * 10 ** (level_db / 10) / there))
