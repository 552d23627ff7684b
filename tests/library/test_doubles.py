from __future__ import annotations

from fractions import Fraction

import pytest

from calltag.library.catalogue import Catalogue
from calltag.library.doubles import Sameness, doubles_of, kept_before
from calltag.library.find import Query, find
from calltag.library.keep import KeepOptions, heard_elsewhere, keep_calls
from calltag.library.story import Facts, Heard
from calltag.records import Alignment, Span, Take, TakeLog

from .conftest import ASHMERE, call, plain_story, shoot, wanted


def why(catalogue: Catalogue, *stories) -> list[Sameness]:
    catalogue.put((f"{i}.wav", story, 1, "") for i, story in enumerate(stories))
    kept = find(catalogue, Query(limit=None)).kept
    found = doubles_of(catalogue, [one.key for one in kept])
    counted = find(catalogue, Query(doubles=True)).total
    assert counted == len(found)
    return sorted({double.why for others in found.values() for double in others})


def test_different_calls_are_no_doubles(catalogue):
    other = plain_story(2, source_start_s=9.0, source_end_s=9.5, take_digest="take 1")
    assert why(catalogue, plain_story(1), other) == []


def test_the_same_sound_under_two_names(catalogue):
    copy = plain_story(2, sound_hash=plain_story(1).sound_hash)
    assert why(catalogue, plain_story(1), copy) == [Sameness.SOUND]


def test_the_same_call_with_other_edges(catalogue):
    again = plain_story(2, take_digest="take 1", source_start_s=4.1, source_end_s=4.7)
    assert why(catalogue, plain_story(1), again) == [Sameness.CALL]


def test_the_same_moment_from_another_camera(catalogue):
    heard = (Heard("take 2", "B001.mov", 7.0, 7.5),)
    one = plain_story(1, also_heard=heard)
    other = plain_story(2, source_start_s=7.05, source_end_s=7.5)
    assert why(catalogue, one, other) == [Sameness.MOMENT]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, [Sameness.TIMECODE]),
        ({"start_tc": "05:12:04:04"}, [Sameness.TIMECODE]),
        ({"start_tc": "05:12:04:10"}, []),
        ({"start_tc": ""}, []),
        ({"recorded": "2026-04-19T05:12:04.000Z"}, []),
        ({"label": "pit rail: rasp"}, []),
        ({"low_hz": 4000.0, "high_hz": 5000.0}, []),
        ({"low_hz": None}, [Sameness.TIMECODE]),
    ],
    ids=str,
)
def test_a_common_timecode(catalogue, changes, expected):
    one = plain_story(1, start_tc="05:12:04:00")
    other = plain_story(2, **({"start_tc": "05:12:04:00"} | changes))
    assert why(catalogue, one, other) == expected


def test_two_cameras_that_were_lined_up(catalogue, tmp_path):
    """From the log's alignments to the shown double; both cuts stay."""
    first = shoot(tmp_path / "r", "A001.wav", seed=1, time_reference=None, recorded=None)
    second = shoot(tmp_path / "r", "B001.wav", seed=2, time_reference=None, recorded=None)
    heard_at = [call(4.0)], [call(2.01, snr_db=9.0)]
    logs = [
        TakeLog(take=shot.take, calls=tuple(calls))
        for shot, calls in zip((first, second), heard_at, strict=True)
    ]
    lined_up = Alignment(
        take_a="A001.wav", take_b="B001.wav", offset_s=2.0, drift_ppm=0, confidence=1, overlap_s=6
    )
    elsewhere = heard_elsewhere(logs, [lined_up])
    calls = [
        wanted(shot, one, also_heard=elsewhere[shot.take.path, one.span])
        for shot, (one,) in zip((first, second), heard_at, strict=True)
    ]
    report = keep_calls(catalogue, calls, KeepOptions())
    assert len(report.kept) == 2
    keys = [kept.key for kept in report.kept]
    found = doubles_of(catalogue, keys)
    assert [found[key][0].key for key in keys] == keys[::-1]
    assert {double.why for others in found.values() for double in others} == {Sameness.MOMENT}


def test_a_call_that_is_kept_already_is_known(catalogue, shot):
    one = wanted(shot, call(3.0))
    first = keep_calls(catalogue, [one, one], KeepOptions())
    assert (len(first.kept), len(first.known)) == (1, 1)
    later = wanted(shot, call(3.1, end_s=3.6))
    assert keep_calls(catalogue, [later], KeepOptions()).known[0][1] == first.kept[0]
    assert kept_before(catalogue, shot.take.digest, Span(5.0, 5.5)) == []
    assert catalogue.count() == 1


def test_replacing_leaves_one(catalogue, shot):
    first = KeepOptions(facts=ASHMERE)
    (before,) = keep_calls(catalogue, [wanted(shot, call(3.0))], first).kept
    named = call(3.0, "marsh hooter: duet", by_hand=True)
    later = Facts(behaviour="two together", place="Ashmere, causeway")
    options = KeepOptions(replace=True, handles_s=0.5, facts=later)
    (after,) = keep_calls(catalogue, [wanted(shot, named)], options).kept
    assert not before.file.exists()
    assert after.file.is_file()
    assert [kept.story.label for kept in catalogue.all_kept()] == ["marsh hooter: duet"]
    told = (after.story.behaviour, after.story.place, after.story.recordist)
    assert told == ("two together", "Ashmere, causeway", "A. Keeper")


def test_a_take_that_cannot_be_read_does_not_stop_the_others(catalogue, shot):
    gone = Take(
        path="gone.mov", rushes=shot.take.rushes, digest="g", size_bytes=1, duration_s=9,
        fps=Fraction(25), sample_rate_hz=48_000, channels=2,
    )  # fmt: skip
    lost = wanted(type(shot)(gone, shot.samples), call(2.0))
    report = keep_calls(catalogue, [lost, lost, wanted(shot, call(3.0))], KeepOptions())
    assert [problem.path for problem in report.problems] == ["gone.mov"]
    assert len(report.kept) == 1
