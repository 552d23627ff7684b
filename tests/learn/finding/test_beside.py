from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.finding.beside import power_beside


@pytest.mark.parametrize(
    ("length", "n_free", "known"),
    [(100, 9, False), (100, 10, True), (1000, 19, False), (1000, 20, True)],
)
def test_a_background_is_known_where_enough_is_free(length, n_free, known) -> None:
    """Ten steps, and of a long event one in fifty, however late it comes."""
    power = np.ones((9000 + length + n_free, 64), np.float32)
    of_others, own = power_beside([(0, 9000), (9000, 9000 + length)], power)
    assert of_others is None
    assert (own is not None) == known
