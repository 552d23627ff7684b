"""Listen to invented hands and animals, learn to tell their sounds apart, and write that down."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from calltag.arrays import DoubleArray
from calltag.learn.finding.hands import Hands, hand_evidence
from calltag.learn.finding.whole import Whole, WholeEvent
from calltag.learn.invented_hands.takes import SORTS, take
from calltag.learn.invented_takes import lessons
from calltag.learn.networks.starter_files import StarterFiles
from calltag.sound.spectrum import mel_power


def _evidence(whole: Whole) -> Callable[[WholeEvent], DoubleArray]:
    mel = mel_power(whole.power)
    return lambda event: hand_evidence(mel, whole.heard, event.first, event.last)


COURSE = lessons.Course(
    kind=Hands,
    name="hands",
    noun="handling",
    take=take,
    sorts=(*SORTS, "hands", "animals"),
    evidence=_evidence,
    least_share=0.3,
    amid_weight=0.25,  # as much as others, and much handling would be calls
    regularised=0.03,
)
"""What tells handling from calls, and how that is learnt."""


def make(model: Path, *, takes: int, seed: int) -> Hands:
    """Learn what handling sounds like to a starter model, and write it beside that.

    Parameters
    ----------
    model : Path
        The starter model, its second look beside it.
    takes : int
        Takes of each sort; of hands alone, and of animals alone, twice as many.
    seed : int
        Seed of everything random.

    Returns
    -------
    Hands
        What was written.

    Raises
    ------
    InputError
        If there is nothing to learn from, or no place to write to.
    ModelError
        If the starter model cannot be read.
    """
    return lessons.make(COURSE, model, StarterFiles.of(model).hands, takes=takes, seed=seed)
