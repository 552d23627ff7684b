"""Numbers as they are stored, held to what Python's own `struct` makes of them."""

from __future__ import annotations

import math
import struct

import numpy as np
import pytest

from calltag.stored import known_or_nan, pack_features, unpack_features


@pytest.mark.parametrize("dtype", [np.float32, np.float64, ">f4"])
def test_measurements_are_little_endian_floats(dtype: str) -> None:
    features = np.array([0.0, -1.5, 1e-38, np.inf, np.nan], dtype)
    packed = pack_features(features)
    assert packed == struct.pack("<5f", 0.0, -1.5, 1e-38, math.inf, math.nan)
    read = unpack_features(packed)
    assert read.dtype == np.float32
    np.testing.assert_array_equal(read, features.astype(np.float32))
    read[0] = 1.0  # what was read is the reader's own


def test_bytes_that_are_no_measurements_are_refused() -> None:
    with pytest.raises(ValueError, match="multiple of element size"):
        unpack_features(b"12345")


def test_what_is_not_known_is_not_a_number() -> None:
    assert math.isnan(known_or_nan(None))
    assert known_or_nan(-3.5) == -3.5
