from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import product

import pytest

from calltag.learn.labels.sameness import common_s, share_enough
from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.keep import KeepOptions, heard_elsewhere, keep_calls
from calltag.library.kept_file.story import Facts, Heard
from calltag.library.search.doubles import _SPANS_AGREE, Sameness, doubles_of, kept_before, pairs
from calltag.library.search.find import Query, find
from calltag.records.alignment import Alignment
from calltag.records.found import TakeLog
from calltag.records.span import Span
from calltag.records.take import Take

from ..conftest import ASHMERE, call, plain_story, shoot, wanted


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


def test_a_pair_is_told_once_by_the_ids_that_lists_have(catalogue):
    copies = [replace(plain_story(n), sound_hash="a" * 64) for n in (1, 2, 3)]
    catalogue.put((f"{n}.wav", story, 1, "") for n, story in enumerate(copies))
    kept = find(catalogue, Query(limit=None)).kept
    short = {one.key: one.short_id for one in kept}
    told = list(pairs(kept, doubles_of(catalogue, list(short))))
    assert len(told) == 3
    assert len({frozenset((one.key, double.key)) for one, double in told}) == 3
    assert all(double.short_id == short[double.key] for _, double in told)


def test_doubles_are_told_in_order_of_their_paths(catalogue):
    same = {"sound_hash": "a" * 64}
    again = plain_story(2, take_digest="take 1", source_start_s=4.1, source_end_s=4.6)
    stories = [plain_story(1, **same), again, plain_story(3, **same), plain_story(4, **same)]
    names = ("c.wav", "b.wav", "d.wav", "a.wav")
    catalogue.put((name, story, 1, "") for name, story in zip(names, stories, strict=True))
    key = {one.path: one.key for one in find(catalogue, Query(limit=None)).kept}
    told = doubles_of(catalogue, [key["c.wav"]])
    assert [(one.path, one.why) for one in told[key["c.wav"]]] == [
        ("a.wav", Sameness.SOUND),
        ("b.wav", Sameness.CALL),
        ("d.wav", Sameness.SOUND),
    ]


RAIL = {"low_hz": 4000.0, "high_hz": 6000.0}


def test_two_calls_of_one_moment_in_other_bands_are_no_doubles(catalogue):
    tick = plain_story(2, label="pit rail: tick", take_digest="take 1", **RAIL)
    elsewhere = plain_story(3, source_start_s=7.0, source_end_s=7.5, **RAIL)
    heard = (Heard("take 3", "B001.mov", 7.0, 7.5),)
    assert why(catalogue, plain_story(1, also_heard=heard), tick, elsewhere) == []


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


def test_spans_agree_in_the_catalogue_as_elsewhere(catalogue):
    """The rule stands in SQL once more, to be asked of all pairs; edges are whole eighths."""
    spans = [Span(start / 8, end / 8) for start in range(9) for end in range(start + 1, 10)]
    both = "(SELECT ? AS start_s, ? AS end_s) AS o, (SELECT ? AS start_s, ? AS end_s) AS m"
    asked = f"SELECT {_SPANS_AGREE} FROM {both}"
    for one, other in product(spans, spans):
        ((agree,),) = catalogue.read(asked, (*one, *other))
        assert agree == (common_s(one, other) > 0 and share_enough(one, other)), (one, other)


def test_two_parts_of_a_call_are_no_doubles(catalogue):
    """The recording goes on in the next file; a second camera has the call whole."""
    takes = [
        Take(path=path, rushes="/r", digest=path, size_bytes=1, duration_s=10.0)
        for path in ("B001.wav", "B002.wav", "A001.wav")
    ]
    spans = (9.2, 10.0), (0.0, 0.7), (5.2, 6.7)
    logs = [
        TakeLog(take=take, calls=(call(start_s, end_s=end_s),))
        for take, (start_s, end_s) in zip(takes, spans, strict=True)
    ]
    pairs_of_takes = [
        Alignment(
            take_a="B001.wav", take_b=path, offset_s=at_s, drift_ppm=0, confidence=1, overlap_s=6
        )
        for path, at_s in (("B002.wav", 10.0), ("A001.wav", 4.0))
    ]
    elsewhere = heard_elsewhere(logs, pairs_of_takes)
    stories = [
        replace(
            plain_story(number),
            take=one.take.path,
            take_digest=one.take.digest,
            source_start_s=one.calls[0].start_s,
            source_end_s=one.calls[0].end_s,
            also_heard=elsewhere[one.take.path, one.calls[0].span],
        )
        for number, one in enumerate(logs)
    ]
    catalogue.put([(f"c/{n}.wav", story, 1, f"{n}") for n, story in enumerate(stories)])
    keys = {one.story.take: one.key for one in find(catalogue, Query(limit=None)).kept}
    found = doubles_of(catalogue, list(keys.values()))
    whole = keys.pop("A001.wav")
    assert {key: [one.key for one in found[key]] for key in keys.values()} == {
        key: [whole] for key in keys.values()
    }


