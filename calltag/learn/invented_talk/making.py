"""Listen to invented people and animals, learn to tell their sounds apart, and write that down."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from calltag.arrays import DoubleArray
from calltag.learn.finding.talk import Talk, talk_evidence
from calltag.learn.finding.whole import Whole, WholeEvent
from calltag.learn.invented_takes import lessons
from calltag.learn.invented_talk.takes import SORTS, take
from calltag.learn.networks.starter_files import StarterFiles


def _evidence(_whole: Whole) -> Callable[[WholeEvent], DoubleArray]:
    return lambda event: talk_evidence(event.evidence, event.region)


COURSE = lessons.Course(
    kind=Talk,
    name="talk",
    noun="talk",
    take=take,
    sorts=(*SORTS, "animals"),  # which differ more
    evidence=_evidence,
    least_share=0.5,
    amid_weight=1.0,
    regularised=0.1,  # of 0.003, 0.01, 0.03, 0.1 and 0.3 as good as any, for people who exist
)
"""What tells talk from calls, and how that is learnt."""


def make(model: Path, *, takes: int, seed: int) -> Talk:
    """Learn what talk sounds like to a starter model, and write it beside that.

    Parameters
    ----------
    model : Path
        The starter model, its second look beside it.
    takes : int
        Takes of each sort; of animals alone, twice as many.
    seed : int
        Seed of everything random.

    Returns
    -------
    Talk
        What was written.

    Raises
    ------
    InputError
        If there is nothing to learn from, or no place to write to.
    ModelError
        If the starter model cannot be read.
    """
    return lessons.make(COURSE, model, StarterFiles.of(model).talk, takes=takes, seed=seed)
