"""Listen to invented people and animals, learn to tell their sounds apart, and write that down."""

from __future__ import annotations

import logging
from pathlib import Path

import numpy as np
from sklearn.linear_model import LogisticRegression
from sklearn.preprocessing import StandardScaler

from calltag.arrays import DoubleArray
from calltag.errors import InputError
from calltag.files import check_place
from calltag.learn.hearing import Hearing
from calltag.learn.invented_talk.takes import SORTS, Take, take
from calltag.learn.second_look import LEAST_PROBABILITY, SecondLook
from calltag.learn.starter.calibrate import hear, share_in
from calltag.learn.surroundings import EVIDENCE
from calltag.learn.talk import Talk, talk_model

log = logging.getLogger(__name__)

TAKES = 160
"""Takes of each sort; of animals alone, which differ more, twice as many."""

_REGULARISED = 0.1  # of 0.003, 0.01, 0.03, 0.1 and 0.3 as good as any, for people who exist


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
    place = talk_model(model)
    check_place(place)
    hearing, second_look = Hearing(model), SecondLook.read(model.with_suffix(".npz"))
    rows: dict[bool, list[DoubleArray]] = {True: [], False: []}
    for i in range(takes):
        rng = np.random.default_rng([seed, i])
        for sort in (*SORTS, "animals"):
            for is_talk, evidence in events(hearing, second_look, take(rng, sort)):
                rows[is_talk].append(evidence)
        if i % 20 == 19:
            log.info(
                "%d takes: %d events of talk, %d calls", i + 1, len(rows[True]), len(rows[False])
            )
    talk = fit(rows[True], rows[False])
    talk.write(place)
    return talk


def events(hearing: Hearing, second_look: SecondLook, one: Take) -> list[tuple[bool, DoubleArray]]:
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
    list of tuple of bool and np.ndarray
        For each event that is surely one of both: True for talk; its evidence.
    """
    heard = hear(hearing, one.samples)
    found = []
    for span, evidence in zip(heard.finds, heard.evidence, strict=True):
        if second_look.probability_of(evidence) < LEAST_PROBABILITY:
            continue
        in_talk, in_calls = share_in(span, one.talk), share_in(span, one.calls)
        if in_talk > 0.5 and in_calls < 0.1:
            found.append((True, evidence))
        elif in_calls > 0.5 and in_talk < 0.3:
            found.append((False, evidence))
    return found


def fit(talk: list[DoubleArray], calls: list[DoubleArray]) -> Talk:
    """Learn to tell talk from calls.

    Parameters
    ----------
    talk, calls : list of np.ndarray, shape (len(EVIDENCE),)
        Evidence of events of either sort.

    Returns
    -------
    Talk
        A regularised logistic regression.

    Raises
    ------
    InputError
        If there are none of one sort.
    """
    if not talk or not calls:
        raise InputError(
            f"{len(talk)} events of talk and {len(calls)} calls were found: make more takes"
        )
    evidence = np.array([*talk, *calls])
    scaler = StandardScaler().fit(evidence)
    judge = LogisticRegression(C=_REGULARISED, max_iter=900).fit(
        scaler.transform(evidence), np.arange(len(evidence)) < len(talk)
    )
    return Talk(
        evidence=EVIDENCE,
        usual=tuple(scaler.mean_.tolist()),
        spread=tuple(scaler.scale_.tolist()),
        weight=tuple(judge.coef_[0].tolist()),
        usual_odds=float(judge.intercept_[0]),
        lessons={"talk": len(talk), "calls": len(calls)},
    )
