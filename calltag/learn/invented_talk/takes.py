"""Takes in which invented people talk, invented animals call, or both, in noise of all kinds."""

from __future__ import annotations

import numpy as np

from calltag.learn.invented_takes.callers import animals
from calltag.learn.invented_takes.lessons import Take
from calltag.learn.invented_takes.parts import (
    NOTHING,
    TAKE_S,
    Part,
    background,
    put_together,
    when,
)
from calltag.learn.invented_talk.speakers import talk
from calltag.learn.starter.synth_calls import Rng
from calltag.records.span import Span
from calltag.sound.spectrum import RATE_HZ

SORTS = ("talk", "animals", "talk and animals")
"""What is in a take."""

_LEVELS_DB = (0.0, 24.0)  # how far a part stands out, in the band that holds nearly all of it


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
    said = _people(rng, *when(rng, alone=sort == "talk")) if "talk" in sort else NOTHING
    calls = animals(rng, *when(rng, alone=sort == "animals")) if "animals" in sort else NOTHING
    sound = put_together(rng, behind, [(said, _LEVELS_DB), (calls, _LEVELS_DB)])
    return Take(sound, said.spans, calls.spans)


def _people(rng: Rng, start_s: float, end_s: float) -> Part:
    sound = np.zeros(TAKE_S * RATE_HZ, np.float32)
    first, last = round(start_s * RATE_HZ), round(end_s * RATE_HZ)
    said = talk(rng, end_s - start_s)[: last - first]
    sound[first : first + len(said)] = said
    return Part(sound, (Span(start_s, start_s + len(said) / RATE_HZ),))
