"""Recordings over several files: told by what the files state, and by nothing less.

Labels and lengths are those of SMPTE ST 12-1: 29.97 drop-frame keeps to the clock, 23.976 counts a
day that is 86.4 s longer; time references are samples since midnight (EBU Tech 3285).
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from calltag.media.joins import agreeing, joins, with_joins
from calltag.records.alignment import Alignment
from calltag.records.take import Take

NTSC = Fraction(1000, 1001)
FIRST = Take(
    path="wide/ASH_B_0012.MOV",
    rushes="/rushes",
    digest="12",
    size_bytes=1,
    duration_s=480.0,
    fps=Fraction(25),
    start_tc="05:12:00:00",
    recorded="2026-04-18T04:12:00Z",
    sample_rate_hz=48_000,
    channels=2,
    width=1920,
    height=1080,
)
SECOND = replace(
    FIRST,
    path="wide/ASH_B_0013.MOV",
    digest="13",
    start_tc="05:20:00:00",
    recorded="2026-04-18T04:20:00Z",
)
THIRD = replace(
    FIRST,
    path="wide/ASH_B_0014.MOV",
    digest="14",
    start_tc="05:28:00:00",
    recorded="2026-04-18T04:28:00Z",
    duration_s=61.5,
)
NO_PICTURE = {"fps": None, "start_tc": None, "width": 0, "height": 0}
SOUND = replace(FIRST, path="rec/R001.WAV", time_reference=18_720 * 48_000, **NO_PICTURE)
MORE_SOUND = replace(SECOND, path="rec/R002.WAV", time_reference=19_200 * 48_000, **NO_PICTURE)


def found(*takes: Take) -> list[tuple[str, str, float]]:
    return [(one.take_a[-8:-4], one.take_b[-8:-4], one.offset_s) for one in joins(takes)]


def test_files_that_go_on_in_one_another_are_joined_in_any_order() -> None:
    assert found(THIRD, FIRST, SECOND) == [("0012", "0013", 480.0), ("0013", "0014", 480.0)]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({}, {"start_tc": "05:20:00:01"}),
        ({}, {"recorded": "2026-04-18T04:20:01Z"}),
        ({"duration_s": 480.2, "picture_s": 480.0}, {}),
        ({"start_tc": "23:58:00:00"}, {"start_tc": "00:06:00:00"}),
        (
            {"fps": 30 * NTSC, "start_tc": "05:12:00;02", "duration_s": 8 * 1798 * 1.001 / 30},
            {"fps": 30 * NTSC, "start_tc": "05:20:00;00"},
        ),
        (
            {"fps": 24 * NTSC, "start_tc": "23:53:00:12"},
            {"fps": 24 * NTSC, "start_tc": "00:01:00:00"},
        ),
    ],
)
def test_to_a_frame_by_each_clock_and_over_midnight(first, second) -> None:
    (pair,) = joins([replace(FIRST, **first), replace(SECOND, **second)])
    assert pair.offset_s == pytest.approx(480, abs=0.06)


@pytest.mark.parametrize(
    "changes",
    [
        {"start_tc": "05:20:00:03"},
        {"start_tc": "05:19:59:20"},
        {"start_tc": None},
        {"path": "long/ASH_B_0013.MOV"},
        {"path": "wide/ASH_A_0013.MOV"},
        {"rushes": "/other"},
        {"fps": Fraction(50)},
        {"channels": 4},
        {"sample_rate_hz": 44_100},
        {"width": 3840, "height": 2160},
        {"variable_rate": True},
        {"recorded": None},
        {"recorded": "2026-04-18"},
        {"recorded": "2026-04-18T04:20Z"},
        {"recorded": "2026-04-19T04:20:00Z"},
        {"duration_s": 0.0, "start_tc": "05:12:00:00"},
    ],
)
def test_what_is_no_join(changes) -> None:
    assert found(FIRST, replace(SECOND, **changes)) == []


def test_timecode_that_runs_only_while_the_camera_does_joins_nothing() -> None:
    """Each take begins where the one before ended; the dates tell that hours lie between."""
    assert found(FIRST, replace(SECOND, recorded="2026-04-18T04:20:09Z")) == []
    assert found(FIRST, replace(SECOND, recorded="2026-04-18T07:51:40Z")) == []


def test_dates_to_the_minute_do_not_tell_whether_the_camera_stood_still() -> None:
    dates = "2026-04-18T05:12+01:00", "2026-04-18T05:20+01:00"
    camera = zip((FIRST, SECOND), dates, strict=True)
    assert found(*(replace(take, recorded=date) for take, date in camera)) == []
    recorder = zip((SOUND, MORE_SOUND), (dates[0], "2026-04-18T05:19+01:00"), strict=True)
    assert len(joins([replace(take, recorded=date) for take, date in recorder])) == 1


def test_a_file_that_begins_while_the_sound_still_runs_is_another_cameras() -> None:
    """Picture and sound seldom end together; a picture that was lost may end long before."""
    first = replace(FIRST, picture_s=300.0)
    other = replace(SECOND, start_tc="05:18:00:00", recorded="2026-04-18T04:18:00Z")
    assert found(first, other) == []
    assert found(first, SECOND) == [("0012", "0013", 480.0)]


@pytest.mark.parametrize("recorded", ["2026-04-18T04:20:00Z", None])
def test_samples_since_midnight_join_with_dates_and_without(recorded) -> None:
    (pair,) = joins([SOUND, replace(MORE_SOUND, recorded=recorded)])
    assert (pair.take_a, pair.offset_s, pair.overlap_s) == ("rec/R001.WAV", 480.0, 0.0)
    later = replace(MORE_SOUND, time_reference=19_201 * 48_000, recorded=recorded)
    assert found(SOUND, later) == []
    assert found(SOUND, replace(MORE_SOUND, recorded="2026-04-19T04:20:00Z")) == []


def test_a_recorder_that_begins_at_the_same_time_every_day_goes_on_in_the_same_days_file() -> None:
    days = [
        replace(one, path=one.path.replace("R00", f"R{day}0"), recorded=f"2026-04-{day}")
        for day in (18, 19)
        for one in (SOUND, MORE_SOUND)
    ]
    assert found(*days) == [("1801", "1802", 480.0), ("1901", "1902", 480.0)]
    before, after = 86_000 * 48_000, 80 * 48_000
    midnight = [
        replace(SOUND, time_reference=before, recorded="2026-04-18"),
        replace(MORE_SOUND, time_reference=after, recorded="2026-04-19"),
    ]
    assert len(joins(midnight)) == 1


def test_where_two_files_would_do_none_is_chosen() -> None:
    twin = replace(SECOND, path="wide/ASH_B_0113.MOV", digest="113")
    assert found(FIRST, SECOND, twin) == []
    copies = [replace(one, path=one.path.replace("wide", "spare")) for one in (FIRST, SECOND)]
    assert len(joins([FIRST, SECOND, *copies])) == 2


# What follows


def heard(take_a: str, take_b: str, offset_s: float, drift_ppm: float = 0.0) -> Alignment:
    return Alignment(
        take_a=take_a,
        take_b=take_b,
        offset_s=offset_s,
        drift_ppm=drift_ppm,
        confidence=0.98,
        overlap_s=17.0,
    )


CLIP = replace(
    FIRST, path="long/ASH_A_0031.MOV", digest="31", duration_s=20.0, start_tc="01:00:00:00"
)
TAKES = [FIRST, SECOND, THIRD, CLIP]


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("drift_ppm", [0.0, 80.0])
@pytest.mark.parametrize(("begins_s", "heard_in"), [(463.0, FIRST), (477.0, SECOND)])
def test_the_other_file_lies_where_the_recording_goes_on(
    turned, drift_ppm, begins_s, heard_in
) -> None:
    """The recording's clock says `begins_s` where the clip begins; 3 or 17 s of it come before."""
    faster = 1 + drift_ppm / 1e6
    offsets = {take.path: (at_s - begins_s) / faster for at_s, take in ((0, FIRST), (480, SECOND))}
    pair = heard(CLIP.path, heard_in.path, offsets[heard_in.path], drift_ppm)
    every = with_joins([pair.turned() if turned else pair], TAKES)
    (derived,) = every[3:]
    derived = derived if derived.take_a == CLIP.path else derived.turned()
    assert {derived.take_b, heard_in.path} == {FIRST.path, SECOND.path}
    assert derived.offset_s == pytest.approx(offsets[derived.take_b], abs=1e-6)
    assert derived.drift_ppm == pytest.approx(drift_ppm, abs=1e-3)
    assert derived.confidence == 0.98
    assert derived.overlap_s == pytest.approx(3, abs=0.01)


