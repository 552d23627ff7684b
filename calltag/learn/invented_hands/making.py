"""Listen to invented hands and animals, learn to tell their sounds apart, and write that down."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from calltag.arrays import DoubleArray
from calltag.errors import InputError
from calltag.files import check_place
from calltag.learn.finding.hands import Hands, hand_evidence
from calltag.learn.finding.second_look import LEAST_PROBABILITY, SecondLook
from calltag.learn.finding.whole import Whole
from calltag.learn.invented_hands.takes import SORTS, HandTake, take
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import STEPS_PER_S, Hearing
from calltag.learn.starter.calibrate import share_in
from calltag.learn.starter.weighing import learn
from calltag.records.span import Span
from calltag.sound.spectrum import mel_power

log = logging.getLogger(__name__)

TAKES = 160
"""Takes of each sort; of hands alone, and of animals alone, twice as many."""

_AMID_HANDS = 0.25  # a call while a hand is at work: as much as others, and much would be calls
_REGULARISED = 0.03


class HandLesson(NamedTuple):
    """An event that is learnt from.

    Attributes
    ----------
    is_hand : bool
        Whether it is handling, and no call.
    evidence : np.ndarray, shape (len(HAND_EVIDENCE),)
        What it is judged by.
    weight : float
        How much it counts.
    """

    is_hand: bool
    evidence: DoubleArray
    weight: float


def make(model: Path, *, takes: int, seed: int) -> Hands:
    """Learn what handling sounds like to a starter model, and write it beside that.

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
    Hands
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
    check_place(files.hands)
    hearing, second_look = Hearing(model), SecondLook.read(files.second_look)
    learnt: list[HandLesson] = []
    for i in range(takes):
        rng = np.random.default_rng([seed, i])
        for sort in (*SORTS, "hands", "animals"):
            learnt += lessons(hearing, second_look, take(rng, sort))
        if i % 20 == 19:
            log.info("%d takes of each sort: %d lessons", i + 1, len(learnt))
    hands = fit(learnt)
    hands.write(files.hands)
    return hands


def lessons(hearing: Hearing, second_look: SecondLook, one: HandTake) -> list[HandLesson]:
    """What might be taken for a call in a take, and whether it is handling.

    Parameters
    ----------
    hearing : Hearing
        The starter model.
    second_look : SecondLook
        What says which events are kept.
    one : HandTake
        The take.

    Returns
    -------
    list of HandLesson
        One for each event that is surely handling, or a call.
    """
    whole = Whole.listen(hearing, one.samples)
    segments = whole.segments()
    surroundings, mel = whole.surroundings(segments), mel_power(whole.power)
    found = []
    for i, region in enumerate(whole.regions(segments)):
        if second_look.probability_of(surroundings.evidence(i, region)) < LEAST_PROBABILITY:
            continue
        first, last = segments[i]
        span = Span(first / STEPS_PER_S, last / STEPS_PER_S)
        in_hands, in_calls = share_in(span, one.hands), share_in(span, one.calls)
        if in_calls <= 0.5 and (in_hands <= 0.3 or in_calls >= 0.1):
            continue
        evidence = hand_evidence(mel, whole.heard, first, last)
        amid = in_calls > 0.5 and in_hands >= 0.3
        found.append(HandLesson(in_calls <= 0.5, evidence, _AMID_HANDS if amid else 1.0))
    return found


def fit(learnt: Sequence[HandLesson]) -> Hands:
    """Learn to tell handling from calls.

    Parameters
    ----------
    learnt : sequence of HandLesson
        Lessons of both sorts.

    Returns
    -------
    Hands
        A regularised logistic regression.

    Raises
    ------
    InputError
        If there are none of one sort.
    """
    counts = {
        "hands": sum(one.is_hand for one in learnt),
        "calls": sum(not one.is_hand for one in learnt),
    }
    if not all(counts.values()):
        raise InputError(
            f"{counts['hands']} events of handling and {counts['calls']} calls were found: make"
            " more takes"
        )
    return learn(
        Hands,
        np.array([one.evidence for one in learnt]),
        [one.is_hand for one in learnt],
        [one.weight for one in learnt],
        regularised=_REGULARISED,
        lessons=counts,
    )