def test_a_call_that_is_kept_already_is_known(catalogue, shot):
    one = wanted(shot, call(3.0))
    first = keep_calls(catalogue, [one, one], KeepOptions())
    assert (len(first.kept), len(first.known)) == (1, 1)
    later = wanted(shot, call(3.1, end_s=3.6))
    assert keep_calls(catalogue, [later], KeepOptions()).known[0][1] == first.kept[0]
    assert kept_before(catalogue, shot.take.digest, call(5.0)) == []
    assert catalogue.count() == 1


@pytest.mark.parametrize(
    ("band", "known"),
    [
        ({"low_hz": 230.0, "high_hz": 560.0}, True),
        ({"low_hz": 150.0, "high_hz": 900.0}, True),
        ({"low_hz": float("nan"), "high_hz": float("nan")}, True),
        ({"low_hz": 700.0, "high_hz": 1400.0}, False),
    ],
    ids=str,
)
def test_a_call_whose_band_was_measured_a_little_differently_is_known(
    catalogue, keep, shot, band, known
):
    keep(wanted(shot, call(3.0)))
    report = keep_calls(catalogue, [wanted(shot, call(3.02, **band))], KeepOptions())
    assert bool(report.known) is known


CHORUS = call(0.5, "marsh hooter: chorus", end_s=2.5, low_hz=300.0, high_hz=900.0)
TICK = call(1.0, "pit rail: tick", end_s=1.3, **RAIL)


def labels(catalogue: Catalogue) -> list[str]:
    assert all(kept.file.is_file() for kept in catalogue.all_kept())
    return sorted(kept.story.label for kept in catalogue.all_kept())


def test_a_call_in_another_band_at_the_same_time_is_kept_too(catalogue, shot):
    both = [wanted(shot, CHORUS), wanted(shot, TICK)]
    report = keep_calls(catalogue, both, KeepOptions())
    assert (len(report.kept), report.known) == (2, [])
    assert doubles_of(catalogue, [kept.key for kept in report.kept]) == {}
    assert len(keep_calls(catalogue, both, KeepOptions()).known) == 2
    loud = KeepOptions(replace=True, handles_s=0.5, facts=Facts(behaviour="two together"))
    keep_calls(catalogue, both[:1], loud)
    (tick,) = keep_calls(catalogue, both[1:], KeepOptions(replace=True, handles_s=0.6)).kept
    assert tick.story.behaviour == ""
    assert labels(catalogue) == ["marsh hooter: chorus", "pit rail: tick"]


LOW_TICK = replace(TICK, low_hz=350.0, high_hz=800.0)


@pytest.mark.parametrize(
    "runs",
    [[[CHORUS, LOW_TICK]], [[LOW_TICK, CHORUS]], [[CHORUS], [LOW_TICK]], [[LOW_TICK], [CHORUS]]],
    ids=["together", "short first", "apart", "apart, short first"],
)
def test_a_short_call_in_a_long_one_and_the_long_one_do_not_replace_each_other(
    catalogue, shot, runs
):
    """In one band; each, cut anew, takes the place of its own cut alone."""
    for handles_s in (0.4, 0.5, 0.6):
        for calls in runs:
            options = KeepOptions(replace=True, handles_s=handles_s)
            keep_calls(catalogue, [wanted(shot, one) for one in calls], options)
    assert labels(catalogue) == ["marsh hooter: chorus", "pit rail: tick"]


@pytest.mark.parametrize(
    "runs", [[[CHORUS, LOW_TICK]], [[CHORUS], [LOW_TICK]]], ids=["together", "apart"]
)
def test_a_short_call_in_a_long_one_is_kept_too(catalogue, shot, runs):
    for known in (0, 2):
        reports = [
            keep_calls(catalogue, [wanted(shot, one) for one in calls], KeepOptions())
            for calls in runs
        ]
        assert sum(len(report.known) for report in reports) == known
    assert labels(catalogue) == ["marsh hooter: chorus", "pit rail: tick"]
    kept = find(catalogue, Query(limit=None)).kept
    assert doubles_of(catalogue, [one.key for one in kept]) == {}
    assert find(catalogue, Query(doubles=True)).total == 0


def test_of_two_calls_that_overlap_each_replaces_its_own_cut(catalogue, shot):
    both = [wanted(shot, call(3.0)), wanted(shot, call(3.2, "marsh hooter: duet"))]
    for handles_s in (0.4, 0.5):
        for calls in (both, both[::-1]):
            keep_calls(catalogue, calls, KeepOptions(replace=True, handles_s=handles_s))
            assert labels(catalogue) == ["marsh hooter: boom", "marsh hooter: duet"]


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
