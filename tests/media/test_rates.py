"""What measured rates are meant to be."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calltag.media.rates import STANDARD_RATES, snap_rate


@pytest.mark.parametrize("fps", STANDARD_RATES)
def test_a_standard_rate_stays(fps):
    assert snap_rate(fps) == fps


@pytest.mark.parametrize("fps", STANDARD_RATES)
@given(frames=st.integers(60, 100_000))
def test_a_clock_of_milliseconds_is_seen_through(fps, frames):
    # Two seconds and more, in whole milliseconds; 59.94 and 60 are one part in a thousand apart.
    milliseconds = round(frames / fps * 1000)
    assume(milliseconds >= 2000)
    assert snap_rate(Fraction(frames * 1000, milliseconds)) == fps


def test_what_a_short_matroska_clip_states():
    # Measured with PyAV 18.1.0 on a clip of 59.94 frames per second.
    assert snap_rate(Fraction(19001, 317)) == Fraction(60000, 1001)


def test_a_rate_of_no_standard_is_left():
    assert snap_rate(Fraction(18)) == 18
    assert snap_rate(Fraction(1, 10)) == Fraction(1, 10)


@pytest.mark.parametrize("fps", [Fraction(0), Fraction(-25)])
def test_no_rate_at_all_is_refused(fps):
    with pytest.raises(ValueError, match="above zero"):
        snap_rate(fps)
