from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.learn.labels.sameness import ends_apart_s, in_one_band
from calltag.records.span import Span

BANDS = st.tuples(st.floats(20, 20_000), st.floats(20, 20_000)).map(sorted)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ((200, 800), (400, 1600), True),  # one octave of two
        ((200, 800), (410, 1600), False),
        ((300, 900), (4000, 6000), False),
        ((200, 8000), (1000, 1100), True),
        ((None, None), (1000, 1100), True),
        ((math.nan, 500), (1000, 1100), True),
        ((0, 2), (0.5, 2), True),
    ],
)
def test_half_of_the_narrower_band_in_octaves(one, other, same):
    assert in_one_band(*one, *other) is in_one_band(*other, *one) is same


@given(one=BANDS, other=BANDS)
def test_which_of_the_two_comes_first_does_not_matter(one, other):
    same = in_one_band(*one, *other)
    assert in_one_band(*other, *one) is same
    assert in_one_band(*one, *one)


def test_ends_lie_apart_on_either_side():
    one, inside = Span(1.0, 3.0), Span(1.5, 2.75)
    assert ends_apart_s(one, inside) == ends_apart_s(inside, one) == 0.75
