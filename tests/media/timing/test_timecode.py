"""Timecode against SMPTE ST 12-1's own figures and two independent libraries over whole days."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from opentimelineio import opentime
from timecode import Timecode

from calltag.errors import InputError
from calltag.media.timing.timecode import (
    Rate,
    can_drop,
    format_timecode,
    frame_to_seconds,
    frames_per_day,
    nearest_frame,
    nominal,
    parse_rate,
    parse_start,
    parse_timecode,
    rate_text,
)

NTSC = Fraction(1000, 1001)
RATES = [
    Rate(24 * NTSC),
    Rate(Fraction(24)),
    Rate(Fraction(25)),
    Rate(30 * NTSC),
    Rate(30 * NTSC, drop=True),
    Rate(Fraction(30)),
    Rate(Fraction(50)),
    Rate(60 * NTSC),
    Rate(60 * NTSC, drop=True),
    Rate(Fraction(60)),
]
any_rate = st.sampled_from(RATES)

# SMPTE ST 12-1: what drop-frame labels say, computed from the rule that it states (labels 00 and 01
# left out each minute not divisible by ten; 00 to 03 at the doubled rate).
DROP_FRAMES = {
    30: {
        1799: "00:00:59;29",
        1800: "00:01:00;02",
        3598: "00:02:00;02",
        17981: "00:09:59;29",
        17982: "00:10:00;00",
        19782: "00:11:00;02",
        107892: "01:00:00;00",
        2589407: "23:59:59;29",
    },
    60: {
        3599: "00:00:59;59",
        3600: "00:01:00;04",
        7196: "00:02:00;04",
        35963: "00:09:59;59",
        35964: "00:10:00;00",
        39564: "00:11:00;04",
        215784: "01:00:00;00",
        5178815: "23:59:59;59",
    },
}


@pytest.mark.parametrize("per_second", DROP_FRAMES)
def test_drop_frame_figures(per_second):
    rate = Rate(per_second * NTSC, drop=True)
    for frame, label in DROP_FRAMES[per_second].items():
        assert format_timecode(frame, rate) == label
        assert parse_timecode(label, rate.fps) == (frame, rate)


def busy_frames(rate: Rate) -> list[int]:
    """Frames of a whole day: around every minute, and a few hundred that fall anywhere."""
    day = frames_per_day(rate)
    per_minute = Fraction(day, 1440)
    around = [int(minute * per_minute) + i for minute in range(1440) for i in range(-2, 6)]
    return [frame for frame in [*around, *range(0, day, 9973)] if 0 <= frame < day]


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_a_whole_day_as_opentime_has_it(rate):
    """OpenTimelineIO's own conversion, given the exact rate.

    At 29.97 and 59.94 non-drop it begins anew after a day of the sun, not of labels: up to there.
    """
    frames = [frame for frame in busy_frames(rate) if rate.drop or frame < 86_400 * rate.fps]
    for frame in frames:
        label = format_timecode(frame, rate)
        there = opentime.RationalTime(frame, float(rate.fps))
        assert label == opentime.to_timecode(there, float(rate.fps), rate.drop)
        assert opentime.from_timecode(label, float(rate.fps)).value == frame
        assert parse_timecode(label, rate.fps) == (frame, rate)


@pytest.mark.parametrize("rate", [rate for rate in RATES if rate.fps <= 60], ids=str)
def test_a_day_as_the_timecode_library_has_it(rate):
    """The `timecode` package; it counts drop-frame unless told not to."""
    name = rate_text(rate.fps)
    for frame in busy_frames(rate)[::41]:
        other = Timecode(name, frames=frame + 1, force_non_drop_frame=not rate.drop)
        assert format_timecode(frame, rate) == str(other)
        assert other.frame_number == frame


@given(any_rate, st.integers(-(10**7), 10**7))
def test_labels_lead_back_and_go_round_the_clock(rate, frame):
    label = format_timecode(frame, rate)
    assert parse_timecode(label, rate.fps) == (frame % frames_per_day(rate), rate)


@given(any_rate, st.integers(0, 10**7))
def test_next_frame_next_label(rate, frame):
    # Labels rise with frames, and none is used twice: a day has as many as frames_per_day says.
    day = frames_per_day(rate)
    here, then = format_timecode(frame % day, rate), format_timecode((frame + 1) % day, rate)
    assert then > here or then.startswith("00:00:00")


def test_days_have_the_length_that_the_standard_gives_them():
    # An hour of non-drop labels at 29.97 lasts 3603.6 s; a drop-frame day is 86.4 ms short.
    ndf, df = Rate(30 * NTSC), Rate(30 * NTSC, drop=True)
    assert frame_to_seconds(parse_timecode("01:00:00:00", ndf.fps)[0], ndf.fps) == Fraction(
        "3603.6"
    )
    assert 86_400 - frame_to_seconds(frames_per_day(df), df.fps) == Fraction("0.0864")


def test_dropped_labels_are_all_refused_and_no_others():
    fps = 60 * NTSC
    for minute in range(60):
        for frames in range(6):
            label = f"07:{minute:02d}:00;{frames:02d}"
            if minute % 10 and frames < 4:
                with pytest.raises(InputError, match="leaves this label out"):
                    parse_timecode(label, fps)
            else:
                assert format_timecode(parse_timecode(label, fps)[0], Rate(fps, True)) == label


@pytest.mark.parametrize(
    ("label", "fps", "reason"),
    [
        ("00:01:00;00", 30 * NTSC, "begins at 00:01:00;02"),
        ("10:00:00:25", Fraction(25), "from 00 to 24"),
        ("10:00:00:024", Fraction(25), "from 00 to 24"),
        ("10:00:00:120", Fraction(120), "from 000 to 119"),
        ("10:00:00:1", Fraction(25), "from 00 to 24"),
        ("24:00:00:00", Fraction(25), "no such time of day"),
        ("10:60:00:00", Fraction(25), "no such time of day"),
        ("10:00:60:00", Fraction(25), "no such time of day"),
        ("10:00:00;00", Fraction(25), "no drop-frame count"),
        ("10:00:00;00", 24 * NTSC, "no drop-frame count"),
        ("10:00:00;00", Fraction(30), "no drop-frame count"),
        ("10;00;00;00", 30 * NTSC, "write hh:mm:ss:ff"),
        ("10:00:00.00", Fraction(25), "write hh:mm:ss:ff"),
        ("10:00:00", Fraction(25), "write hh:mm:ss:ff"),
        ("-1:00:00:00", Fraction(25), "write hh:mm:ss:ff"),
        ("1:00:00:00", Fraction(25), "write hh:mm:ss:ff"),
        ("١٠:00:00:00", Fraction(25), "write hh:mm:ss:ff"),
        ("10:00:00:00:00", Fraction(25), "write hh:mm:ss:ff"),
        ("dawn", Fraction(25), "write hh:mm:ss:ff"),
        ("", Fraction(25), "write hh:mm:ss:ff"),
    ],
)
def test_impossible_labels_are_refused(label, fps, reason):
    with pytest.raises(InputError, match=reason):
        parse_timecode(label, fps)


def test_few_digits_where_a_rate_allows_them():
    assert parse_timecode("00:00:01:07", Fraction(120))[0] == 127
    assert parse_timecode("00:00:01:7", Fraction(10))[0] == 17
    # SMPTE ST 12-1: the field of frames has a digit of tens and one of units, at any rate.
    assert format_timecode(17, Rate(Fraction(10))) == "00:00:01:07"
    # Frames of a second at 100 count from 00 to 99.
    assert format_timecode(103, Rate(Fraction(100))) == "00:00:01:03"
    assert parse_timecode("00:00:01:99", Fraction(100))[0] == 199


def test_spaces_around_a_label_say_nothing():
    assert parse_timecode(" 10:00:00:03\n", Fraction(25))[0] == 900_003


@pytest.mark.parametrize(
    ("label", "rate", "frame"),
    [
        # An hour of labels at 30 counts 108 000; drop-frame leaves out 2 * 54 of them.
        ("01:00:00:00", Rate(30 * NTSC, drop=True), 107_892),
        ("01:00:00;00", Rate(30 * NTSC, drop=True), 107_892),
        ("01:00:00;00", Rate(30 * NTSC), 108_000),
        (" 01:00:00;12 ", Rate(Fraction(25)), 90_012),
    ],
)
def test_a_timeline_begins_in_its_own_count_however_it_is_written(label, rate, frame):
    assert parse_start(label, rate) == frame


@pytest.mark.parametrize("label", ["", "dawn", "25:00:00:00", "01:00:00"])
def test_a_timeline_begins_at_no_impossible_label(label):
    with pytest.raises(InputError, match=f"timecode '{label}'"):
        parse_start(label, Rate(Fraction(25)))


@given(st.fractions(Fraction(1, 2), 1000))
def test_a_second_counts_the_nearest_whole_number_of_labels(fps):
    assert abs(nominal(fps) - fps) <= Fraction(1, 2)


@given(st.text(max_size=14), any_rate)
def test_garbage_is_refused_or_leads_back(text, rate):
    try:
        frame, read = parse_timecode(text, rate.fps)
    except InputError:
        return
    assert format_timecode(frame, read) == text.strip()


@pytest.mark.parametrize("fps", [24 * NTSC, Fraction(25), Fraction(30), Fraction(50)])
def test_no_drop_frame_where_there_is_none(fps):
    assert not can_drop(fps)
    with pytest.raises(InputError, match="drop-frame"):
        format_timecode(0, Rate(fps, drop=True))


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("23.976", Rate(24 * NTSC)),
        ("23.98", Rate(24 * NTSC)),
        ("25", Rate(Fraction(25))),
        ("29.97", Rate(30 * NTSC)),
        ("29.97 DF", Rate(30 * NTSC, drop=True)),
        ("29.97ndf", Rate(30 * NTSC)),
        ("30000/1001", Rate(30 * NTSC)),
        ("59.94df", Rate(60 * NTSC, drop=True)),
        ("18", Rate(Fraction(18))),
        ("0.5", Rate(Fraction(1, 2))),
        ("1000", Rate(Fraction(1000))),
    ],
)
def test_rates_as_written(text, rate):
    assert parse_rate(text) == rate


@pytest.mark.parametrize(
    "text", ["", "fast", "0", "-25", "25/0", "nan", "inf", "25df", "24df", "1001"]
)
def test_no_such_rate(text):
    with pytest.raises(InputError, match="frame rate"):
        parse_rate(text)


@given(any_rate, st.integers(0, 6_000_000))
def test_a_float_made_from_a_frame_finds_it(rate, frame):
    seconds = frame_to_seconds(frame, rate.fps)
    for time in (seconds, float(seconds)):
        assert nearest_frame(time, rate.fps) == frame


@given(any_rate, st.floats(0, 90_000))
@example(Rate(Fraction(30), drop=False), 0.15)
def test_frames_hold_their_time(rate, seconds):
    frame = Fraction(seconds) * rate.fps // 1
    assert frame_to_seconds(frame, rate.fps) <= seconds < frame_to_seconds(frame + 1, rate.fps)
    exact = frame_to_seconds(nearest_frame(Fraction(seconds), rate.fps), rate.fps)
    assert abs(exact - Fraction(seconds)) <= Fraction(1, 2) / rate.fps
    # A float such as 0.15 lies a little off what it means: a millionth of a frame is allowed.
    nearest = frame_to_seconds(nearest_frame(seconds, rate.fps), rate.fps)
    assert abs(nearest - Fraction(seconds)) <= (Fraction(1, 2) + Fraction(1, 10**6)) / rate.fps


def test_a_time_between_two_frames_by_hand():
    # 0.15 s is frame 4.5 at 30 a second; as a float it lies a little below. 0.14999 s is 4.4997.
    assert nearest_frame(0.15, Fraction(30)) == 5
    assert nearest_frame(Fraction(3, 20), Fraction(30)) == 5
    assert nearest_frame(0.14999, Fraction(30)) == 4


# Samples per frame at 48 kHz, arithmetic on ST 12-1's rates; the last two figures are the known
# lengths of five frames.
@pytest.mark.parametrize(
    ("rate", "samples"),
    [
        ("23.976", 2002),
        ("24", 2000),
        ("25", 1920),
        ("29.97", Fraction(8008, 5)),
        ("30", 1600),
        ("50", 960),
        ("59.94", Fraction(4004, 5)),
        ("60", 800),
    ],
)
def test_samples_per_frame(rate, samples):
    assert 48_000 * frame_to_seconds(1, parse_rate(rate).fps) == samples


def test_counts_and_names():
    assert [nominal(rate.fps) for rate in RATES] == [24, 24, 25, 30, 30, 30, 50, 60, 60, 60]
    assert nominal(Fraction(2, 5)) == 1  # a picture every two and a half seconds
    assert str(Rate(30 * NTSC, drop=True)) == "29.97 drop-frame"
    assert [rate_text(fps) for fps in (24 * NTSC, Fraction(100), 60 * NTSC)] == [
        "23.976",
        "100",
        "59.94",
    ]
