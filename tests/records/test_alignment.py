"""How two takes lie against each other."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.records.alignment import Alignment


@given(offset_s=st.floats(-1e4, 1e4), drift_ppm=st.floats(-200, 200), at_s=st.floats(-1e4, 1e4))
def test_takes_that_are_exchanged_lie_the_same(offset_s, drift_ppm, at_s) -> None:
    pair = Alignment(
        take_a="a", take_b="b", offset_s=offset_s, drift_ppm=drift_ppm, confidence=1, overlap_s=1
    )
    turned = pair.turned()
    assert (turned.take_a, turned.take_b) == ("b", "a")
    assert turned.in_b(at_s) == pytest.approx(pair.in_a(at_s), abs=1e-6)
    assert turned.in_a(at_s) == pytest.approx(pair.in_b(at_s), abs=1e-6)
