"""Edit lists, read back by OpenTimelineIO's CMX 3600 reader and column by column."""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import opentimelineio as otio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from otio_cmx3600_adapter import cmx_3600

from calltag.edit.formats import WriteOptions, edl
from calltag.edit.markers import TakeMarkers, from_log, place
from calltag.edit.retime import conform
from calltag.errors import InputError
from calltag.media.timing.timecode import Rate, parse_timecode
from calltag.records.found import TakeLog
from calltag.records.marker import Marker

from ..conftest import RATES, make_call, make_sound, make_take

OPTIONS = WriteOptions()


def marked_take(rate: Rate, path="pit/A003.mov", calls=None, **changes) -> TakeMarkers:
    calls = calls or tuple(make_call(0.317 + 3.7 * i, 0.9 + 3.7 * i) for i in range(15))
    return from_log(TakeLog(take=make_take(path, rate, **changes), calls=calls))


def read(path: Path, fps: Fraction) -> list[otio.schema.Clip]:
    """Clips of the first track as the reader finds them; every event is checked on the way."""
    text = path.read_bytes().decode("ascii")
    timeline = cmx_3600.read_from_string(text, rate=float(fps))
    return list(timeline.tracks[0].find_clips())


def event_lines(path: Path) -> list[str]:
    return [line for line in path.read_text().splitlines() if line[:1].isdigit()]


@pytest.mark.parametrize("start", ["10:00:00:00", "00:00:59:20", "23:00:00:00"])
@pytest.mark.parametrize("rate", RATES, ids=str)
def test_every_frame_is_read_back(tmp_path, rate, start):
    label = start[:8] + (";" if rate.drop else ":") + start[9:]
    marked = marked_take(rate, start_tc=label)
    path, _ = edl.write([marked], tmp_path / "calls.edl", OPTIONS)
    clips = read(path, rate.fps)
    expected = place(marked)
    assert len(clips) == len(expected) == 15
    first_frame = parse_timecode(label, rate.fps)[0]
    for clip, (_, first, end) in zip(clips, expected, strict=True):
        span = clip.source_range
        assert span.start_time.rate == float(rate.fps)
        assert (span.start_time.value, span.end_time_exclusive().value) == (
            first_frame + first,
            first_frame + end,
        )


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_columns(tmp_path, rate):
    """The positions are those of the reader's own writer, and common practice."""
    path, _ = edl.write([marked_take(rate)], tmp_path / "calls.edl", OPTIONS)
    lines = path.read_bytes().decode("ascii").split("\r\n")
    assert lines[0] == "TITLE: calls"
    assert lines[1] == ("FCM: DROP FRAME" if rate.drop else "FCM: NON-DROP FRAME")
    mark = ";" if rate.drop else ":"
    times = re.compile(rf"\d\d:\d\d:\d\d{mark}\d\d")
    for number, line in enumerate(event_lines(path), 1):
        assert len(line) == 76
        assert line[0:3] == f"{number:03d}"
        assert line[5:13] == "A003    "
        assert line[14:19] == "AA/V "
        assert line[20:28] == "C       "
        for start in (29, 41, 53, 65):
            assert times.fullmatch(line[start : start + 11])
            assert line[start - 1] == " "
    assert all(len(line) <= 125 for line in lines)


def test_record_times_are_butted(tmp_path):
    marked = marked_take(RATES[4])
    path, _ = edl.write([marked], tmp_path / "calls.edl", OPTIONS)
    expected = 107892  # 01:00:00;00 at 29.97 drop-frame, SMPTE ST 12-1
    for line, (_, first, end) in zip(event_lines(path), place(marked), strict=True):
        assert parse_timecode(line[53:64], RATES[4].fps)[0] == expected
        expected += end - first
        assert parse_timecode(line[65:76], RATES[4].fps)[0] == expected


def test_record_start_is_an_option(tmp_path):
    options = WriteOptions(record_start="10:00:00:00", title="dawn, day 2")
    path, _ = edl.write([marked_take(RATES[4])], tmp_path / "calls.edl", options)
    assert event_lines(path)[0][53:64] == "10:00:00;00"
    assert path.read_text().startswith("TITLE: dawn, day 2\n")


def test_notes_tell_the_call(tmp_path):
    marked = marked_take(RATES[2], calls=(make_call(1, 2, "Röhrichtflöter: \nruf–ruf"),))
    path, _ = edl.write([marked], tmp_path / "calls.edl", OPTIONS)
    notes = [line for line in path.read_text().splitlines() if line.startswith("*")]
    assert notes == [
        "* FROM CLIP NAME: A003.mov",
        "* MARKER: Rohrichtfloter: ruf-ruf",
        "* NOTE: 90 % sure, 14 dB above background, 180-2210 Hz, -31 dBFS",
    ]


