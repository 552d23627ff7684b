"""The measure of few labels, on finds whose answer is known."""

from __future__ import annotations

import few_labels
import numpy as np
import pytest

from calltag.records.span import Span

TYPES = [f"pit rail: {name}" for name in ("pipe", "tick", "churr", "squeal", "hum")]


def finds(rng: np.random.Generator, *, spread: float) -> list[few_labels.Find]:
    """Finds of five types whose measurements lie about a centre each, and some that are none."""
    centres = np.random.default_rng(0).normal(size=(len(TYPES) + 1, 24))
    return [
        few_labels.Find(
            take=f"scene {i % 8}",
            span=Span(float(i), i + 0.5),
            features=(centres[k] + spread * rng.normal(size=24)).astype(np.float32),
            label=label,
            snr_db=float(rng.choice([0.0, 10.0, 20.0])),
            call_probability=0.9,
        )
        for i in range(20)
        for k, label in enumerate([*TYPES, few_labels.FALSE])
    ]


@pytest.mark.parametrize("n_labels", [5, 15])
def test_types_that_lie_apart_are_learnt_and_strangers_are_left_alone(rng, n_labels):
    figures = few_labels.trial(
        finds(rng, spread=0.2), finds(rng, spread=0.2), TYPES[:3], n_labels, rng
    ).figures
    assert figures["macro_f1"] > 0.95
    assert figures["taught_named_rightly"] > 0.9
    assert figures["strangers_named"] < 0.1
    assert figures["strangers_named_at_recall"] < 0.1
    assert figures["strangers_named_at_mean_recall"] < 0.1


def test_in_the_same_scenes_those_that_were_labelled_are_not_judged(rng):
    taught = finds(rng, spread=0.2)
    trial = few_labels.trial(taught, taught, TYPES[:3], 5, rng)
    of_types = [find for find in taught if find.label in TYPES[:3]]
    assert len(trial.confidence) == len(of_types) - 3 * 5


def test_types_weigh_alike_however_many_calls_they_have():
    values = np.array([0.1, 0.2, *np.full(98, 0.9)])
    types = np.array(["tick", "tick", *["pipe"] * 98])
    assert np.quantile(values, 0.25) == 0.9  # a quarter of all calls: none of the two
    assert few_labels._quantile_of_types(values, types, 0.25) == 0.1
    assert few_labels._quantile_of_types(values, types, 0.45) == 0.2


def test_types_that_are_all_alike_are_not(rng):
    figures = few_labels.trial(
        finds(rng, spread=8.0), finds(rng, spread=8.0), TYPES[:3], 5, rng
    ).figures
    assert figures["macro_f1"] < 0.5
    # nothing tells them from the taught: at 90 % of those, as many of the strangers
    assert figures["strangers_named_at_recall"] > 0.7
