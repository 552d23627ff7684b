"""Slowed and conformed takes, against the arithmetic that an edit does by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.edit.markers import TakeMarkers, from_log, place
from calltag.edit.retime import (
    conform,
    parse_speed,
    place_played,
    played_frame,
    played_length,
)
from calltag.errors import InputError
from calltag.media.timing.timecode import Rate, parse_timecode
from calltag.records.found import TakeLog
from calltag.records.marker import Marker

from .conftest import NTSC, RATES, make_call, make_sound, make_take

frames = st.integers(0, 10**7)
slow = st.fractions(Fraction(1, 100), 1, max_denominator=1000)
fast = st.fractions(1, 100, max_denominator=1000)


@pytest.mark.parametrize(
    ("text", "speed"),
    [
        ("40%", Fraction(2, 5)),
        ("12.5 %", Fraction(1, 8)),
        ("100%", 1),
        (" 400% ", 4),
        ("10000%", 100),
    ],
)
def test_speeds_as_written(text, speed):
    assert parse_speed(text) == speed


@pytest.mark.parametrize("text", ["40", "0%", "-40%", "slow", "", "%", "nan%", "1e3%", "10000.1%"])
def test_no_such_speed(text):
    with pytest.raises(InputError, match="percentage"):
        parse_speed(text)


def shown(played: int, speed: Fraction) -> int:
    """The frame of the take that is on the screen."""
    return played * speed // 1


@given(frames, slow)
def test_slowed_there_and_back(frame, speed):
    played = played_frame(frame, speed)
    assert shown(played, speed) == frame
    assert played == 0 or shown(played - 1, speed) < frame, "where it first shows"


@given(frames, fast)
def test_faster_the_first_shown_at_or_after_it(frame, speed):
    played = played_frame(frame, speed)
    assert shown(played, speed) >= frame
    assert played == 0 or (played - 1) * speed < frame


def test_by_hand():
    # A call from 10 s to 11 s at 25 fps, slowed to 40 %, is seen from 25 to 27.5 s.
    marked = from_log(TakeLog(take=make_take(), calls=(make_call(10, 11),)))
    slowed = TakeMarkers(take=marked.take, markers=marked.markers, speed=Fraction(2, 5))
    ((_, first, end),) = place_played(slowed)
    assert (first, end) == (25 * 25, 688)
    assert played_length(slowed) == 3750


def test_the_last_frame_of_a_take_played_twice_as_fast_by_hand():
    # Of 1500 frames 0, 2 ... 1498 are shown, 750 in all: the last, 1499, is marked on the last.
    marker = Marker(start_s=59.96, end_s=60.0, name="x")
    marked = TakeMarkers(take=make_take(), markers=(marker,), speed=Fraction(2))
    ((_, first, end),) = place_played(marked)
    assert (first, end) == (749, 750)


@given(st.one_of(slow, fast), st.floats(0, 60), st.floats(0, 5))
def test_at_any_speed_a_marker_has_a_frame_and_lies_in_the_take(speed, start_s, length_s):
    marker = Marker(start_s=start_s, end_s=start_s + length_s, name="x")
    marked = TakeMarkers(take=make_take(), markers=(marker,), speed=speed)
    ((_, source_first, source_end),) = place(marked)
    ((_, first, end),) = place_played(marked)
    length = played_length(marked)
    assert length == math.ceil(1500 / speed)
    assert 0 <= first < end <= length
    # Where it first shows, unless the take is over before that.
    assert first == min(math.ceil(source_first / speed), length - 1)
    assert end == max(math.ceil(source_end / speed), first + 1)


@given(
    st.sampled_from(RATES),
    st.sampled_from([Rate(Fraction(fps)) for fps in (100, 120, 200, 240)] + [Rate(120 * NTSC)]),
    st.floats(0, 59.9),
    st.floats(0.001, 20),
)
def test_conformed_markers_stay_on_their_frame(rate, filmed, start_s, length_s):
    take = make_take(rate=filmed)
    marker = Marker(start_s=start_s, end_s=start_s + length_s, name="x")
    marked = TakeMarkers(take=take, markers=(marker,))
    played = conform(marked, rate)
    assert [p[1:] for p in place(played)] == [p[1:] for p in place(marked)]
    assert played.clock.n_frames == marked.clock.n_frames
    assert played.clock.rate == rate
    assert played.clock.label(0)[:8] == "10:00:00"
    back = conform(played, filmed)
    assert [p[1:] for p in place(back)] == [p[1:] for p in place(marked)]


def test_a_hundred_played_at_twenty_five_by_hand():
    # The call at 3 s is frame 300; at 25 a second that is 12 s.
    marked = from_log(TakeLog(take=make_take(rate=Rate(Fraction(100))), calls=(make_call(3, 3.5),)))
    played = conform(marked, Rate(Fraction(25)))
    assert (played.markers[0].start_s, played.markers[0].end_s) == (12, 14)
    assert played.take.duration_s == 240
    assert played.conformed_from == Rate(Fraction(100))


@pytest.mark.parametrize(
    ("label", "filmed", "rate", "conformed"),
    [
        ("10:00:00:62", Rate(Fraction(100)), Rate(Fraction(25)), "10:00:00:15"),
        ("10:00:00;30", Rate(60 * NTSC, True), Rate(30 * NTSC), "10:00:00;15"),
        ("10:01:00;04", Rate(60 * NTSC, True), Rate(30 * NTSC), "10:01:00;02"),
        ("10:01:00:00", Rate(Fraction(50)), Rate(30 * NTSC, True), "10:01:00;02"),
        ("10:01:00:25", Rate(Fraction(50)), Rate(30 * NTSC, True), "10:01:00;15"),
        # SMPTE ST 12-1: every tenth minute keeps its first labels.
        ("10:10:00:00", Rate(Fraction(50)), Rate(30 * NTSC, True), "10:10:00;00"),
        ("10:11:00:00", Rate(Fraction(50)), Rate(60 * NTSC, True), "10:11:00;04"),
        ("10:15:00:00", Rate(Fraction(50)), Rate(30 * NTSC, True), "10:15:00;02"),
        ("10:11:30:00", Rate(Fraction(50)), Rate(30 * NTSC, True), "10:11:30;00"),
        ("10:00:00;30", Rate(60 * NTSC, True), Rate(24 * NTSC), "10:00:00:12"),
        ("10:00:00:12", Rate(Fraction(25)), Rate(Fraction(100)), "10:00:00:48"),
        ("10:00:00:12", Rate(Fraction(25)), Rate(Fraction(120)), "10:00:00:057"),
    ],
)
def test_start_label_of_a_conformed_take(label, filmed, rate, conformed):
    played = conform(TakeMarkers(take=make_take(rate=filmed, start_tc=label), markers=()), rate)
    assert played.take.start_tc == conformed
    assert played.clock.start_frame == parse_timecode(conformed, rate.fps)[0]
    assert played.notes == ()


def test_sound_that_goes_on_after_the_picture_is_conformed_with_it():
    # 100 a second played at 25: sound of 6005 frames, pictures of 6000.
    take = make_take(rate=Rate(Fraction(100)), duration_s=60.05, picture_s=60.0)
    clock = conform(TakeMarkers(take=take, markers=()), Rate(Fraction(25))).clock
    assert (clock.n_frames, clock.n_pictures) == (6005, 6000)


def test_a_take_that_has_the_rate_already_is_left_as_it_is():
    marked = from_log(TakeLog(take=make_take(), calls=(make_call(1.01, 2),)))
    assert conform(marked, RATES[2]) is marked


def test_sound_alone_is_not_conformed():
    marked = TakeMarkers(take=make_sound(), markers=())
    assert conform(marked, Rate(Fraction(25))) is marked


def test_no_constant_rate_cannot_be_conformed():
    marked = from_log(TakeLog(take=make_take(variable_rate=True), calls=(make_call(1, 2),)))
    marked = replace(marked, notes=("filmed at first light",))
    played = conform(marked, Rate(Fraction(50)))
    assert played.markers == marked.markers
    kept, told = played.notes
    assert kept == "filmed at first light"
    assert "cannot be conformed" in told
