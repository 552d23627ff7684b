"""What measured rates are meant to be."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calltag.media.timing.rates import STANDARD_RATES, exact_rate, is_steady, snap_rate


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


WHOLE = (12, 15, 24, 25, 30, 48, 50, 60, 96, 100, 120, 150, 180, 200, 240)


@pytest.mark.parametrize("per_second", WHOLE)
def test_a_rate_as_menus_have_it(per_second):
    assert snap_rate(Fraction(per_second)) == per_second
    near = Fraction(per_second * 1003, 1000)  # further from it than any neighbour of 1000/1001
    assert snap_rate(near) == per_second


@pytest.mark.parametrize("per_second", [15, 24, 30, 48, 60, 120, 240])
def test_a_rate_as_menus_round_it(per_second):
    # SMPTE ST 12-1: 23.98 and its like are 1000/1001 of a whole number.
    exact = Fraction(per_second * 1000, 1001)
    assert snap_rate(Fraction(f"{float(exact):.2f}")) == exact
    assert exact_rate(Fraction(f"{float(exact):.3f}")) == exact


def test_half_a_percent_is_taken_for_the_standard_and_no_more():
    assert snap_rate(Fraction("25.125")) == 25
    assert snap_rate(Fraction("25.126")) == Fraction("25.126")


@pytest.mark.parametrize(("duration_s", "explained"), [(6.0, True), (7.0, False), (0.0, False)])
def test_a_coarse_clock_explains_a_tick_at_each_end(duration_s, explained):
    # Two ticks of 1 ms are 333 parts in a million of 6 s, and 286 of 7 s.
    stated = Fraction(25) * Fraction(1_000_300, 1_000_000)
    got = exact_rate(stated, tick_s=Fraction(1, 1000), duration_s=duration_s)
    assert got == (25 if explained else stated)


def test_the_coarsest_clock_does_not_mix_up_neighbours():
    halfway = Fraction(30) * Fraction(2001, 2002)
    assert exact_rate(halfway, tick_s=Fraction(1, 10), duration_s=1.0) == halfway


@pytest.mark.parametrize(
    ("ticks_per_frame", "off", "steady"),
    [(1000, 50, True), (1000, 51, False), (1000, -51, False), (4, 2, True), (4, 3, False)],
)
def test_a_picture_may_come_a_twentieth_of_a_frame_late_or_two_ticks(ticks_per_frame, off, steady):
    ticks = [7 + ticks_per_frame * i for i in range(100)]
    ticks[60] += off
    assert is_steady(ticks, Fraction(25), Fraction(1, 25 * ticks_per_frame)) is steady
