"""One call seen by several cameras: one in listings, the better sound named, markers on any."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.edit.markers import from_log
from calltag.edit.marking import MarkerSettings, mark_takes
from calltag.edit.seen_twice import (
    carry_over,
    each_call_once,
    merge_seen_twice,
    moments_elsewhere,
    name_better_sound,
)
from calltag.media.clock import common_rate, take_clock
from calltag.records.alignment import Alignment
from calltag.records.found import TakeLog
from calltag.records.take import Levels

from .conftest import make_call, make_sound, make_take


def lined_up(a: str, b: str, offset_s: float, drift_ppm: float = 0.0) -> Alignment:
    return Alignment(
        take_a=a, take_b=b, offset_s=offset_s, drift_ppm=drift_ppm, confidence=1.0, overlap_s=9.0
    )


def log_of(path: str, *calls, **changes) -> TakeLog:
    return TakeLog(take=make_take(path, **changes), calls=calls)


A_AND_B = [lined_up("a.mov", "b.mov", 20.0)]


def found(take_logs, alignments) -> list[list[tuple[str, float]]]:
    return [
        [(sighting.take_log.take.path, sighting.call.start_s) for sighting in seen.sightings]
        for seen in merge_seen_twice(take_logs, alignments)
    ]


def test_a_call_of_both_cameras_is_one_with_the_better_sound_first() -> None:
    a = log_of("a.mov", make_call(21.0, 22.0, snr_db=8), make_call(2.0, 3.0))
    b = log_of("b.mov", make_call(1.02, 2.0, snr_db=20), make_call(30.0, 30.5))
    assert found([a, b], A_AND_B) == [
        [("a.mov", 2.0)],
        [("b.mov", 1.02), ("a.mov", 21.0)],
        [("b.mov", 30.0)],
    ]
    assert merge_seen_twice([a, b], A_AND_B)[1].also_in == ("a.mov",)


def test_a_call_is_left_to_the_take_where_it_is_worth_most_with_its_picture() -> None:
    """The recorder has the better sound, and no picture."""
    camera = log_of("a.mov", make_call(25.0, 26.0, snr_db=18), make_call(2.0, 3.0))
    sound = make_sound("b.mov")
    recorder = TakeLog(take=sound, calls=(make_call(5.0, 6.0, snr_db=20), make_call(9.0, 9.5)))
    once = each_call_once([camera, recorder], A_AND_B)
    assert [[call.start_s for call in one.calls] for one in once] == [[2.0, 25.0], [9.0]]
    assert merge_seen_twice([camera, recorder], A_AND_B)[-1].best.take_log is recorder
    far_better = replace(recorder, calls=(make_call(5.0, 6.0, snr_db=60),))
    once = each_call_once([camera, far_better], A_AND_B)
    assert [[call.start_s for call in one.calls] for one in once] == [[2.0], [5.0]]


def test_a_call_that_is_cut_off_is_left_to_the_take_that_has_it_whole() -> None:
    """Cameras part a long take in several files, and a call may lie across two."""
    a = log_of("a.mov", make_call(59.3, 60.0, snr_db=20))
    b = log_of("b.mov", make_call(39.3, 40.4, snr_db=12))
    (seen,) = merge_seen_twice([a, b], A_AND_B)
    assert seen.best.take_log is b
    assert [[call.start_s for call in one.calls] for one in each_call_once([a, b], A_AND_B)] == [
        [],
        [39.3],
    ]


GOES_ON = [lined_up("b1.mov", "b2.mov", 60.0)]


@pytest.mark.parametrize(
    ("first", "second", "once"),
    [
        ((59.4, 60.01), (0.0, 0.4), True),
        ((59.4, 59.97), (0.03, 0.4), True),
        ((59.0, 59.8), (0.0, 0.4), False),
        ((59.4, 60.0), (0.2, 0.6), False),
    ],
)
def test_a_call_that_two_files_share_is_one(first, second, once) -> None:
    """A recording goes on in the next file, and the join cuts a call in two."""
    logs = [log_of("b1.mov", make_call(*first)), log_of("b2.mov", make_call(*second))]
    assert len(merge_seen_twice(logs, GOES_ON)) == (1 if once else 2)
    assert len(merge_seen_twice(logs[::-1], GOES_ON)) == (1 if once else 2)
    assert len(merge_seen_twice(logs, [])) == 2


@pytest.mark.parametrize(
    "changes", [{"low_hz": 3000, "high_hz": 6000}, {"label": "pit rail: tick", "by_hand": True}]
)
def test_two_calls_beside_a_join_stay_two(changes) -> None:
    first = log_of("b1.mov", make_call(59.4, 60.0, by_hand=True))
    second = log_of("b2.mov", replace(make_call(0.0, 0.4), **changes))
    assert len(merge_seen_twice([first, second], GOES_ON)) == 2


def test_two_files_and_a_camera_that_has_the_call_whole() -> None:
    logs = [
        log_of("a.mov", make_call(9.4, 10.4, snr_db=14)),
        log_of("b1.mov", make_call(59.4, 60.0, snr_db=14)),
        log_of("b2.mov", make_call(0.0, 0.4, snr_db=14)),
    ]
    (seen,) = merge_seen_twice(logs, [*GOES_ON, lined_up("b1.mov", "a.mov", 50.0)])
    assert (seen.best.take_log.take.path, len(seen.also_in)) == ("a.mov", 2)


def test_without_alignments_nothing_is_merged() -> None:
    logs = [log_of("a.mov", make_call(1, 2)), log_of("b.mov", make_call(1, 2))]
    assert found(logs, []) == [[("a.mov", 1)], [("b.mov", 1)]]


@pytest.mark.parametrize(
    ("better", "poorer"),
    [
        ({"snr_db": 14}, {"snr_db": 13}),
        ({"snr_db": 14}, {"snr_db": 20, "noise": ("wind",)}),
        ({"snr_db": -2}, {"snr_db": -5}),
        ({"snr_db": 1}, {"snr_db": float("nan")}),
    ],
)
def test_what_makes_the_better_sound(better, poorer) -> None:
    good, bad = make_call(21, 22, **better), make_call(1, 2, **poorer)
    for logs in (
        [log_of("a.mov", good), log_of("b.mov", bad)],
        [log_of("a.mov", make_call(21, 22, **poorer)), log_of("b.mov", make_call(1, 2, **better))],
    ):
        (seen,) = merge_seen_twice(logs, A_AND_B)
        assert seen.best.call.snr_db == better["snr_db"]


def test_a_clipped_take_has_the_poorer_sound() -> None:
    clipped = Levels(peak_dbfs=0, clipped=50, loudness_lufs=-9, floor_dbfs=-40)
    a = log_of("a.mov", make_call(21, 22, snr_db=15), levels=clipped)
    b = log_of("b.mov", make_call(1, 2, snr_db=12))
    (seen,) = merge_seen_twice([a, b], A_AND_B)
    assert seen.best.take_log.take.path == "b.mov"


@pytest.mark.parametrize(
    "changes",
    [
        {"start_s": 3.0, "end_s": 4.0},
        {"low_hz": 3000, "high_hz": 6000},
        {"label": "pit rail: tick", "by_hand": True},
        {"label": "no call"},
    ],
)
def test_different_calls_are_not_merged(changes) -> None:
    a = log_of("a.mov", make_call(21, 22, by_hand=True))
    values = {"start_s": 1.0, "end_s": 2.0} | changes
    b = log_of("b.mov", make_call(**values))
    assert len(merge_seen_twice([a, b], A_AND_B)) == 2


def test_the_better_heard_find_gives_the_type() -> None:
    a = log_of("a.mov", make_call(21, 22, "call", snr_db=4))
    b = log_of("b.mov", make_call(1, 2, "pit rail: rasp", snr_db=18))
    (seen,) = merge_seen_twice([a, b], A_AND_B)
    assert seen.best.call.label == "pit rail: rasp"


def test_short_calls_in_quick_succession_keep_their_order() -> None:
    """The second camera stands 20 m farther off, and hears each tick 58 ms later."""
    ticks = [1.0 + 0.2 * n for n in range(8)]
    a = log_of("a.mov", *(make_call(20 + t, 20.04 + t) for t in ticks))
    b = log_of("b.mov", *(make_call(t + 0.058, t + 0.098) for t in ticks))
    pairs = [[call.start_s for _, call in s.sightings] for s in merge_seen_twice([a, b], A_AND_B)]
    assert [sorted(pair) for pair in pairs] == [pytest.approx([t + 0.058, 20 + t]) for t in ticks]


def test_drift_is_followed() -> None:
    """At 200 parts in a million, half an hour is 0.36 s: more than the slack between finds."""
    a = log_of("a.mov", make_call(1900, 1900.2), duration_s=2000.0)
    b = log_of("b.mov", make_call(1800.36, 1800.56), duration_s=2000.0)
    assert len(merge_seen_twice([a, b], [lined_up("a.mov", "b.mov", 100.0, 200.0)])) == 1
    assert len(merge_seen_twice([a, b], [lined_up("a.mov", "b.mov", 100.0)])) == 2


def test_takes_lined_up_with_a_third_share_its_clock() -> None:
    logs = [
        log_of("b.mov", make_call(11, 12, snr_db=10)),
        log_of("c.mov", make_call(6, 7, snr_db=12)),
        log_of("d.mov", make_call(1, 2, snr_db=14)),
    ]
    alignments = [lined_up("a.mov", "b.mov", 5.0), lined_up("c.mov", "a.mov", -10.0),
                  lined_up("d.mov", "c.mov", -5.0)]  # fmt: skip
    assert found(logs, alignments) == [[("d.mov", 1), ("c.mov", 6), ("b.mov", 11)]]


@given(
    starts=st.lists(st.floats(0, 50), min_size=0, max_size=12),
    others=st.lists(st.floats(0, 50), min_size=0, max_size=12),
)
def test_every_find_is_in_one_call_and_a_call_has_one_find_in_each_take(starts, others) -> None:
    logs = [
        log_of("a.mov", *(make_call(s, s + 0.7) for s in starts)),
        log_of("b.mov", *(make_call(s, s + 0.7) for s in others)),
    ]
    seen = merge_seen_twice(logs, [lined_up("a.mov", "b.mov", 0.3)])
    listed = [(t.take.path, c.start_s) for one in seen for t, c in one.sightings]
    assert sorted(listed) == sorted([("a.mov", s) for s in starts] + [("b.mov", s) for s in others])
    for one in seen:
        assert len({t.take.path for t, _ in one.sightings}) == len(one.sightings)


def test_many_calls_are_merged_quickly() -> None:
    """Two hours, a call a second: comparing all with all would take minutes."""
    times = [float(t) for t in range(7000)]
    logs = [log_of(p, *(make_call(t, t + 0.4) for t in times)) for p in ("a.mov", "b.mov")]
    assert len(merge_seen_twice(logs, [lined_up("a.mov", "b.mov", 0.05)])) == 7000


# Markers on any camera


def test_a_call_is_carried_to_a_camera_that_did_not_hear_it() -> None:
    a = log_of("a.mov", make_call(21.0, 22.0), make_call(2.0, 3.0), make_call(26.0, 27.0))
    b = log_of("b.mov", make_call(6.01, 7.0))
    c = log_of("c.mov")
    carried = carry_over([a, b, c], A_AND_B)
    assert [[call.start_s for call in log.calls] for log in carried] == [
        [2.0, 21.0, 26.0],
        [1.0, 6.01],
        [],
    ]


def test_a_find_that_is_less_sure_does_not_stand_in_the_way() -> None:
    a = log_of("a.mov", make_call(21.0, 22.0))
    b = log_of("b.mov", make_call(1.0, 2.0, confidence=0.2))
    assert len(carry_over([a, b], A_AND_B)[1].calls) == 1
    _, with_carried = carry_over([a, b], A_AND_B, min_confidence=0.5)
    assert sorted(call.confidence for call in with_carried.calls) == [0.2, 0.9]


def test_a_find_that_is_too_faint_does_not_stand_in_the_way() -> None:
    a = log_of("a.mov", make_call(21.0, 22.0, snr_db=20.0))
    b = log_of("b.mov", make_call(1.0, 2.0, snr_db=3.0))
    assert len(carry_over([a, b], A_AND_B)[1].calls) == 1
    _, with_carried = carry_over([a, b], A_AND_B, min_snr_db=12.0)
    assert sorted(call.snr_db for call in with_carried.calls) == [3.0, 20.0]


def test_a_label_that_nothing_was_measured_of_is_carried_where_no_level_is_asked_for() -> None:
    a = log_of("a.mov", make_call(21.0, 22.0, snr_db=math.nan, by_hand=True))
    logs = [a, log_of("b.mov")]
    assert [call.start_s for call in carry_over(logs, A_AND_B)[1].calls] == [1.0]
    assert carry_over(logs, A_AND_B, min_snr_db=0.0)[1].calls == ()


def test_a_call_beyond_the_end_of_the_other_take_is_not_carried() -> None:
    a = log_of("a.mov", make_call(25.5, 26.5), make_call(19.5, 20.5))
    b = log_of("b.mov", duration_s=6.0)
    assert carry_over([a, b], A_AND_B)[1].calls == ()


@pytest.mark.parametrize("better", [0, 1])
def test_a_call_cut_by_a_join_is_carried_whole(better: int) -> None:
    """Its better piece alone would be a marker that ends, or begins, within the call."""
    snr_db = [20, 12] if better == 0 else [12, 20]
    b1 = log_of("b1.mov", make_call(59.3, 60.0, snr_db=snr_db[0]))
    b2 = log_of("b2.mov", make_call(0.0, 0.9, snr_db=snr_db[1]), make_call(4.0, 5.0))
    pairs = [*GOES_ON, lined_up("b1.mov", "c.mov", 10.0)]
    logs = [b1, b2, log_of("c.mov")]
    carried = carry_over(logs, pairs)
    assert [one.calls for one in carried[:2]] == [b1.calls, b2.calls]
    spans = [call.span for call in carried[2].calls]
    assert spans == [pytest.approx((49.3, 50.9)), pytest.approx((54.0, 55.0))]
    (_, _, marked) = name_better_sound([from_log(one) for one in carried], logs, pairs)
    where = ("b1.mov", "b2.mov")[better]
    assert f"better sound: {where}" in marked.markers[0].comment


def test_a_camera_that_stops_within_a_call_gets_the_piece_that_it_ran_for() -> None:
    b1 = log_of("b1.mov", make_call(59.3, 60.0, snr_db=20))
    b2 = log_of("b2.mov", make_call(0.0, 0.9, snr_db=12))
    pairs = [*GOES_ON, lined_up("b1.mov", "c.mov", 0.5)]
    *_, c = carry_over([b1, b2, log_of("c.mov", duration_s=59.8)], pairs)
    assert [call.span for call in c.calls] == [pytest.approx((58.8, 59.5))]


def test_markers_on_either_camera_say_where_the_better_sound_is() -> None:
    """At 25 frames a second and start 10:00:00:00, 21.0 s of a.mov is 10:00:21:00."""
    a = log_of("a.mov", make_call(21.0, 22.0, snr_db=20), make_call(30.0, 31.0))
    b = log_of("b.mov", make_call(1.0, 2.0, snr_db=5))
    logs = [a, b]
    marked = [from_log(one) for one in carry_over(logs, A_AND_B)]
    on_a, on_b = name_better_sound(marked, logs, A_AND_B)
    assert ["better sound" in m.comment for m in on_a.markers] == [False, False]
    assert [m.start_s for m in on_b.markers] == [1.0, 10.0]
    assert on_b.markers[0].comment.endswith("; better sound: a.mov at 10:00:21:00")
    assert on_b.markers[1].comment.endswith("; better sound: a.mov at 10:00:30:00")


def test_sound_alone_may_be_the_better_sound() -> None:
    recorder = TakeLog(take=make_sound("r.wav"), calls=(make_call(21, 22, snr_db=25),))
    camera = log_of("b.mov", make_call(1, 2, snr_db=5))
    pairs = [lined_up("r.wav", "b.mov", 20.0)]
    (marked,) = name_better_sound([from_log(camera)], [camera, recorder], pairs)
    assert "better sound: r.wav at 00:00:21:00" in marked.markers[0].comment


def test_the_better_sounds_timecode_counts_as_it_does_elsewhere() -> None:
    """At 29.97 non-drop, ten hours of samples are 36 s short of ten hours of frames."""
    recorder = TakeLog(
        take=make_sound("r.wav", time_reference=36_000 * 48_000),
        calls=(make_call(21, 22, snr_db=25),),
    )
    camera = log_of("b.mov", make_call(1, 2, snr_db=5), fps=30_000 / 1001, start_tc="10:00:00:00")
    rate = common_rate([camera.take, recorder.take])
    pairs = [lined_up("r.wav", "b.mov", 20.0)]
    settings = MarkerSettings(rate=rate)
    marked = name_better_sound(mark_takes([camera], settings), [camera, recorder], pairs)
    clock = take_clock(recorder.take, rate)
    expected = clock.label(clock.frames(21, 22)[0])
    assert expected.startswith("09:59:4")
    assert marked[0].markers[0].comment.endswith(f"better sound: r.wav at {expected}")


def test_a_copy_of_a_take_lists_no_call_again() -> None:
    a = log_of("card/a.mov", make_call(21.0, 22.0), digest="same")
    copy = log_of("backup/a.mov", make_call(21.0, 22.0), digest="same")
    b = log_of("b.mov", make_call(1.0, 2.0), make_call(9.0, 9.5))
    pairs = [lined_up("card/a.mov", "b.mov", 20.0)]
    (seen, alone) = merge_seen_twice([a, copy, b], pairs)
    assert {seen.best.take_log.take.path, *seen.also_in} == {"card/a.mov", "backup/a.mov", "b.mov"}
    assert alone.best.call.start_s == 9.0


def test_a_call_is_carried_where_a_copy_of_its_take_comes_first() -> None:
    """The backup is not lined up by itself, but it is the same take."""
    card = log_of("card/a.mov", make_call(21.0, 22.0), digest="same")
    backup = log_of("backup/a.mov", make_call(21.0, 22.0), digest="same")
    b = log_of("b.mov", make_call(6.0, 7.0, "pit rail: tick"))
    logs = [backup, card, b]
    carried = carry_over(logs, [lined_up("card/a.mov", "b.mov", 20.0)])
    assert [[call.start_s for call in log.calls] for log in carried] == [
        [21.0, 26.0],
        [21.0, 26.0],
        [1.0, 6.0],
    ]
    marked = [from_log(one) for one in carried]
    named = name_better_sound(marked, logs, [lined_up("card/a.mov", "b.mov", 20.0)])
    on_copies, on_b = [one.markers for one in named[:2]], named[2].markers
    for markers in on_copies:
        assert "better sound" not in markers[0].comment
        assert markers[1].comment.endswith("; better sound: b.mov at 10:00:06:00")
    assert on_b[0].comment.endswith("; better sound: backup/a.mov at 10:00:21:00")
    assert "better sound" not in on_b[1].comment


def test_nothing_is_carried_from_a_take_to_its_copy() -> None:
    """What is labelled as no call on one of them stays so there."""
    card = log_of("card/a.mov", make_call(21.0, 22.0, "no call"), digest="same")
    backup = log_of("backup/a.mov", make_call(21.0, 22.0), digest="same")
    for pairs in ([], [lined_up("card/a.mov", "b.mov", 20.0)]):
        carried = carry_over([card, backup, log_of("b.mov")], pairs)
        assert [call.label for call in carried[0].calls] == ["no call"]


def test_a_find_that_is_less_sure_may_be_the_better_sound() -> None:
    """It is no marker of its own, and still named on all cameras that get the call of another."""
    a = log_of("a.mov", make_call(21.0, 22.0))
    b = log_of("b.mov", make_call(1.02, 2.0, snr_db=30, confidence=0.5))
    logs, pairs = [a, b, log_of("c.mov")], [*A_AND_B, lined_up("a.mov", "c.mov", 3.0)]
    carried = carry_over(logs, pairs, min_confidence=0.6)
    marked = [from_log(one, min_confidence=0.6) for one in carried]
    on_a, on_b, on_c = (one.markers for one in name_better_sound(marked, logs, pairs))
    assert [[m.start_s for m in markers] for markers in (on_a, on_b, on_c)] == [[21], [1], [18]]
    for markers in (on_a, on_c):
        assert markers[0].comment.endswith("; better sound: b.mov at 10:00:01:01")
    assert "better sound" not in on_b[0].comment


def test_the_other_part_of_a_call_is_no_better_sound_of_it() -> None:
    """The first file has nothing of what is heard in the second."""
    b1 = log_of("b1.mov", make_call(59.4, 60.0, snr_db=20))
    b2 = log_of("b2.mov", make_call(0.0, 0.4))
    for logs in ([b1, b2], [b1, b2, log_of("c.mov")]):
        marked = mark_takes(logs, MarkerSettings())
        named = name_better_sound(marked, logs, [*GOES_ON, lined_up("b1.mov", "c.mov", 59.9)])
        assert all("better" not in marker.comment for one in named for marker in one.markers)
    poor = log_of("a.mov", make_call(9.4, 10.4, snr_db=3))
    pairs = [*GOES_ON, lined_up("b1.mov", "a.mov", 50.0)]
    named = name_better_sound(mark_takes([poor], MarkerSettings()), [poor, b1, b2], pairs)
    assert "better sound: b1.mov at 10:00:59:10" in named[0].markers[0].comment


@pytest.mark.parametrize(
    ("begins_s", "span"), [(0.0, (59.4, 60.4)), (0.1, (59.3, 60.3)), (59.8, (0.2, 0.6))]
)
def test_a_camera_that_ran_with_one_part_of_a_call_has_that(begins_s, span) -> None:
    """It began while the call sounded, so that only what the second file heard is whole in it."""
    b1 = log_of("b1.mov", make_call(59.4, 60.0, snr_db=20))
    b2 = log_of("b2.mov", make_call(0.0, 0.4, snr_db=9))
    pairs = [*GOES_ON, lined_up("b1.mov", "a.mov", begins_s)]
    logs = [b1, b2, log_of("a.mov", duration_s=70.0)]
    (call,) = carry_over(logs, pairs)[2].calls
    assert call.span == pytest.approx(span)
    assert call.snr_db == (9 if begins_s > 59 else 20)
    marked = mark_takes(carry_over(logs, pairs), MarkerSettings())[2:]
    (marker,) = name_better_sound(marked, logs, pairs)[0].markers
    where = "b2.mov at 10:00:00:00" if begins_s > 59 else "b1.mov at 10:00:59:10"
    assert f"better sound: {where}" in marker.comment


def test_the_other_part_of_a_call_is_another_moment() -> None:
    b1 = log_of("b1.mov", make_call(59.4, 60.0))
    b2 = log_of("b2.mov", make_call(0.0, 0.4))
    assert all(not others for _, others in moments_elsewhere([b1, b2], GOES_ON))
    a = log_of("a.mov", make_call(9.38, 10.42))
    pairs = [*GOES_ON, lined_up("b1.mov", "a.mov", 50.0)]
    found = {
        own.take_log.take.path: {take.path: pytest.approx(tuple(span)) for take, span in others}
        for own, others in moments_elsewhere([a, b1, b2], pairs)
    }
    assert found == {
        "a.mov": {"b1.mov": (59.4, 60.0), "b2.mov": (0.0, 0.4)},
        "b1.mov": {"a.mov": (9.38, 10.0)},
        "b2.mov": {"a.mov": (10.0, 10.42)},
    }