def test_a_long_take_is_placed_in_all_files_that_it_ran_with() -> None:
    recorder = replace(CLIP, path="rec/R001.WAV", duration_s=900.0)
    every = with_joins([heard(recorder.path, SECOND.path, 400.0)], [*TAKES, recorder])
    assert {(one.take_b, one.offset_s, one.overlap_s) for one in every[3:]} == {
        (FIRST.path, -80.0, 400.0),
        (THIRD.path, 880.0, 20.0),
    }


def test_two_recordings_over_several_files_are_placed_through_one_pair() -> None:
    more = [
        replace(one, path=one.path.replace("wide/ASH_B", "rec/ASH_R"), digest=f"r{one.digest}")
        for one in (FIRST, SECOND, THIRD)
    ]
    every = with_joins([heard(FIRST.path, more[0].path, 30.0)], [*TAKES, *more])
    placed = {(one.take_a[-8:-4], one.take_b[-8:-4]): one.offset_s for one in every[5:]}
    assert placed == {
        ("0013", "0012"): -450.0,
        ("0013", "0013"): 30.0,
        ("0014", "0013"): -450.0,
        ("0014", "0014"): 30.0,
    }


def test_what_was_heard_stays_and_contradicts_a_join() -> None:
    first, second = heard(CLIP.path, FIRST.path, -463.0), heard(CLIP.path, SECOND.path, 17.02)
    every = with_joins([first, second.turned()], TAKES)
    assert every[:2] == [first, second.turned()]
    assert [(one.take_a, one.take_b) for one in every[2:]] == [
        (FIRST.path, SECOND.path),
        (SECOND.path, THIRD.path),
    ]
    elsewhere = heard(CLIP.path, SECOND.path, 12.0)
    assert [one.take_a for one in with_joins([first, elsewhere], TAKES)[2:]] == [SECOND.path]
    overlap = heard(FIRST.path, SECOND.path, 300.0)
    assert [one.take_a for one in with_joins([overlap], TAKES)[1:]] == [SECOND.path]


