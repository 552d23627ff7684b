"""How two takes of one moment lie against each other."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.records.alignment import Alignment


def pair(offset_s: float, drift_ppm: float) -> Alignment:
    return Alignment(
        take_a="A001.mov",
        take_b="B001.mov",
        offset_s=offset_s,
        drift_ppm=drift_ppm,
        confidence=1.0,
        overlap_s=20.0,
    )


@given(st.floats(-86_400, 86_400), st.floats(-500, 500), st.floats(-3600, 86_400))
def test_there_and_back_is_the_same_moment(offset_s: float, drift_ppm: float, at_s: float) -> None:
    both = pair(offset_s, drift_ppm)
    assert both.in_a(both.in_b(at_s)) == pytest.approx(at_s, abs=1e-6)
    assert both.in_b(offset_s) == 0.0, "that is where take B begins"


def test_a_clock_that_runs_fast_counts_more_seconds() -> None:
    """100 ppm: in 10 000 s of take A, take B counts a second more."""
    assert pair(0.0, 100.0).in_b(10_000.0) == pytest.approx(10_001.0)
    assert pair(0.0, -100.0).in_b(10_000.0) == pytest.approx(9_999.0)


@given(st.floats(-1e4, 1e4), st.floats(-200, 200), st.floats(-1e4, 1e4))
def test_takes_that_are_exchanged_lie_the_same(
    offset_s: float, drift_ppm: float, at_s: float
) -> None:
    both = pair(offset_s, drift_ppm)
    turned = both.turned()
    assert (turned.take_a, turned.take_b) == ("B001.mov", "A001.mov")
    assert turned.in_b(at_s) == pytest.approx(both.in_a(at_s), abs=1e-6)
    assert turned.in_a(at_s) == pytest.approx(both.in_b(at_s), abs=1e-6)
