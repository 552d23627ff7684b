"""Which calls are chosen, and timelines of them read back by OpenTimelineIO."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import opentimelineio as otio
import pytest
from opentimelineio.opentime import RationalTime, TimeRange
from otio_cmx3600_adapter import cmx_3600

from calltag.edit.formats import WriteOptions
from calltag.edit.selects import choose, write_selects
from calltag.errors import InputError
from calltag.media.timing.timecode import Rate
from calltag.records.found import TakeLog

from .conftest import RATES, log_of, make_call, make_take

OPTIONS = WriteOptions()


def test_best_first():
    logs = [
        log_of("a.mov", make_call(1, 2, snr_db=5), make_call(5, 6, snr_db=25)),
        log_of("b.mov", make_call(3, 4, snr_db=15)),
    ]
    chosen = choose(logs, best=2)
    assert [(s.source.take.path, s.call.start_s) for s in chosen] == [("a.mov", 5), ("b.mov", 3)]
    assert len(choose(logs, best=10)) == 3
    assert choose(logs, best=10) == choose(reversed(logs), best=10)


def test_of_overlapping_calls_the_best():
    chosen = choose(
        [log_of("a.mov", make_call(1, 3, snr_db=5), make_call(2.9, 4, snr_db=9))], best=2
    )
    assert [s.call.start_s for s in chosen] == [2.9]
    touching = choose([log_of("a.mov", make_call(1, 3), make_call(3, 4))], best=2)
    assert len(touching) == 2


def test_a_call_of_a_take_and_of_its_copy_is_chosen_once():
    calls = (make_call(1, 3, snr_db=20), make_call(10, 11, snr_db=18))
    logs = [log_of(path, *calls, digest="same") for path in ("card/a.mov", "backup/a.mov")]
    chosen = choose([*logs, log_of("b.mov", make_call(1, 3))], best=9)
    assert [select.source.take.path for select in chosen] == ["backup/a.mov"] * 2 + ["b.mov"]


def test_noise_is_not_chosen():
    assert choose([log_of("a.mov", make_call(1, 2, "machine"))], best=9) == []


def test_handles_stay_in_the_take():
    (select,) = choose([log_of("a.mov", make_call(59, 59.6))], best=1, handles_s=1.5)
    assert (select.first, select.end) == (1438, 1500)
    assert select.length_s == Fraction(62, 25)


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_timeline(tmp_path, rate):
    logs = [log_of("a.mov", make_call(10, 11), make_call(30.5, 31, snr_db=9), rate=rate)]
    selects = choose(logs, best=2, handles_s=1.5)
    (path,) = write_selects(selects, tmp_path / "best.otio", OPTIONS, gap_s=0.5)
    timeline = otio.adapters.read_from_file(str(path))
    picture, sound = timeline.tracks
    assert (picture.kind, sound.kind) == ("Video", "Audio")
    fps = float(rate.fps)
    start = otio.opentime.from_timecode("10:00:00;00" if rate.drop else "10:00:00:00", fps)
    for track in (picture, sound):
        clips = list(track.find_clips())
        assert [clip.source_range for clip in clips] == [
            TimeRange(start + RationalTime(s.first, fps), RationalTime(s.end - s.first, fps))
            for s in selects
        ]
        assert all(clip.available_range().contains(clip.source_range) for clip in clips)
        gap = RationalTime(round(rate.fps / 2 + Fraction(1, 1000)), fps)
        assert clips[1].range_in_parent().start_time == clips[0].duration() + gap
    (marker,) = next(iter(picture.find_clips())).markers
    at = next(iter(picture.find_clips())).transformed_time(marker.marked_range.start_time, picture)
    assert at == RationalTime(selects[0].source.clock.frames(10, 11)[0] - selects[0].first, fps)
    assert not any(clip.markers for clip in sound.find_clips())


def test_sound_alone_leaves_the_picture_empty(tmp_path, morning):
    selects = choose(morning, best=9)
    (path,) = write_selects(selects, tmp_path / "best.otio", OPTIONS)
    timeline = otio.adapters.read_from_file(str(path))
    picture, sound = timeline.tracks
    assert [clip.name for clip in sound] == [
        select.source.take.path.rpartition("/")[2] for select in selects
    ]
    kinds = [type(item) for item in picture]
    assert kinds.count(otio.schema.Gap) == 1
    assert picture.duration() == sound.duration()
    assert [track.name for track in timeline.tracks] == ["picture", "sound"]


def test_a_picture_that_ends_before_the_sound(tmp_path):
    """Handles end with the picture; of a call after its end, which lies at 60 s, sound is left."""
    take = log_of(
        "a.mov", make_call(58.5, 59.5), make_call(61, 62), picture_s=60.0, duration_s=65.0
    )
    chosen = sorted(choose([take], best=2, handles_s=1), key=lambda select: select.first)
    (path,) = write_selects(chosen, tmp_path / "best.otio", OPTIONS)
    picture, sound = otio.adapters.read_from_file(str(path)).tracks
    spans = [(item.source_range.start_time.value, item.duration().value) for item in sound]
    assert spans == [(900_000 + 1438, 62), (900_000 + 1500, 75)]
    clip, gap = picture
    assert isinstance(gap, otio.schema.Gap)
    assert picture.duration() == sound.duration()
    assert clip.available_range().duration == RationalTime(1500, 25)
    assert sound[0].available_range().duration == RationalTime(1625, 25)
    assert sound[0].source_range == clip.source_range
    assert [len(item.markers) for item in (clip, *sound)] == [1, 0, 1]


def test_edit_list(tmp_path):
    logs = [log_of("a.mov", make_call(10, 11), make_call(30, 31, snr_db=9))]
    selects = choose(logs, best=2, handles_s=1)
    path, table = write_selects(selects, tmp_path / "best.edl", OPTIONS, gap_s=1)
    assert table.name == "best.reels.csv"
    timeline = cmx_3600.read_from_string(path.read_text(), rate=25)
    assert [track.name for track in timeline.tracks] == ["V", "A1", "A2"]
    for track in timeline.tracks:
        assert [(item.source_range.start_time.value, item.duration().value) for item in track] == [
            (900_225, 75),
            (0, 25),
            (900_725, 75),
        ]


@pytest.mark.parametrize(
    ("asked", "reason"),
    [
        ({"best": 0}, "choose one call or more"),
        ({"best": 1, "handles_s": -1}, "zero or more"),
        ({"best": 1, "handles_s": float("nan")}, "zero or more"),
        ({"best": 1, "handles_s": float("inf")}, "zero or more"),
    ],
)
def test_no_such_choice(morning, asked, reason):
    with pytest.raises(InputError, match=reason):
        choose(morning, **asked)


def test_refusals(tmp_path, morning):
    selects = choose(morning, best=1)
    with pytest.raises(InputError, match="no call was chosen"):
        write_selects([], tmp_path / "best.otio", OPTIONS)
    with pytest.raises(InputError, match="timeline"):
        write_selects(selects, tmp_path / "best.csv", OPTIONS)
    for gap_s in (-1, float("inf"), float("nan")):
        with pytest.raises(InputError, match="gap"):
            write_selects(selects, tmp_path / "best.otio", OPTIONS, gap_s=gap_s)
    write_selects(selects, tmp_path / "best.otio", OPTIONS)
    with pytest.raises(InputError, match="exists already"):
        write_selects(selects, tmp_path / "best.otio", OPTIONS)
    write_selects(selects, tmp_path / "best.otio", replace(OPTIONS, replace=True))


def test_an_edit_list_of_what_is_too_fast_for_one(tmp_path):
    """Selects are not conformed, so what helps is a timeline."""
    fast = make_take(rate=Rate(Fraction(120)), start_tc=None)
    chosen = choose([TakeLog(take=fast, calls=(make_call(1, 2),))], best=1)
    with pytest.raises(InputError, match=r"cannot count 120 frames.*timeline \(\.otio\)") as error:
        write_selects(chosen, tmp_path / "best.edl", OPTIONS)
    assert "--conform" not in str(error.value)
    assert list(tmp_path.iterdir()) == []
    write_selects(chosen, tmp_path / "best.otio", OPTIONS)
