"""Teaching the second look: how far what the model hears in an event is to be believed.

A trained network's odds are too sure of themselves on sounds unlike those it learnt from. So
whether a find is a call is learnt anew, on scenes made of recordings that the network has not
heard; each group of recordings is left out of a network in turn.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from sklearn.exceptions import ConvergenceWarning
from sklearn.neural_network import MLPClassifier

from calltag.errors import InputError
from calltag.learn.hearing import STEPS_PER_S, Heard, Hearing
from calltag.learn.second_look import CUT, EVIDENCE, SecondLook
from calltag.learn.starter.scenes import Scene
from calltag.learn.whole import Whole
from calltag.records import FloatArray, Span

N_NETWORKS = 6
N_HIDDEN = 8
_DECAY = 0.3
_PASSES = 60
_PACE = 0.005


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
    evidence: npt.NDArray[np.float64]


def hear(hearing: Hearing, samples: FloatArray) -> SceneHeard:
    """Listen to a scene.

    Parameters
    ----------
    hearing : Hearing
        The model.
    samples : np.ndarray, shape (n,), float32
        The scene's sound at `calltag.sound.spectrum.RATE_HZ`.

    Returns
    -------
    SceneHeard
        What it hears.
    """
    whole = Whole.listen(hearing, samples)
    segments = whole.segments()
    surroundings = whole.surroundings(segments)
    rows = [surroundings.evidence(i, region) for i, region in enumerate(whole.regions(segments))]
    return SceneHeard(
        whole.heard,
        tuple(Span(first / STEPS_PER_S, last / STEPS_PER_S) for first, last in segments),
        np.array(rows).reshape(len(rows), len(EVIDENCE)),
    )


def share_in(span: Span, calls: Sequence[Span]) -> float:
    """Share of a span that lies in calls."""
    inside = sum(max(0.0, min(span[1], c[1]) - max(span[0], c[0])) for c in calls)
    return inside / (span[1] - span[0])


def right(heard: Sequence[SceneHeard], scenes: Sequence[Scene]) -> npt.NDArray[np.bool_]:
    """Tell which finds are right: at least half of them is a call.

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
            share_in(find, scene.calls) >= 0.5
            for what, scene in zip(heard, scenes, strict=True)
            for find in what.finds
        ],
        bool,
    )


def fit(evidence: npt.NDArray[np.float64], is_right: npt.NDArray[np.bool_]) -> SecondLook:
    """Teach the second look.

    Parameters
    ----------
    evidence : np.ndarray, shape (n_finds, len(EVIDENCE))
        Of finds in scenes that the model was not trained on.
    is_right : np.ndarray, shape (n_finds,), bool
        Which of them are calls.

    Returns
    -------
    SecondLook
        Small networks that differ in how they began.

    Raises
    ------
    InputError
        If the finds are all right, or all wrong, so that nothing can be learnt.
    """
    if is_right.all() or not is_right.any():
        raise InputError(
            f"{len(is_right)} finds in the scenes, all alike: train longer, or make more scenes"
        )
    mean, scale = evidence.mean(axis=0), evidence.std(axis=0) + 1e-9
    scaled = np.clip((evidence - mean) / scale, -CUT, CUT)
    networks = []
    for seed in range(N_NETWORKS):
        network = MLPClassifier(
            N_HIDDEN,
            activation="tanh",
            alpha=_DECAY,
            learning_rate_init=_PACE,
            max_iter=_PASSES,
            random_state=seed,
        )
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ConvergenceWarning)  # stopped early on purpose
            networks.append(network.fit(scaled, is_right))
    return SecondLook(
        mean=mean,
        scale=scale,
        inward=np.stack([n.coefs_[0] for n in networks]),
        inner=np.stack([n.intercepts_[0] for n in networks]),
        outward=np.stack([n.coefs_[1][:, 0] for n in networks]),
        outer=np.array([n.intercepts_[1][0] for n in networks]),
    )
