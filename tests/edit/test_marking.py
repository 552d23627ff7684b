"""All steps from the log to markers, in the order that makes them right."""

from __future__ import annotations

from fractions import Fraction

import pytest

from calltag.edit.call_filter import CallFilter
from calltag.edit.markers import place
from calltag.edit.marking import MarkerSettings, mark_takes
from calltag.errors import InputError
from calltag.media.timing.timecode import Rate
from calltag.records.found import TakeLog

from .conftest import make_call, make_sound, make_take

FAST = make_take("pit/F001.mov", Rate(Fraction(100)))


def test_sound_travels_in_the_time_of_the_shoot():
    # At 20 C sound goes 343.2 m in a second (ISO 9613-1), which is 100 frames of this take: what is
    # heard at 5 s is seen in frame 400, and at 25 frames a second that frame shows at 16 s.
    take_log = TakeLog(take=FAST, calls=(make_call(5, 6),))
    settings = MarkerSettings(
        distances_m={FAST.path: 343.2},
        temperatures_c={FAST.path: 20.0},
        conform_to={FAST.path: Rate(Fraction(25))},
        speeds={FAST.path: Fraction(1, 2)},
    )
    (marked,) = mark_takes([take_log], settings)
    assert [placed[1:] for placed in place(marked)] == [(400, 500)]
    assert marked.markers[0].start_s == pytest.approx(16, abs=0.021)
    assert (marked.take.fps, marked.conformed_from, marked.speed) == (25, Rate(FAST.fps), 0.5)


def test_settings_of_one_take_leave_the_others(morning):
    settings = MarkerSettings(
        distances_m={FAST.path: 300},
        conform_to={FAST.path: Rate(Fraction(25))},
        speeds={FAST.path: Fraction(2)},
    )
    plain = mark_takes(morning, MarkerSettings())
    assert mark_takes(morning, settings) == plain
    assert [marked.speed for marked in plain] == [1, 1, 1]
    assert {marker.kind for marked in plain for marker in marked.markers} == {"call"}


def test_the_air_is_taken_for_usual_where_no_temperature_is_given(morning):
    path = morning[0].take.path
    usual, cold = (
        mark_takes(morning, MarkerSettings(distances_m={path: 300}, temperatures_c=told))[0]
        for told in ({}, {path: -20.0})
    )
    assert usual.advance_s < cold.advance_s


def test_sound_alone_is_counted_as_asked():
    rushes = [TakeLog(take=FAST), TakeLog(take=make_sound(), calls=(make_call(5, 6),))]
    asked = MarkerSettings(rate=Rate(Fraction(24)))
    assert [one.clock.rate for one in mark_takes(rushes, asked)] == [
        Rate(FAST.fps),
        Rate(Fraction(24)),
    ]


@pytest.mark.parametrize(
    ("setting", "reason"),
    [
        ({"handles_s": -0.1}, "handles -0.1: give seconds, zero or more"),
        ({"handles_s": float("inf")}, "handles inf"),
        ({"handles_s": float("nan")}, "handles nan"),
    ],
)
def test_what_cannot_be_is_told(morning, setting, reason):
    with pytest.raises(InputError, match=reason):
        mark_takes(morning, MarkerSettings(**setting))


def test_the_ends_of_what_can_be(morning):
    assert not mark_takes(morning, MarkerSettings(calls=CallFilter(min_confidence=1.0)))[0].markers
    rails = MarkerSettings(calls=CallFilter(types=["pit rail"]), handles_s=0.25)
    some = mark_takes(morning, rails)
    assert [len(marked.markers) for marked in some] == [0, 1, 0]
    assert some[1].markers[0].start_s == 59.25
