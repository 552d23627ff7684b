"""Lessons in what is no call, though it sounds like one: take after take is heard and learnt from.

What is learnt, a `Course` says: from which takes, by which evidence. In a take something of that
sort sounds, or animals call, or both; which of its events are surely the one or the other is known.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, NamedTuple

import numpy as np

from calltag.arrays import DoubleArray, FloatArray
from calltag.errors import InputError
from calltag.files import check_place
from calltag.learn.finding.second_look import LEAST_PROBABILITY, SecondLook
from calltag.learn.finding.whole import Whole, WholeEvent
from calltag.learn.invented_takes.weighing import Sum, learn
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import StarterModel
from calltag.learn.starter.calibrate import share_in
from calltag.learn.starter.synth_calls import Rng
from calltag.records.span import Span

log = logging.getLogger(__name__)

TAKES = 160
"""Takes of each sort that what ships was made from."""

_CALL_SHARE = 0.5  # an event of which more is call is one
_NO_CALL_SHARE = 0.1  # and one of which so much is call is surely nothing else


class Take(NamedTuple):
    """A take to learn from.

    Attributes
    ----------
    samples : np.ndarray, shape (n,), float32
        Its sound at `calltag.sound.spectrum.RATE_HZ`.
    others : tuple of Span
        Where what is to be told from calls sounds.
    calls : tuple of Span
        Where animals call.
    """

    samples: FloatArray
    others: tuple[Span, ...]
    calls: tuple[Span, ...]


class Lesson(NamedTuple):
    """An event that is learnt from.

    Attributes
    ----------
    is_other : bool
        Whether it is what is to be told from calls, and no call.
    evidence : np.ndarray, shape (n_evidence,)
        What it is judged by.
    weight : float
        How much it counts.
    """

    is_other: bool
    evidence: DoubleArray
    weight: float


@dataclass(frozen=True, slots=True)
class Course(Generic[Sum]):
    """How something is learnt that might be taken for calls.

    Attributes
    ----------
    kind : type
        The weighted sum that shall tell it.
    name : str
        What it is called where lessons are counted.
    noun : str
        What it is called in a sentence.
    take : callable
        Makes a take of a sort.
    sorts : tuple of str
        The takes of each round; a sort that differs more may be there twice.
    evidence : callable
        Given all that was heard of a take, what says by which evidence an event is judged.
    least_share : float
        An event of which more than this is what is to be told may be a lesson in it.
    amid_weight : float
        How much a call counts that sounds amid so much of it; others count 1.
    regularised : float
        Inverse strength of the regularisation.
    """

    kind: type[Sum]
    name: str
    noun: str
    take: Callable[[Rng, str], Take]
    sorts: tuple[str, ...]
    evidence: Callable[[Whole], Callable[[WholeEvent], DoubleArray]]
    least_share: float
    amid_weight: float
    regularised: float


def make(course: Course[Sum], model: Path, place: Path, *, takes: int, seed: int) -> Sum:
    """Learn what something sounds like to a starter model, and write that.

    Parameters
    ----------
    course : Course
        What is learnt.
    model : Path
        The starter model, its second look beside it.
    place : Path
        The file to be written.
    takes : int
        Takes of each sort.
    seed : int
        Seed of everything random.

    Returns
    -------
    WeightedSum
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
    check_place(place)
    hearing, second_look = StarterModel(model), SecondLook.read(StarterFiles.of(model).second_look)
    learnt: list[Lesson] = []
    for i in range(takes):
        rng = np.random.default_rng([seed, i])
        for sort in course.sorts:
            learnt += lessons(course, hearing, second_look, course.take(rng, sort))
        if i % 20 == 19:
            log.info("%d takes of each sort: %d lessons", i + 1, len(learnt))
    made = fit(course, learnt)
    made.write(place)
    return made


def lessons(
    course: Course[Sum], hearing: StarterModel, second_look: SecondLook, take: Take
) -> list[Lesson]:
    """What might be taken for a call in a take, and whether it is one.

    Parameters
    ----------
    course : Course
        What is learnt.
    hearing : StarterModel
        The starter model.
    second_look : SecondLook
        What says which events are kept.
    take : Take
        The take.

    Returns
    -------
    list of Lesson
        One for each event that is surely a call, or surely the other.
    """
    whole = Whole.listen(hearing, take.samples)
    evidence_of = course.evidence(whole)
    found = []
    for event in whole.events():
        if second_look.probability_of(event.evidence) < LEAST_PROBABILITY:
            continue
        in_others, in_calls = share_in(event.span, take.others), share_in(event.span, take.calls)
        is_call = in_calls > _CALL_SHARE
        if is_call or (in_others > course.least_share and in_calls < _NO_CALL_SHARE):
            amid = is_call and in_others >= course.least_share
            weight = course.amid_weight if amid else 1.0
            found.append(Lesson(not is_call, evidence_of(event), weight))
    return found


def fit(course: Course[Sum], learnt: Sequence[Lesson]) -> Sum:
    """Learn to tell it from calls.

    Parameters
    ----------
    course : Course
        What is learnt.
    learnt : sequence of Lesson
        Lessons of both sorts.

    Returns
    -------
    WeightedSum
        A regularised logistic regression.

    Raises
    ------
    InputError
        If there are none of one sort.
    """
    n_others = sum(one.is_other for one in learnt)
    n_calls = len(learnt) - n_others
    if not (n_others and n_calls):
        raise InputError(
            f"{n_others} events of {course.noun} and {n_calls} calls were found: make more takes"
        )
    return learn(
        course.kind,
        np.array([one.evidence for one in learnt]),
        [one.is_other for one in learnt],
        [one.weight for one in learnt],
        regularised=course.regularised,
        lessons={course.name: n_others, "calls": n_calls},
    )
