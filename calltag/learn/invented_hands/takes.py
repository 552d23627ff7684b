"""Takes in which a hand is at work, invented animals call, or both, in noise of all kinds."""

from __future__ import annotations

import numpy as np

from calltag.arrays import FloatArray
from calltag.learn.invented_hands.synth_hands import SOUNDS, knock, step
from calltag.learn.invented_takes.callers import animals, in_phrases
from calltag.learn.invented_takes.lessons import Take
from calltag.learn.invented_takes.parts import (
    NOTHING,
    TAKE_S,
    Part,
    Sound,
    background,
    in_turn,
    put_together,
    when,
)
from calltag.learn.starter import synth_calls
from calltag.learn.starter.synth_calls import Maker, Rng
from calltag.records.span import Span
from calltag.sound.spectrum import RATE_HZ

SORTS = ("hands", "animals", "hands and animals")
"""What is in a take."""

_HANDS_DB = (5.0, 35.0)  # a hand is close by
_CALLS_DB = (0.0, 42.0)  # and an animal that is as close is hoarse to more bands than one far away
_LIKE_HANDS: tuple[Maker, ...] = (  # of what is most like a hand
    synth_calls.pulse,
    synth_calls.cluck,
    synth_calls.bark,
    synth_calls.chirp,
    synth_calls.rasp,
    synth_calls.hiss,
)
_LIKE_HANDS_SHARE = 0.4
_DRUM_SHARE = 0.2  # of these


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
    behind = background(rng)
    work = _hands(rng, *when(rng, alone=sort == "hands")) if "hands" in sort else NOTHING
    calls = NOTHING
    if "animals" in sort:
        those = _like_hands if rng.random() < _LIKE_HANDS_SHARE else animals
        calls = those(rng, *when(rng, alone=sort == "animals"))
    sound = put_together(rng, behind, [(work, _HANDS_DB), (calls, _CALLS_DB)])
    return Take(sound, work.spans, calls.spans)


def _hands(rng: Rng, start_s: float, end_s: float) -> Part:
    """Someone walks; or does one thing again and again; or a bout of things at one tripod."""
    chance = rng.random()
    if chance < 0.15:
        return _walk(rng, start_s, end_s)
    if chance < 0.7:
        one = SOUNDS[rng.integers(len(SOUNDS))](rng)
        return in_turn(rng, one, start_s, end_s, rng.choice([0.2, 0.7, 2.0]), 4.0)
    makers = [SOUNDS[i] for i in rng.integers(0, len(SOUNDS), rng.integers(2, 5))]
    things = [(make(rng), np.float32(np.exp(rng.normal(0, 0.7)))) for make in (*makers, knock)]

    def one_of_them() -> FloatArray:
        sound, level = things[rng.integers(len(things))]
        return sound() * level

    return in_turn(rng, one_of_them, start_s, end_s, rng.choice([0.3, 0.8]), 3.0)


def _walk(rng: Rng, start_s: float, end_s: float) -> Part:
    """Steps at a pace, with a rest now and then."""
    foot, sound = step(rng), np.zeros(TAKE_S * RATE_HZ, np.float32)
    pace_s, at_s, spans = rng.uniform(0.35, 1.0), start_s, []
    while at_s < end_s - 1:
        one, at = foot(), round(at_s * RATE_HZ)
        sound[at : at + len(one)] += one * np.float32(np.exp(rng.normal(0, 0.3)))
        spans.append(Span(at_s, at_s + len(one) / RATE_HZ))
        at_s += pace_s * np.exp(rng.normal(0, 0.08))
        if rng.random() < 0.08:
            at_s += rng.exponential(1.5)
    return Part(sound, tuple(spans))


def _like_hands(rng: Rng, start_s: float, end_s: float) -> Part:
    """An animal that clicks, knocks, clucks, snorts or drums."""
    call = _drum(rng) if rng.random() < _DRUM_SHARE else in_phrases(rng, _LIKE_HANDS)
    return in_turn(rng, call, start_s, end_s, rng.choice([0.3, 1.0, 2.5]), 2.0)


def _drum(rng: Rng) -> Sound:
    """The same knock again and again, as of a bill on wood."""
    one = (synth_calls.pulse if rng.random() < 0.6 else synth_calls.cluck)(rng)
    per_s, length_s = rng.uniform(6, 28), rng.uniform(0.3, 2.5)

    def call() -> FloatArray:
        out, at_s = np.zeros(int((length_s + 0.3) * RATE_HZ), np.float32), 0.0
        while at_s < length_s:
            at = int(at_s * RATE_HZ)
            knock_ = one()[: len(out) - at]
            swell = 0.3 + 0.7 * np.sin(np.pi * at_s / length_s)
            out[at : at + len(knock_)] += knock_ * np.float32(swell)
            at_s += rng.uniform(0.95, 1.05) / per_s
        return out

    return call
