"""The measure of labels in order, on finds whose answer is known."""

from __future__ import annotations

import numpy as np
from few_labels import Find
from labels_in_order import STEPS, labelled_in_order

from calltag.records.span import Span

COUNTS = {"pit rail: pipe": 150, "pit rail: tick": 12, "pit rail: churr": 12, "pit rail: hum": 12}


def finds(rng: np.random.Generator) -> list[Find]:
    """Finds of four types, each about a centre of its own; one type is nearly all there is."""
    centres = np.random.default_rng(0).normal(size=(len(COUNTS), 24))
    labels = [label for label, n in COUNTS.items() for _ in range(n)]
    return [
        Find(
            take=f"scene {i % 8}",
            span=Span(float(i), i + 0.5),
            features=(centres[[*COUNTS].index(label)] + 0.2 * rng.normal(size=24)).astype("f4"),
            label=label,
            snr_db=10.0,
            call_probability=0.9,
        )
        for i, label in enumerate(labels)
    ]


def test_rare_types_are_heard_sooner_than_by_chance(rng):
    found = finds(rng)
    proposed = labelled_in_order(found, rng, proposed=True)
    drawn = labelled_in_order(found, rng, proposed=False)
    assert len(proposed) == len(drawn) == len(STEPS)
    assert proposed[0][1] == len(COUNTS) > drawn[0][1]
    assert proposed[1][0] > 0.95
    assert proposed[1][0] > drawn[1][0]
    assert 0 <= drawn[0][0] <= drawn[-1][0] <= 1
