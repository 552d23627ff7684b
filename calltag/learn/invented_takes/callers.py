"""Animals that call in a take."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calltag.arrays import FloatArray
from calltag.learn.invented_takes.parts import Part, Sound, in_turn
from calltag.learn.invented_types.animals import animal
from calltag.learn.starter import synth_calls
from calltag.learn.starter.synth_calls import Maker, Rng

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
        return in_turn(rng, in_phrases(rng, _LIKE_VOICES), start_s, end_s, gap_s, 2.0)
    alike = in_phrases(rng, _LIKE_VOICES) if rng.random() < 0.5 else None
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


def in_phrases(rng: Rng, families: Sequence[Maker]) -> Sound:
    """Draw a family of calls, which come in phrases.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    families : sequence of callable
        What to draw from.

    Returns
    -------
    callable
        Gives a phrase of it, each time of another animal.
    """
    family = families[int(rng.integers(len(families)))]
    return lambda: synth_calls.phrase(rng, [(family, 1.0)])
