"""Calibration: how far what the model hears in an event is to be believed.

A trained network's odds are too sure of themselves on sounds unlike those it learnt from. So the
probability of each find is fitted anew, on scenes made of recordings that the network has not
heard.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from sklearn.linear_model import LogisticRegression
from sklearn.preprocessing import StandardScaler

from calltag.errors import InputError
from calltag.learn.hearing import STEPS_PER_S, Heard, Hearing
from calltag.learn.segments import EVIDENCE, evidence, find_segments
from calltag.learn.starter.scenes import Scene
from calltag.records import Span
from calltag.sound.spectrum import mel_power, power_spectrum, to_db


@dataclass(frozen=True, slots=True)
class Finds:
    """What a model found in scenes, before anything is judged.

    Attributes
    ----------
    rows : np.ndarray, shape (n_finds, len(EVIDENCE))
        Evidence of each find.
    right : np.ndarray, shape (n_finds,), bool
        Whether at least half of it is a call.
    """

    rows: npt.NDArray[np.float64]
    right: npt.NDArray[np.bool_]


def hear(hearing: Hearing, scene: Scene) -> Heard:
    """Listen to a scene."""
    return hearing.listen(to_db(mel_power(power_spectrum(scene.samples))))


def share_in(span: Span, calls: Sequence[Span]) -> float:
    """Share of a span that lies in calls."""
    inside = sum(max(0.0, min(span[1], c[1]) - max(span[0], c[0])) for c in calls)
    return inside / (span[1] - span[0])


def collect(heard: Sequence[Heard], scenes: Sequence[Scene]) -> Finds:
    """Collect the evidence of all finds in scenes, and which of them are right.

    Parameters
    ----------
    heard : sequence of Heard
        What was heard in each scene.
    scenes : sequence of Scene
        The scenes.

    Returns
    -------
    Finds
        All finds.
    """
    rows, right = [], []
    for what, scene in zip(heard, scenes, strict=True):
        for first, last in find_segments(what.call):
            rows.append(evidence(what, first, last))
            span = Span(first / STEPS_PER_S, last / STEPS_PER_S)
            right.append(share_in(span, scene.calls) >= 0.5)
    return Finds(np.array(rows), np.array(right, bool))


def fit(finds: Finds) -> dict[str, Any]:
    """Fit the probability that a find is a call.

    Parameters
    ----------
    finds : Finds
        Finds in scenes that the model was not trained on.

    Returns
    -------
    dict
        For the model's card: ``offset`` and one weight for each name in `EVIDENCE`.

    Raises
    ------
    InputError
        If the finds are all right, or all wrong, so that nothing can be fitted.
    """
    if finds.right.all() or not finds.right.any():
        raise InputError(
            f"{len(finds.right)} finds in the scenes, all alike: train longer, or make more scenes"
        )
    scaler = StandardScaler().fit(finds.rows)
    model = LogisticRegression(C=0.3, max_iter=1000).fit(scaler.transform(finds.rows), finds.right)
    weights = model.coef_[0] / scaler.scale_
    offset = float(model.intercept_[0] - weights @ scaler.mean_)
    return {"offset": offset, **dict(zip(EVIDENCE, weights.round(5).tolist(), strict=True))}
