"""One call heard by several cameras: it counts once, where it sounds best or is worth most."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.edit.heard_twice import (
    each_call_once,
    merge_heard_twice,
    moments_elsewhere,
)
from calltag.records.found import TakeLog
from calltag.records.take import Levels

from .conftest import A_AND_B, GOES_ON, lined_up, log_of, make_call, make_sound


def found(take_logs, alignments) -> list[list[tuple[str, float]]]:
    return [
        [(find.take_log.take.path, find.call.start_s) for find in heard.finds]
        for heard in merge_heard_twice(take_logs, alignments)
    ]


def test_a_call_of_both_cameras_is_one_with_the_better_sound_first() -> None:
    a = log_of("a.mov", make_call(21.0, 22.0, snr_db=8), make_call(2.0, 3.0))
    b = log_of("b.mov", make_call(1.02, 2.0, snr_db=20), make_call(30.0, 30.5))
    assert found([a, b], A_AND_B) == [
        [("a.mov", 2.0)],
        [("b.mov", 1.02), ("a.mov", 21.0)],
        [("b.mov", 30.0)],
    ]
    assert merge_heard_twice([a, b], A_AND_B)[1].also_in == ("a.mov",)


def test_a_call_is_left_to_the_take_where_it_is_worth_most_with_its_picture() -> None:
    """The recorder has the better sound, and no picture."""
    camera = log_of("a.mov", make_call(25.0, 26.0, snr_db=18), make_call(2.0, 3.0))
    sound = make_sound("b.mov")
    recorder = TakeLog(take=sound, calls=(make_call(5.0, 6.0, snr_db=20), make_call(9.0, 9.5)))
    once = each_call_once([camera, recorder], A_AND_B)
    assert [[call.start_s for call in one.calls] for one in once] == [[2.0, 25.0], [9.0]]
    assert merge_heard_twice([camera, recorder], A_AND_B)[-1].best.take_log is recorder
    far_better = replace(recorder, calls=(make_call(5.0, 6.0, snr_db=60),))
    once = each_call_once([camera, far_better], A_AND_B)
    assert [[call.start_s for call in one.calls] for one in once] == [[2.0], [5.0]]


def test_a_call_that_is_cut_off_is_left_to_the_take_that_has_it_whole() -> None:
    """Cameras part a long take in several files, and a call may lie across two."""
    a = log_of("a.mov", make_call(59.3, 60.0, snr_db=20))
    b = log_of("b.mov", make_call(39.3, 40.4, snr_db=12))
    (heard,) = merge_heard_twice([a, b], A_AND_B)
    assert heard.best.take_log is b
    assert [[call.start_s for call in one.calls] for one in each_call_once([a, b], A_AND_B)] == [
        [],
        [39.3],
    ]


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
    assert len(merge_heard_twice(logs, GOES_ON)) == (1 if once else 2)
    assert len(merge_heard_twice(logs[::-1], GOES_ON)) == (1 if once else 2)
    assert len(merge_heard_twice(logs, [])) == 2


@pytest.mark.parametrize(
    "changes", [{"low_hz": 3000, "high_hz": 6000}, {"label": "pit rail: tick", "by_hand": True}]
)
def test_two_calls_beside_a_join_stay_two(changes) -> None:
    first = log_of("b1.mov", make_call(59.4, 60.0, by_hand=True))
    second = log_of("b2.mov", replace(make_call(0.0, 0.4), **changes))
    assert len(merge_heard_twice([first, second], GOES_ON)) == 2


def test_two_files_and_a_camera_that_has_the_call_whole() -> None:
    logs = [
        log_of("a.mov", make_call(9.4, 10.4, snr_db=14)),
        log_of("b1.mov", make_call(59.4, 60.0, snr_db=14)),
        log_of("b2.mov", make_call(0.0, 0.4, snr_db=14)),
    ]
    (heard,) = merge_heard_twice(logs, [*GOES_ON, lined_up("b1.mov", "a.mov", 50.0)])
    assert (heard.best.take_log.take.path, len(heard.also_in)) == ("a.mov", 2)


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
        (heard,) = merge_heard_twice(logs, A_AND_B)
        assert heard.best.call.snr_db == better["snr_db"]


def test_a_clipped_take_has_the_poorer_sound() -> None:
    clipped = Levels(peak_dbfs=0, clipped=50, loudness_lufs=-9, floor_dbfs=-40)
    a = log_of("a.mov", make_call(21, 22, snr_db=15), levels=clipped)
    b = log_of("b.mov", make_call(1, 2, snr_db=12))
    (heard,) = merge_heard_twice([a, b], A_AND_B)
    assert heard.best.take_log.take.path == "b.mov"


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
    assert len(merge_heard_twice([a, b], A_AND_B)) == 2


def test_the_better_heard_find_gives_the_type() -> None:
    a = log_of("a.mov", make_call(21, 22, "call", snr_db=4))
    b = log_of("b.mov", make_call(1, 2, "pit rail: rasp", snr_db=18))
    (heard,) = merge_heard_twice([a, b], A_AND_B)
    assert heard.best.call.label == "pit rail: rasp"


def test_short_calls_in_quick_succession_keep_their_order() -> None:
    """The second camera stands 20 m farther off, and hears each tick 58 ms later."""
    ticks = [1.0 + 0.2 * n for n in range(8)]
    a = log_of("a.mov", *(make_call(20 + t, 20.04 + t) for t in ticks))
    b = log_of("b.mov", *(make_call(t + 0.058, t + 0.098) for t in ticks))
    pairs = [[call.start_s for _, call in s.finds] for s in merge_heard_twice([a, b], A_AND_B)]
    assert [sorted(pair) for pair in pairs] == [pytest.approx([t + 0.058, 20 + t]) for t in ticks]


def test_drift_is_followed() -> None:
    """At 200 parts in a million, half an hour is 0.36 s: more than the slack between finds."""
    a = log_of("a.mov", make_call(1900, 1900.2), duration_s=2000.0)
    b = log_of("b.mov", make_call(1800.36, 1800.56), duration_s=2000.0)
    assert len(merge_heard_twice([a, b], [lined_up("a.mov", "b.mov", 100.0, 200.0)])) == 1
    assert len(merge_heard_twice([a, b], [lined_up("a.mov", "b.mov", 100.0)])) == 2


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
    heard = merge_heard_twice(logs, [lined_up("a.mov", "b.mov", 0.3)])
    listed = [(t.take.path, c.start_s) for one in heard for t, c in one.finds]
    assert sorted(listed) == sorted([("a.mov", s) for s in starts] + [("b.mov", s) for s in others])
    for one in heard:
        assert len({t.take.path for t, _ in one.finds}) == len(one.finds)


def test_many_calls_are_merged_quickly() -> None:
    """Two hours, a call a second: comparing all with all would take minutes."""
    times = [float(t) for t in range(7000)]
    logs = [log_of(p, *(make_call(t, t + 0.4) for t in times)) for p in ("a.mov", "b.mov")]
    assert len(merge_heard_twice(logs, [lined_up("a.mov", "b.mov", 0.05)])) == 7000


def test_a_copy_of_a_take_lists_no_call_again() -> None:
    a = log_of("card/a.mov", make_call(21.0, 22.0), digest="same")
    copy = log_of("backup/a.mov", make_call(21.0, 22.0), digest="same")
    b = log_of("b.mov", make_call(1.0, 2.0), make_call(9.0, 9.5))
    pairs = [lined_up("card/a.mov", "b.mov", 20.0)]
    (heard, alone) = merge_heard_twice([a, copy, b], pairs)
    assert {heard.best.take_log.take.path, *heard.also_in} == {
        "card/a.mov",
        "backup/a.mov",
        "b.mov",
    }
    assert alone.best.call.start_s == 9.0


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
