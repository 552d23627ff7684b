"""The measure of labels in order, on finds whose answer is known."""

from __future__ import annotations

import importlib
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from calltag.records.span import Span

COUNTS = {"pit rail: pipe": 150, "pit rail: tick": 12, "pit rail: churr": 12, "pit rail: hum": 12}


@pytest.fixture
def measure(monkeypatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(Path(__file__).parent))  # as for a program that is run
    return importlib.import_module("labels_in_order")


def finds(measure: ModuleType, rng: np.random.Generator) -> list:
    """Finds of four types, each about a centre of its own; one type is nearly all there is."""
    centres = np.random.default_rng(0).normal(size=(len(COUNTS), 24))
    labels = [label for label, n in COUNTS.items() for _ in range(n)]
    return [
        measure.Find(
            take=f"scene {i % 8}",
            span=Span(float(i), i + 0.5),
            features=(centres[[*COUNTS].index(label)] + 0.2 * rng.normal(size=24)).astype("f4"),
            label=label,
            snr_db=10.0,
            call_probability=0.9,
        )
        for i, label in enumerate(labels)
    ]


def test_rare_types_are_heard_sooner_than_by_chance(measure, rng):
    found = finds(measure, rng)
    proposed = measure.labelled_in_order(found, rng, proposed=True)
    drawn = measure.labelled_in_order(found, rng, proposed=False)
    assert len(proposed) == len(drawn) == len(measure.STEPS)
    assert proposed[0][1] == len(COUNTS) > drawn[0][1]
    assert proposed[1][0] > 0.95
    assert proposed[1][0] > drawn[1][0]
    assert 0 <= drawn[0][0] <= drawn[-1][0] <= 1