def test_the_name_of_a_clip_is_whole_however_long(tmp_path):
    name = f"{'reed' * 50}.mov"
    one = TakeMarkers(take=make_take(name), markers=(Marker(start_s=1, end_s=2, name="rasp"),))
    path, _ = edl.write([one], tmp_path / "calls.edl", OPTIONS)
    timeline = cmx_3600.read_from_string(path.read_text(), rate=25)
    assert {clip.name for clip in timeline.find_clips()} == {name}


def test_long_titles_and_notes_are_cut(tmp_path):
    marker = Marker(start_s=1, end_s=2, name="boom " * 60)
    one = TakeMarkers(take=make_take(), markers=(marker,))
    options = WriteOptions(title="first light " * 10)
    path, _ = edl.write([one], tmp_path / "calls.edl", options)
    title, *lines = path.read_text().splitlines()
    assert title.startswith("TITLE: first light first light")
    assert len(title) <= len("TITLE: ") + 60
    (note,) = (line for line in lines if line.startswith("* MARKER: boom boom"))
    assert len(note) <= len("* ") + 120


@settings(max_examples=60)
@given(st.text(max_size=300), st.text(max_size=300))
def test_no_text_breaks_a_list(name, comment):
    marker = Marker(start_s=1, end_s=2, name=name, comment=comment)
    marked = [TakeMarkers(take=make_take(), markers=(marker, marker))]
    events = [
        edl.Event(source=one, first=first, end=end, notes=(f"MARKER: {m.name}", m.comment))
        for one in marked
        for m, first, end in place(one)
    ]
    reels = edl.name_reels([make_take()])
    text = edl._list_text(events, RATES[2], reels, name, "01:00:00:00")
    text.encode("ascii")
    timeline = cmx_3600.read_from_string(text, rate=25)
    assert [len(track) for track in timeline.tracks] == [2, 2, 2]
    starts = ("TITLE:", "FCM:", "0", "*")
    assert all(line.startswith(starts) for line in text.split("\r\n") if line)


def test_mixed_rates_make_one_list_each(tmp_path):
    marked = [
        marked_take(rate, f"pit/{i}.mov") for i, rate in enumerate([RATES[2], RATES[3], RATES[4]])
    ]
    paths = edl.write(marked, tmp_path / "calls.edl", OPTIONS)
    assert [path.name for path in paths] == [
        "calls_25.edl",
        "calls_29.97.edl",
        "calls_29.97df.edl",
        "calls.reels.csv",
    ]
    for path, one in zip(paths, marked, strict=False):
        assert len(read(path, one.clock.rate.fps)) == 15


@pytest.mark.parametrize(
    ("asked", "made"), [("calls", "calls.edl"), ("dawn.EDL", "dawn.EDL"), ("a.edl", "a.edl")]
)
def test_the_suffix_that_was_asked_for_stays(tmp_path, asked, made):
    path, _ = edl.write([marked_take(RATES[2])], tmp_path / asked, OPTIONS)
    assert path.name == made


def test_a_thousand_events_make_two_lists(tmp_path):
    calls = tuple(make_call(i * 0.05, i * 0.05 + 0.04) for i in range(1000))
    paths = edl.write([marked_take(RATES[2], calls=calls)], tmp_path / "calls.edl", OPTIONS)
    assert [path.name for path in paths] == ["calls_1.edl", "calls_2.edl", "calls.reels.csv"]
    assert [len(event_lines(path)) for path in paths[:2]] == [999, 1]
    assert event_lines(paths[0])[-1].startswith("999 ")
    assert event_lines(paths[1])[0].startswith("001 ")
    assert len(read(paths[0], Fraction(25))) == 999
    assert set(edl.list_tags([RATES[2]] * 999)) == {""}


@given(st.lists(st.text(max_size=14), min_size=1, max_size=40, unique=True))
def test_reels_are_eight_characters_and_unique(names):
    takes = [make_take(f"{i}/{name}.mov") for i, name in enumerate(names)]
    reels = edl.name_reels(takes)
    assert len(set(reels.values())) == len(reels) == len({take.path for take in takes})
    assert all(re.fullmatch(r"[A-Z0-9]{1,8}", reel) for reel in reels.values())
    assert not set(reels.values()) & {"AX", "BL", "BLACK", "BARS"}


