"""Listen to invented people and animals, learn to tell their sounds apart, and write that down."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from calltag.arrays import DoubleArray
from calltag.errors import InputError
from calltag.files import check_place
from calltag.learn.finding.second_look import LEAST_PROBABILITY, SecondLook
from calltag.learn.finding.talk import Talk, talk_evidence
from calltag.learn.finding.whole import Whole
from calltag.learn.invented_talk.takes import SORTS, Take, take
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import STEPS_PER_S, Hearing
from calltag.learn.starter.calibrate import share_in
from calltag.learn.starter.weighing import learn
from calltag.records.span import Span

log = logging.getLogger(__name__)

TAKES = 160
"""Takes of each sort; of animals alone, which differ more, twice as many."""

_REGULARISED = 0.1  # of 0.003, 0.01, 0.03, 0.1 and 0.3 as good as any, for people who exist


class Lesson(NamedTuple):
    """An event that is learnt from.

    Attributes
    ----------
    is_talk : bool
        Whether it is talk, and no call.
    evidence : np.ndarray, shape (len(TALK_EVIDENCE),)
        What it is judged by.
    """

    is_talk: bool
    evidence: DoubleArray


def make(model: Path, *, takes: int, seed: int) -> Talk:
    """Learn what talk sounds like to a starter model, and write it beside that.

    Parameters
    ----------
    model : Path
        The starter model, its second look beside it.
    takes : int
        Takes of each sort.
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
    if takes < 1:
        raise InputError(f"{takes} takes: of each sort at least one is needed")
    files = StarterFiles.of(model)
    check_place(files.talk)
    hearing, second_look = Hearing(model), SecondLook.read(files.second_look)
    learnt: list[Lesson] = []
    for i in range(takes):
        rng = np.random.default_rng([seed, i])
        for sort in (*SORTS, "animals"):
            learnt += lessons(hearing, second_look, take(rng, sort))
        if i % 20 == 19:
            log.info("%d takes of each sort: %d lessons", i + 1, len(learnt))
    talk = fit(learnt)
    talk.write(files.talk)
    return talk


def lessons(hearing: Hearing, second_look: SecondLook, one: Take) -> list[Lesson]:
    """What might be taken for a call in a take, and whether it is talk.

    Parameters
    ----------
    hearing : Hearing
        The starter model.
    second_look : SecondLook
        What says which events are kept.
    one : Take
        The take.

    Returns
    -------
    list of Lesson
        One for each event that is surely talk, or a call.
    """
    whole = Whole.listen(hearing, one.samples)
    segments = whole.segments()
    surroundings = whole.surroundings(segments)
    found = []
    for i, region in enumerate(whole.regions(segments)):
        evidence = surroundings.evidence(i, region)
        if second_look.probability_of(evidence) < LEAST_PROBABILITY:
            continue
        span = Span(*(step / STEPS_PER_S for step in segments[i]))
        in_talk, in_calls = share_in(span, one.talk), share_in(span, one.calls)
        if in_calls > 0.5 or (in_talk > 0.5 and in_calls < 0.1):
            found.append(Lesson(in_calls <= 0.5, talk_evidence(evidence, region)))
    return found


def fit(learnt: Sequence[Lesson]) -> Talk:
    """Learn to tell talk from calls.

    Parameters
    ----------
    learnt : sequence of Lesson
        Lessons of both sorts.

    Returns
    -------
    Talk
        A regularised logistic regression.

    Raises
    ------
    InputError
        If there are none of one sort.
    """
    is_talk = np.array([one.is_talk for one in learnt], bool)
    counts = {"talk": int(is_talk.sum()), "calls": int((~is_talk).sum())}
    if not all(counts.values()):
        raise InputError(
            f"{counts['talk']} events of talk and {counts['calls']} calls were found: make more"
            " takes"
        )
    return learn(
        Talk,
        np.array([one.evidence for one in learnt]),
        is_talk.tolist(),
        regularised=_REGULARISED,
        lessons=counts,
    )
