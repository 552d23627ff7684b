"""Animals that answer each other: what is counted, and that most of their calls are told apart."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from in_turns import Counts, Turn, count, invented, measure

from calltag.learn.finding.finder import Finder
from calltag.records.span import Span

TURNS = [Turn(Span(1.0, 2.0), 0), Turn(Span(2.2, 2.6), 1)]


def test_what_is_counted() -> None:
    apart = [Span(1.1, 2.0), Span(2.2, 2.7)]
    assert count(apart, TURNS) == Counts(calls=2, own=2, finds=2, mixed=0)
    assert count([Span(1.0, 2.6)], TURNS) == Counts(calls=2, own=1, finds=1, mixed=1)
    assert count([], TURNS) == Counts(calls=2, own=0, finds=0, mixed=0)


def test_invented_animals_in_turn_are_told_apart(finder: Finder, tmp_path: Path) -> None:
    rng = np.random.default_rng(10)
    calls, noises = invented(rng, 16, 3)
    found = measure(finder, tmp_path, rng, calls, noises)
    # Before events were parted by bands, 0.44 of these calls, and 0.44 of the finds.
    assert found.own / found.calls > 0.6
    assert found.mixed / found.finds < 0.25
