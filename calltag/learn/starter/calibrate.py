"""Teaching the second look: how far what the model hears in an event is to be believed.

A trained network's odds are too sure of themselves on sounds unlike those it learnt from. So
whether a find is a call is learnt anew, on scenes made of recordings that the network has not
heard; each group of recordings is left out of a network in turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from sklearn.ensemble import HistGradientBoostingClassifier

from calltag.arrays import DoubleArray, FloatArray
from calltag.errors import InputError
from calltag.learn.finding.second_look import TOP_ODDS, SecondLook
from calltag.learn.finding.segments import SOUNDING_ODDS
from calltag.learn.finding.surroundings import EVIDENCE
from calltag.learn.finding.whole import Whole
from calltag.learn.labels.sameness import common_s
from calltag.learn.networks.starter_model import Heard, StarterModel
from calltag.learn.scoring.counting import RIGHT_SHARE
from calltag.learn.starter.scenes import Scene
from calltag.records.span import Span

_N_TREES = 300
_N_LEAVES = 16
_DEEPEST = 5
_PACE = 0.06
_ASKED = 0.2  # part of the evidence that each node may choose from
_FEWEST = 40  # finds in a leaf
_DECAY = 5.0


@dataclass(frozen=True, slots=True)
class SceneHeard:
    """What a model heard in a scene, before anything is judged.

    Attributes
    ----------
    heard : Heard
        Odds and description, step by step.
    finds : tuple of Span
        Its events, in order.
    evidence : np.ndarray, shape (n_finds, len(EVIDENCE))
        What speaks for and against each.
    """

    heard: Heard
    finds: tuple[Span, ...]
    evidence: DoubleArray


def hear(hearing: StarterModel, samples: FloatArray) -> SceneHeard:
    """Listen to a scene.

    Parameters
    ----------
    hearing : StarterModel
        The model.
    samples : np.ndarray, shape (n,), float32
        The scene's sound at `calltag.sound.spectrum.RATE_HZ`.

    Returns
    -------
    SceneHeard
        What it hears.
    """
    whole = Whole.listen(hearing, samples)
    events = whole.events()
    return SceneHeard(
        whole.heard,
        tuple(event.span for event in events),
        np.array([event.evidence for event in events]).reshape(-1, len(EVIDENCE)),
    )


def share_in(span: Span, calls: Sequence[Span]) -> float:
    """Share of a span that lies in calls."""
    return sum(common_s(span, call) for call in calls) / span.length_s


def right(heard: Sequence[SceneHeard], scenes: Sequence[Scene]) -> npt.NDArray[np.bool_]:
    """Tell which finds are right: `RIGHT_SHARE` of them or more is call.

    Parameters
    ----------
    heard : sequence of SceneHeard
        What was heard in each scene.
    scenes : sequence of Scene
        The scenes.

    Returns
    -------
    np.ndarray, shape (n_finds,), bool
        One for each find, in order of scene and time.
    """
    return np.array(
        [
            share_in(find, scene.calls) >= RIGHT_SHARE
            for what, scene in zip(heard, scenes, strict=True)
            for find in what.finds
        ],
        bool,
    )


def fit(evidence: DoubleArray, is_right: npt.NDArray[np.bool_]) -> SecondLook:
    """Teach the second look, by the likely ones of some finds.

    Parameters
    ----------
    evidence : np.ndarray, shape (n_finds, len(EVIDENCE))
        Of finds in scenes that the model was not trained on.
    is_right : np.ndarray, shape (n_finds,), bool
        Which of them are calls.

    Returns
    -------
    SecondLook
        Boosted trees.

    Raises
    ------
    InputError
        If the finds are all right, or all wrong, so that nothing can be learnt.
    """
    likely = evidence[:, TOP_ODDS] > SOUNDING_ODDS
    evidence, is_right = evidence[likely], is_right[likely]
    if is_right.all() or not is_right.any():
        raise InputError(
            f"{len(is_right)} finds in the scenes, all alike: train longer, or make more scenes"
        )
    boosted = HistGradientBoostingClassifier(
        max_iter=_N_TREES,
        max_leaf_nodes=_N_LEAVES,
        max_depth=_DEEPEST,
        learning_rate=_PACE,
        max_features=_ASKED,
        min_samples_leaf=_FEWEST,
        l2_regularization=_DECAY,
        early_stopping=False,
        random_state=0,
    ).fit(evidence, is_right)
    return as_second_look(boosted)


def as_second_look(boosted: HistGradientBoostingClassifier) -> SecondLook:
    """Put boosted trees into the form in which they are asked.

    Parameters
    ----------
    boosted : HistGradientBoostingClassifier
        Trained, on rows of evidence, to tell calls.

    Returns
    -------
    SecondLook
        The same trees.
    """
    trees = [tree.nodes for (tree,) in boosted._predictors]  # no public name
    roots = np.cumsum([0, *map(len, trees)])[:-1]
    nodes = np.concatenate(trees)
    first = np.repeat(roots, [len(tree) for tree in trees])
    own, leaf = np.arange(len(nodes)), nodes["is_leaf"].astype(bool)
    return SecondLook(
        roots=roots.astype(np.int32),
        asks=np.where(leaf, 0, nodes["feature_idx"]).astype(np.int16),
        limit=nodes["num_threshold"],
        left=np.where(leaf, own, first + nodes["left"]).astype(np.int32),
        right=np.where(leaf, own, first + nodes["right"]).astype(np.int32),
        odds=np.where(leaf, nodes["value"], 0.0),
        usual_odds=np.asarray(boosted._baseline_prediction, np.float64).reshape(()),
    )
