"""Calls on all cameras that ran: markers on each, the better sound named."""

from __future__ import annotations

import math

import pytest

from calltag.edit.call_filter import CallFilter
from calltag.edit.every_camera import carry_over, name_better_sound
from calltag.edit.markers import from_log
from calltag.edit.marking import MarkerSettings, mark_takes
from calltag.media.timing.clock import common_rate, take_clock
from calltag.records.found import TakeLog

from .conftest import A_AND_B, GOES_ON, lined_up, log_of, make_call, make_sound


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
    marked = [from_log(CallFilter(min_confidence=0.6).left_of(one)) for one in carried]
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
