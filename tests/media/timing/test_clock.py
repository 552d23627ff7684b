"""Where a take's timecode begins, against the figures that EBU Tech 3285's time reference has."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from fractions import Fraction

import pytest

from calltag.media.timing.clock import (
    DEFAULT_RATE,
    apart_s,
    clocks_apart_s,
    common_rate,
    dates_apart_s,
    day_s,
    take_clock,
    time_of_day_s,
)
from calltag.media.timing.timecode import Rate
from calltag.media.timing.when import first_sample
from calltag.records.take import Take

NTSC = Fraction(1000, 1001)
FILMED = Take(
    path="a.mov",
    rushes="/rushes",
    digest="d",
    size_bytes=1,
    duration_s=10.0,
    fps=Fraction(25),
    start_tc="10:00:00:00",
    sample_rate_hz=48_000,
    channels=1,
    width=64,
    height=36,
)
SOUND = replace(FILMED, path="a.wav", fps=None, start_tc=None, width=0, height=0)


def test_start_timecode():
    clock = take_clock(FILMED)
    assert (clock.start_frame, clock.n_frames, clock.notes) == (900_000, 250, ())
    assert clock.label(3) == "10:00:00:03"


def test_drop_frame_is_taken_from_the_label():
    clock = take_clock(replace(FILMED, fps=30 * NTSC, start_tc="00:00:59;29"))
    assert clock.rate == Rate(30 * NTSC, drop=True)
    assert clock.label(1) == "00:01:00;02"


# Samples since midnight of 10:00:00:00, from ST 12-1's exact rates and EBU Tech 3285's definition;
# the last needs more than 32 bits.
@pytest.mark.parametrize(
    ("rate", "rate_hz", "time_reference", "label"),
    [
        (Rate(Fraction(25)), 48_000, 1_728_000_000, "10:00:00:00"),
        (Rate(30 * NTSC, drop=True), 48_000, 1_727_998_272, "10:00:00;00"),
        (Rate(30 * NTSC), 48_000, 1_729_728_000, "10:00:00:00"),
        (Rate(Fraction(25)), 96_000, (1 << 32) + 197_832_704, "13:00:00:00"),
    ],
)
def test_time_reference(rate, rate_hz, time_reference, label):
    take = replace(SOUND, sample_rate_hz=rate_hz, time_reference=time_reference)
    assert take_clock(take, rate).label(0) == label


def test_without_either_it_begins_at_zero():
    assert take_clock(replace(FILMED, start_tc=None)).label(0) == "00:00:00:00"
    assert take_clock(SOUND).label(0) == "00:00:00:00"


def test_timecode_goes_before_time_reference():
    assert (
        take_clock(replace(SOUND, start_tc="02:00:00:00", time_reference=1)).start_frame == 180_000
    )


def test_midnight_is_passed():
    clock = take_clock(replace(FILMED, start_tc="23:59:59:00"))
    assert clock.label(25) == "00:00:00:00"


@pytest.mark.parametrize("label", ["10:00:00:30", "10:00:00;00", "garbage"])
def test_an_impossible_start_is_told_and_left_out(label):
    clock = take_clock(replace(FILMED, start_tc=label))
    assert clock.start_frame == 0
    assert clock.notes[0].startswith("a.mov: timecode")


def test_no_constant_rate_is_told():
    clock = take_clock(replace(FILMED, fps=Fraction(2893, 100), variable_rate=True, start_tc=None))
    assert clock.rate.fps == 30 * NTSC
    assert "no constant frame rate" in clock.notes[0]


def test_frames_of_a_span():
    clock = take_clock(FILMED)
    assert clock.frames(1.019, 1.021) == (25, 26), "nearest, and at least one frame"
    assert clock.frames(1.021, 2.0) == (26, 50), "the end is the first frame after"
    assert clock.frames(-3.0, -2.0) == (0, 1), "within the take"
    assert clock.frames(9.99, 10.3) == (249, 250)


def test_a_span_has_the_frames_of_the_times_that_a_table_shows():
    # Frames 25.4975 and 27.4975 as measured; a table shows 1.020 and 1.100 s: halfway, so later.
    assert take_clock(FILMED).frames(1.0199, 1.0999) == (26, 28)


def test_a_take_has_a_frame_however_short_it_is():
    short = take_clock(replace(FILMED, duration_s=0.01))  # a quarter of a frame
    assert (short.n_frames, short.n_pictures) == (1, 1)
    assert short.frames(0.0, 0.01) == (0, 1)
    assert take_clock(replace(FILMED, picture_s=0.01)).n_pictures == 1


def test_a_constant_rate_is_its_own_though_no_standard_has_it():
    assert take_clock(replace(FILMED, fps=Fraction(18), start_tc=None)).rate == Rate(Fraction(18))


def test_sound_that_goes_on_after_the_picture():
    clock = take_clock(replace(FILMED, duration_s=10.02, picture_s=10.0))
    assert (clock.n_frames, clock.n_pictures) == (251, 250)
    assert clock.frames(9, 10.02) == (225, 250)  # what begins in the picture ends with it
    assert clock.frames(10.0, 10.02) == (250, 251)  # what does not is heard alone
    assert take_clock(replace(FILMED, picture_s=10.0, duration_s=9.9)).n_pictures == 248
    assert take_clock(FILMED).n_pictures == 250
    assert take_clock(SOUND).n_pictures == 0
    assert take_clock(SOUND).frames(9.5, 10.5) == (238, 250)


def test_the_rate_of_the_rushes():
    fast = replace(FILMED, fps=Fraction(50), start_tc=None)
    assert common_rate([SOUND, FILMED, fast, fast]) == Rate(Fraction(50))
    assert common_rate([SOUND]) == DEFAULT_RATE == Rate(Fraction(25))
    drop = replace(FILMED, fps=30 * NTSC, start_tc="00:00:00;00")
    assert common_rate([drop]).drop


@pytest.mark.parametrize("text", [None, "", "dawn", "5:30", "10:00:00:77"])
def test_no_time_of_day(text):
    assert time_of_day_s(replace(FILMED, start_tc=text)) is None
    stated = replace(FILMED, start_tc=text, time_reference=48_000 * 3600)
    assert time_of_day_s(stated) == 3600


@pytest.mark.parametrize("text", ["dawn", "10:00:00:77"])
def test_a_timecode_that_no_clock_shows_gives_way_to_the_time_reference(text):
    clock = take_clock(replace(FILMED, start_tc=text, time_reference=48_000 * 3600))
    assert clock.label(0) == "01:00:00:00"
    assert clock.notes[0].endswith("its timecode is counted from the file's time reference instead")
    alone = take_clock(replace(FILMED, start_tc=text))
    assert alone.start_frame == 0
    assert alone.notes[0].endswith("its timecode is counted from zero instead")


@pytest.mark.parametrize(
    ("start_tc", "fps", "seconds"),
    [
        ("18:00:00:00", Fraction(25), 64_800.0),
        ("18:00:00:12", Fraction(24), 64_800.5),
        ("18:00:00:00", Fraction(24_000, 1001), 64_864.8),  # 3.6 s an hour: SMPTE ST 12-1, non-drop
        ("18:00:00;00", Fraction(30_000, 1001), 64_799.9352),  # drop-frame keeps to the clock
    ],
)
def test_time_of_day_agrees_with_what_a_recorder_states_for_the_same_timecode(
    start_tc, fps, seconds
):
    camera = replace(FILMED, start_tc=start_tc, fps=fps)
    assert time_of_day_s(camera) == pytest.approx(seconds, abs=1e-6)
    recorder = replace(SOUND, time_reference=first_sample(camera, take_clock(camera), 48_000))
    assert time_of_day_s(recorder) == pytest.approx(seconds, abs=1 / 48_000)


@pytest.mark.parametrize(
    ("take", "seconds"),
    [
        (SOUND, 86_400.0),  # of the sun
        (replace(FILMED, start_tc="24:00:00:00"), 86_400.0),
        (FILMED, 86_400.0),
        (replace(FILMED, fps=30 * NTSC), 86_486.4),  # 1001/1000: SMPTE ST 12-1, non-drop
        (replace(FILMED, fps=30 * NTSC, start_tc="10:00:00;00"), 86_399.9136),  # 2 589 408 labels
    ],
)
def test_a_day_as_the_clock_counts_it(take, seconds):
    assert day_s(take) == pytest.approx(seconds, abs=1e-6)


@pytest.mark.parametrize(
    ("first", "second", "seconds"),
    [
        ("2026-04-18T05:10:00", "2026-04-18T05:10:03", 3),
        ("2026-04-18T05:10:00+01:00", "2026-04-18T05:10:03+02:00", -3597),
        ("2026-04-18T05:10:00+01:00", "2026-04-18T05:10:03", 3),
        ("2026-04-18T05:10:00", "2026-04-18T05:10:03+01:00", 3),
    ],
)
def test_time_zones_count_only_where_both_are_stated(first, second, seconds):
    assert apart_s(datetime.fromisoformat(first), datetime.fromisoformat(second)) == seconds


def test_how_much_later_another_take_begins_is_told_where_both_state_it():
    first = replace(FILMED, start_tc="23:59:50:00", recorded="2026-04-18T23:59:52")
    second = replace(FILMED, start_tc="00:00:10:00", recorded="2026-04-19T00:00:11")
    assert dates_apart_s(first, second) == 19
    assert clocks_apart_s(first, second) == 10 - 86_390
    day_alone = replace(SOUND, recorded="2026-04-19", time_reference=None)
    for stated, unstated in ((first, day_alone), (day_alone, first)):
        assert dates_apart_s(stated, unstated) is None
        assert clocks_apart_s(stated, unstated) is None