def test_what_was_heard_before_and_after_a_file_contradicts_the_joins_to_it() -> None:
    """Nothing was heard in the second file: nobody knows which of its two joins is wrong."""
    recorder = replace(CLIP, path="rec/R001.WAV", duration_s=2000.0)
    takes = [*TAKES, recorder]
    first = heard(recorder.path, FIRST.path, 100.0)
    for third_s, n_more in ((1060.15, 3), (1061.4, 0)):
        pairs = [first, heard(recorder.path, THIRD.path, third_s)]
        assert len(with_joins(pairs, takes)) == 2 + n_more
    wrong = heard(CLIP.path, SECOND.path, 17.0), heard(THIRD.path, CLIP.path, 5.0)
    every = with_joins([*pairs, *wrong], takes)
    assert (every[4].take_a, every[4].take_b) == (FIRST.path, SECOND.path)
    assert SECOND.path not in [one.take_a for one in every[4:]], "one take says which"
    # Of four files, those after the second: the first join is not spoken of, and stays.
    third = replace(THIRD, duration_s=480.0)
    fourth = replace(
        FIRST, path="wide/ASH_B_0015.MOV", start_tc="05:36:00:00", recorded="2026-04-18T04:36:00Z"
    )
    for fourth_s, n_joins in ((960.15, 3), (961.4, 1)):
        pairs = [
            heard(recorder.path, SECOND.path, 0.0),
            heard(recorder.path, fourth.path, fourth_s),
        ]
        every = with_joins(pairs, [FIRST, SECOND, third, fourth, recorder])
        assert sum(one.is_join for one in every) == n_joins
    itself = [heard(FIRST.path, THIRD.path, 300.0)]
    assert with_joins(itself, takes) == itself


def test_files_all_round_the_clock_are_joined_in_finite_time() -> None:
    """A recorder that states no dates, and ran from midnight to midnight."""
    hours = [
        replace(
            SOUND,
            path=f"rec/R{hour:03d}.WAV",
            time_reference=hour * 3600 * 48_000,
            duration_s=3600.0,
            recorded=None,
        )
        for hour in range(24)
    ]
    pair = heard(hours[5].path, CLIP.path, 3590.0)
    every = with_joins([pair], [*hours, CLIP])
    assert [(one.take_a, one.offset_s) for one in every if one.take_b == CLIP.path] == [
        (hours[5].path, 3590.0),
        (hours[6].path, -10.0),
    ]


def test_guesses_over_a_join_bear_each_other_out_where_they_say_the_same() -> None:
    """A clip of 20 s, the first 10 of them in the first file."""
    clip = replace(FIRST, path="long/A.MOV", digest="a", duration_s=20.0, start_tc="06:00:00:00")
    takes = [FIRST, SECOND, THIRD, clip]

    def guess(path: str, offset_s: float) -> Alignment:
        return Alignment(
            take_a=path,
            take_b=clip.path,
            offset_s=offset_s,
            drift_ppm=0.0,
            confidence=0.5,
            overlap_s=10.0,
        )

    first, second = guess(FIRST.path, 470.0), guess(SECOND.path, -10.05)
    assert agreeing([first, second], [], takes) == [(first, second)]
    turned = second.turned()
    assert agreeing([turned, first], [], takes) == [(turned, first)]
    assert agreeing([first, guess(SECOND.path, -9.8)], [], takes) == []
    assert agreeing([first, guess(THIRD.path, -490.0)], [], takes) == [], "it had ended"
    apart = [replace(guess(FIRST.path, 470.0), confidence=1.0), guess(SECOND.path, -5.0)]
    assert agreeing([first, second], apart, takes) == [], "what was heard contradicts the join"
    stood_still = replace(SECOND, recorded="2026-04-18T05:20:00Z")
    assert agreeing([first, second], [], [FIRST, stood_still, clip]) == []
