"""OpenTimelineIO timelines, read back by the library and its own conversion of times."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import opentimelineio as otio
import pytest
from opentimelineio.opentime import RationalTime, TimeRange

from calltag.edit.formats import WriteOptions
from calltag.edit.formats import otio as writer
from calltag.edit.markers import TakeMarkers, from_log, place
from calltag.edit.retime import conform, place_played
from calltag.edit.sound_delay import advance_to_picture
from calltag.errors import InputError
from calltag.media.timing.timecode import Rate
from calltag.records.found import TakeLog
from calltag.records.marker import Marker
from calltag.records.verdict import Reason, Usable, Verdict

from ..conftest import RATES, make_call, make_sound, make_take

OPTIONS = WriteOptions()


def write(tmp_path, *marked, options=OPTIONS):
    (path,) = writer.write(marked, tmp_path / "calls.otio", options)
    return otio.adapters.read_from_file(str(path))


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_every_frame_is_read_back(tmp_path, rate):
    calls = tuple(make_call(0.317 + 3.7 * i, 0.9 + 3.7 * i) for i in range(15))
    marked = from_log(TakeLog(take=make_take(rate=rate), calls=calls))
    timeline = write(tmp_path, marked)
    (clip,) = timeline.find_clips()
    fps = float(rate.fps)
    start = otio.opentime.from_timecode("10:00:00;00" if rate.drop else "10:00:00:00", fps)
    n_frames = marked.clock.n_frames
    assert clip.available_range() == TimeRange(start, RationalTime(n_frames, fps))
    assert clip.source_range == clip.available_range()
    for marker, (_, first, end) in zip(clip.markers, place(marked), strict=True):
        assert marker.marked_range.start_time == start + RationalTime(first, fps)
        assert marker.marked_range.duration == RationalTime(end - first, fps)
        # OpenTimelineIO's own conversion from the clip to its track.
        on_track = clip.transformed_time(marker.marked_range.start_time, timeline.tracks[0])
        assert on_track == RationalTime(first, fps)
        label = marked.clock.label(first)
        assert otio.opentime.from_timecode(label, fps) == marker.marked_range.start_time


def test_tracks_and_clips(tmp_path, morning):
    timeline = write(tmp_path, *(from_log(take_log) for take_log in morning))
    assert [(track.name, track.kind, len(track)) for track in timeline.tracks] == [
        ("picture", "Video", 2),
        ("sound", "Audio", 1),
    ]
    assert timeline.name == "calls"
    assert timeline.global_start_time == RationalTime(90_000, 25)
    first = next(iter(timeline.find_clips()))
    assert first.media_reference.target_url == "file:///rushes/ashmere/pit/A003.mov"
    assert first.name == "A003.mov"
    assert first.metadata["calltag"]["take"] == "pit/A003.mov"


def test_a_timeline_counts_at_the_rate_of_its_pictures():
    marked = (from_log(TakeLog(take=take)) for take in (make_sound(), make_take(rate=RATES[6])))
    assert writer.timeline_rate(tuple(marked)) == RATES[6]


def test_what_a_marker_says(tmp_path, morning):
    verdict = Verdict(
        grade="part", usable=(Usable(30, 50, "natural sound"),), reasons=(Reason("wind"),)
    )
    calls = tuple(replace(call, snr_db=14.14, high_hz=2210.04) for call in morning[0].calls)
    marked = from_log(replace(morning[0], calls=calls), usable=verdict, noise=True)
    (clip,) = write(tmp_path, marked).find_clips()
    colors = {marker.metadata["calltag"]["kind"]: marker.color for marker in clip.markers}
    own = {name for name in dir(otio.schema.MarkerColor) if name.isupper()}
    assert set(colors.values()) <= own
    assert len(set(colors.values())) == 3
    trill = next(marker for marker in clip.markers if "trill" in marker.name)
    assert trill.comment.endswith("with wind")
    assert json.loads(otio.adapters.write_to_string(trill, "otio_json"))["metadata"] == {
        "calltag": {
            "kind": "call",
            "label": "lesser reedling: trill",
            "confidence": 0.9,
            "snr_db": 14.1,
            "level_dbfs": -31.0,
            "low_hz": 180.0,
            "high_hz": 2210.0,
            "noise": ["wind"],
            "first_frame": 38,
            "end_frame": 75,
        }
    }


def test_what_a_clip_and_its_file_say(tmp_path):
    take = make_take(rate=RATES[4])
    marked = replace(from_log(TakeLog(take=take)), speed=Fraction(2, 5), notes=("in the reeds",))
    (clip,) = write(tmp_path, marked).find_clips()
    assert clip.media_reference.name == "A003.mov"
    assert json.loads(otio.adapters.write_to_string(clip, "otio_json"))["metadata"]["calltag"] == {
        "take": "pit/A003.mov",
        "rate": "30000/1001",  # ST 12-1
        "speed": "2/5",
        "notes": ["in the reeds"],
    }


def test_what_is_not_known_of_a_call_is_left_out(tmp_path):
    call = make_call(1, 2, confidence=0.8764, snr_db=float("nan"), high_hz=float("inf"))
    (clip,) = write(tmp_path, from_log(TakeLog(take=make_take(), calls=(call,)))).find_clips()
    (marker,) = clip.markers
    facts = marker.metadata["calltag"]
    assert facts["confidence"] == 0.876
    assert not {"snr_db", "high_hz", "noise"} & set(facts)
    assert facts["low_hz"] == 180.0


def test_names_and_comments_are_one_line(tmp_path):
    marker = Marker(start_s=1, end_s=2, name="pit rail:\n tick", comment="near\r\nthe hide")
    marked = TakeMarkers(take=make_take("pit\tA003.mov"), markers=(marker,))
    timeline = write(tmp_path, marked, options=WriteOptions(title="dawn\nday 2"))
    (clip,) = timeline.find_clips()
    (made,) = clip.markers
    assert (timeline.name, clip.name) == ("dawn day 2", "pit A003.mov")
    assert (made.name, made.comment) == ("pit rail: tick", "near the hide")


@pytest.mark.parametrize("rate", RATES, ids=str)
@pytest.mark.parametrize("speed", [Fraction(2, 5), Fraction(1, 3), Fraction(7, 4)])
def test_a_slowed_take_lands_where_it_is_seen(tmp_path, rate, speed):
    calls = tuple(make_call(0.317 + 3.7 * i, 0.9 + 3.7 * i) for i in range(15))
    slowed = replace(from_log(TakeLog(take=make_take(rate=rate), calls=calls)), speed=speed)
    timeline = write(tmp_path, slowed)
    (clip,) = timeline.find_clips()
    (warp,) = clip.effects
    assert isinstance(warp, otio.schema.LinearTimeWarp)
    assert warp.time_scalar == float(speed)
    for marker, (_, first, end) in zip(clip.markers, place_played(slowed), strict=True):
        on_track = clip.transformed_time_range(marker.marked_range, timeline.tracks[0])
        assert (on_track.start_time.value, on_track.duration.value) == (first, end - first)
        source = marker.metadata["calltag"]["first_frame"]
        shown = int(first * speed)  # the frame of the take that the warp shows there
        assert shown == source if speed <= 1 else 0 <= shown - source < speed
    assert clip.duration().value == -(-slowed.clock.n_frames // speed)


def test_a_conformed_take(tmp_path):
    filmed = from_log(TakeLog(take=make_take(rate=Rate(Fraction(100))), calls=(make_call(3, 4),)))
    (clip,) = write(tmp_path, conform(filmed, RATES[2])).find_clips()
    assert clip.available_range() == TimeRange(RationalTime(900_000, 25), RationalTime(6000, 25))
    (marker,) = clip.markers
    assert marker.marked_range == TimeRange(RationalTime(900_300, 25), RationalTime(100, 25))
    assert not clip.effects
    assert clip.metadata["calltag"]["filmed_at"] == "100"


def test_moved_to_the_picture(tmp_path):
    heard = from_log(TakeLog(take=make_take(), calls=(make_call(10, 11),)))
    (clip,) = write(tmp_path, advance_to_picture(heard, 100, 20)).find_clips()
    assert clip.markers[0].marked_range.start_time == RationalTime(900_243, 25)
    assert "7.3 frames ahead of the sound" in clip.markers[0].comment


def test_past_midnight_frames_go_on(tmp_path):
    marked = from_log(TakeLog(take=make_take(start_tc="23:59:59:00"), calls=(make_call(2, 3),)))
    (clip,) = write(tmp_path, marked).find_clips()
    assert clip.markers[0].marked_range.start_time == RationalTime(86_401 * 25, 25)


def test_sound_alone(tmp_path):
    take = make_sound(time_reference=10 * 3600 * 48_000)
    marked = from_log(TakeLog(take=take, calls=(make_call(1, 2),)), rate=RATES[6])
    timeline = write(tmp_path, marked, options=WriteOptions(record_start="00:00:00:00", title="x"))
    assert (timeline.name, timeline.global_start_time) == ("x", RationalTime(0, 50))
    assert timeline.global_start_time.rate == 50
    (clip,) = timeline.find_clips()
    assert clip.markers[0].marked_range.start_time == RationalTime(36_001 * 50, 50)


def test_a_picture_has_no_more_frames_than_it_has(tmp_path):
    """An AAC track rings on for two frames after the last of 3000 pictures at 50 a second."""
    take = make_take(rate=RATES[6], picture_s=60.0, duration_s=60.03)
    calls = (make_call(59, 60.03), make_call(60.01, 60.03))
    (clip,) = write(tmp_path, from_log(TakeLog(take=take, calls=calls))).find_clips()
    whole = TimeRange(RationalTime(36_000 * 50, 50), RationalTime(3000, 50))
    assert clip.available_range() == clip.source_range == whole
    first, second = clip.markers
    assert first.marked_range.end_time_exclusive() == whole.end_time_exclusive()
    assert second.marked_range.start_time == whole.end_time_inclusive()
    assert second.marked_range.end_time_exclusive() == whole.end_time_exclusive()
    assert second.metadata["calltag"]["first_frame"] == 3001


def test_refusals(tmp_path):
    with pytest.raises(InputError, match="no take"):
        write(tmp_path)
    marked = from_log(TakeLog(take=make_take()))
    write(tmp_path, marked)
    with pytest.raises(InputError, match="exists already"):
        write(tmp_path, marked)
    with pytest.raises(InputError, match="timecode"):
        write(tmp_path, marked, options=WriteOptions(record_start="noon", replace=True))


@pytest.mark.parametrize(
    ("rushes", "address"),
    [
        ("/Volumes/Ashmere 1", "file:///Volumes/Ashmere%201/pit/A003.mov"),
        ("E:\\ashmere 1", "file:///E:/ashmere%201/pit/A003.mov"),
        ("\\\\nas\\rushes", "file://nas/rushes/pit/A003.mov"),
    ],
)
def test_a_log_of_any_system_gives_addresses_of_that_system(tmp_path, rushes, address):
    (clip,) = write(tmp_path, from_log(TakeLog(take=make_take(rushes=rushes)))).find_clips()
    assert clip.media_reference.target_url == address