def test_reels_that_would_mean_no_tape_or_have_no_letters():
    names = ("black.mov", "ax.mov", "bars.mov", "葦.mov", "pit/葦原.mov")
    reels = edl.name_reels(map(make_take, names))
    assert list(reels.values()) == ["BLACK02", "AX02", "BARS02", "TAKE", "TAKE02"]


def test_the_table_of_reels(tmp_path):
    marked = [marked_take(RATES[2], f"{folder}/DSC_0001_reeds.mov") for folder in "ab"]
    *_, table = edl.write(marked, tmp_path / "calls.edl", OPTIONS)
    with table.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["reel"], row["take"], row["start_tc"]) for row in rows] == [
        ("DSC0001R", "a/DSC_0001_reeds.mov", "10:00:00:00"),
        ("DSC00002", "b/DSC_0001_reeds.mov", "10:00:00:00"),
    ]


@pytest.mark.parametrize(
    ("take", "track"),
    [
        (make_take(), "AA/V"),
        (make_take(channels=1), "B"),
        (make_take(channels=0, sample_rate_hz=None), "V"),
        (make_sound(), "AA"),
        (make_sound(channels=1), "A"),
    ],
)
def test_tracks(tmp_path, take, track):
    marked = from_log(TakeLog(take=take, calls=(make_call(1, 2),)))
    path, _ = edl.write([marked], tmp_path / "calls.edl", OPTIONS)
    assert event_lines(path)[0][14:19].strip() == track
    assert len(read(path, marked.clock.rate.fps)) == 1


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_a_slowed_take(tmp_path, rate):
    slowed = replace(marked_take(rate, calls=(make_call(10, 11),)), speed=Fraction(2, 5))
    path, _ = edl.write([slowed], tmp_path / "calls.edl", OPTIONS)
    (clip,) = read(path, rate.fps)
    ((_, first, end),) = place(slowed)
    start = slowed.clock.start_frame
    assert clip.source_range.start_time.value == start + first
    # The reader gives a retimed clip its length on the record side.
    assert clip.source_range.duration.value == -(-(end - first) * 5 // 2)
    (warp,) = clip.effects
    assert warp.time_scalar == pytest.approx(0.4, rel=2e-3), "the column has one decimal"
    assert event_lines(path)[0][29:40] == slowed.clock.label(first)
    assert event_lines(path)[0][41:52] == slowed.clock.label(end)


def test_a_speed_is_told_in_frames_of_the_nominal_rate(tmp_path):
    """Common practice: 30 for 29.97, so 90 frames of the take a second for 59.94 at 150 %."""
    fast = replace(marked_take(RATES[7], calls=(make_call(10, 11),)), speed=Fraction(3, 2))
    path, _ = edl.write([fast], tmp_path / "calls.edl", OPTIONS)
    lines = path.read_text().splitlines()
    assert "M2   A003           090.0                10:00:09:59" in lines
    assert "* SPEED: 150 %" in lines


def test_a_conformed_take_tells_what_it_was_filmed_at(tmp_path):
    filmed = marked_take(Rate(Fraction(100)), calls=(make_call(3, 4),))
    path, _ = edl.write([conform(filmed, RATES[2])], tmp_path / "calls.edl", OPTIONS)
    assert "* FILMED AT: 100" in path.read_text().splitlines()
    assert event_lines(path)[0][29:52] == "10:00:12:00 10:00:16:00"


@pytest.mark.parametrize(
    ("start_tc", "columns"),
    [
        ("23:59:59:00", "23:59:59:13 00:00:00:13"),
        ("23:59:58:12", "23:59:59:00 00:00:00:00"),
        ("23:59:58:11", "23:59:58:24 23:59:59:24"),
        ("23:59:59:12", "00:00:00:00 00:00:01:00"),
    ],
)
def test_midnight_goes_round_and_is_told_where_a_reader_refuses_the_list(
    tmp_path, start_tc, columns
):
    """SMPTE ST 12-1 has no 24:00:00:00; readers that take in from out find less than nothing."""
    marked = marked_take(RATES[2], start_tc=start_tc, calls=(make_call(0.5, 1.5),))
    notes: list[str] = []
    options = replace(OPTIONS, on_note=notes.append)
    path, _ = edl.write([marked], tmp_path / "calls.edl", options)
    assert event_lines(path)[0][29:52] == columns
    try:
        (clip,) = read(path, RATES[2].fps)
    except cmx_3600.EDLParseError:
        (note,) = notes
        assert note.startswith("calls.edl: timecode begins anew at midnight within an event of pit")
    else:
        assert clip.source_range.duration.value == 25
        assert notes == []
    assert bool(notes) == (columns[:11] > columns[12:])


def test_a_list_that_goes_on_past_midnight_is_told(tmp_path):
    marked = marked_take(RATES[2], calls=(make_call(1, 2), make_call(3, 4)))
    for start, told in (("23:59:57:24", False), ("23:59:58:00", True)):
        notes: list[str] = []
        options = replace(OPTIONS, record_start=start, replace=True, on_note=notes.append)
        edl.write([marked], tmp_path / "calls.edl", options)
        assert len(notes) == told
        assert all("begins at 23:59:58:00 and goes on past midnight" in note for note in notes)


def test_of_several_lists_each_that_runs_over_midnight_is_named(tmp_path):
    slow, fast = (
        marked_take(rate, path, start_tc=start, calls=(make_call(0.5, 1.5),))
        for rate, path, start in (
            (RATES[2], "pit/A003.mov", "23:59:59:00"),
            (Rate(Fraction(50)), "pit/C001.mov", "10:00:00:00"),
        )
    )
    notes: list[str] = []
    options = replace(OPTIONS, record_start="23:59:59:00", on_note=notes.append)
    edl.write([slow, fast], tmp_path / "calls.edl", options)
    assert [note[:30] for note in notes] == [
        "calls_25.edl: timecode begins ",
        "calls_25.edl: it begins at 23:",
        "calls_50.edl: it begins at 23:",
    ]


def test_a_gap_after_the_last_event_is_none_of_the_list(tmp_path):
    marked = marked_take(RATES[2])
    for gaps, told in (((0, 50), 0), ((50, 0), 1)):
        events = [edl.Event(source=marked, first=0, end=25, gap_frames=gap) for gap in gaps]
        notes: list[str] = []
        options = replace(OPTIONS, record_start="23:59:57:00", replace=True, on_note=notes.append)
        edl.write_lists(events, tmp_path / "calls.edl", options)
        assert len(notes) == told


def test_a_hundred_frames_fit_into_two_digits(tmp_path):
    marked = marked_take(Rate(Fraction(100)), calls=(make_call(0.99, 1.5),))
    path, _ = edl.write([marked], tmp_path / "calls.edl", OPTIONS)
    assert event_lines(path)[0][29:40] == "10:00:00:99"


def test_too_fast_for_two_digits(tmp_path):
    marked = marked_take(Rate(Fraction(120)), start_tc=None)
    with pytest.raises(InputError, match=r"cannot count 120 frames.*--conform"):
        edl.write([marked], tmp_path / "calls.edl", OPTIONS)
    assert list(tmp_path.iterdir()) == []


def test_a_take_that_is_too_fast_does_not_keep_the_others_out_of_the_list(tmp_path):
    fast = marked_take(Rate(Fraction(120_000, 1001)), path="pit/A004.mov", start_tc=None)
    problems = []
    options = replace(OPTIONS, on_problem=problems.append)
    path, _ = edl.write([fast, marked_take(RATES[2])], tmp_path / "calls.edl", options)
    assert len(event_lines(path)) == 15
    assert [problem.path for problem in problems] == ["pit/A004.mov"]
    assert "cannot count 119.88 frames per second" in problems[0].reason
    assert "a table with the columns take and fps" in problems[0].reason
    with pytest.raises(InputError, match="cannot count"):
        edl.write([fast], tmp_path / "fast.edl", options)


def test_sound_alone_that_counts_too_fast_cannot_be_conformed(tmp_path):
    """As the rushes do, where most were filmed at 120."""
    log = TakeLog(take=make_sound(), calls=(make_call(1, 2),))
    marked = from_log(log, rate=Rate(Fraction(120)))
    with pytest.raises(InputError, match=r"R001\.wav.*cannot count 120 frames.*with --fps$"):
        edl.write([marked], tmp_path / "calls.edl", OPTIONS)
    assert list(tmp_path.iterdir()) == []


def test_nothing_to_list(tmp_path):
    with pytest.raises(InputError, match="nothing to list"):
        edl.write([], tmp_path / "calls.edl", OPTIONS)


def test_an_existing_list_is_kept(tmp_path):
    (tmp_path / "calls.reels.csv").write_text("mine")
    with pytest.raises(InputError, match="exists already"):
        edl.write([marked_take(RATES[2])], tmp_path / "calls.edl", OPTIONS)
    assert [path.name for path in tmp_path.iterdir()] == ["calls.reels.csv"]
    edl.write([marked_take(RATES[2])], tmp_path / "calls.edl", WriteOptions(replace=True))
    assert (tmp_path / "calls.reels.csv").read_text() != "mine"
