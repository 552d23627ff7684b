"""Quantiles of a few values are numpy's."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.sound.quantiles import quantiles

VALUES = st.lists(st.floats(-1e6, 1e6, width=32), min_size=1, max_size=30)


@given(VALUES, st.lists(st.floats(0, 1), min_size=1, max_size=4))
def test_quantiles_are_those_of_numpy(values, shares) -> None:
    found = quantiles(np.array(values, np.float32), *shares)
    assert found == pytest.approx(np.quantile(np.array(values), shares), rel=1e-6, abs=1e-3)
