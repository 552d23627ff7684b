"""What becomes a marker, and what an editor reads on it."""

from __future__ import annotations

import math
from dataclasses import replace

from calltag.edit.markers import describe_call, from_log, place, with_comment
from calltag.records.found import TakeLog
from calltag.records.verdict import Reason, Usable, Verdict

from .conftest import make_call, make_take


def names(take_markers):
    return [marker.name for marker in take_markers.markers]


def test_calls_become_markers(morning):
    marked = from_log(morning[0])
    assert names(marked) == ["marsh hooter: boom", "lesser reedling: trill", "call, type not known"]
    first = marked.markers[0]
    assert first.comment == "90 % sure, 14 dB above background, 180-2210 Hz, -31 dBFS"
    assert (first.kind, first.confidence, first.snr_db) == ("call", 0.9, 14)
    assert first.call == morning[0].calls[0]


def test_noise_and_no_calls_are_not_calls():
    calls = [
        make_call(i, i + 0.5, label)
        for i, label in enumerate(["no call", "wind", "machine/hedge trimmer", "pit rail: tick"])
    ]
    marked = from_log(TakeLog(take=make_take(), calls=tuple(calls)))
    assert names(marked) == ["pit rail: tick"]


def test_usable_and_noise_on_request(morning):
    verdict = Verdict(
        grade="part", usable=(Usable(30, 50, "natural sound"),), reasons=(Reason("wind"),)
    )
    marked = from_log(morning[0], usable=verdict, noise=True)
    assert [(m.kind, m.name, m.comment) for m in marked.markers if m.kind != "call"] == [
        ("noise", "noise: wind", "gusts"),
        ("usable", "usable sound", "natural sound"),
    ]
    assert [m.start_s for m in marked.markers] == sorted(m.start_s for m in marked.markers)


def test_handles_stay_in_the_take(morning):
    (marker,) = from_log(morning[1], handles_s=2.0).markers
    assert (marker.start_s, marker.end_s) == (57.5, 60.0)
    first = from_log(morning[0], handles_s=2.0).markers[0]
    assert (first.start_s, first.end_s) == (0.0, 4.0)


def test_markers_sit_on_frames(morning):
    # At 25 frames a second 20.013 s is frame 500.3, 20.4 s frame 510.
    assert [(p.first, p.end) for p in place(from_log(morning[0]))] == [
        (25, 50),
        (38, 75),
        (500, 510),
    ]


def test_no_constant_rate_is_told_twice():
    take_log = TakeLog(take=make_take(variable_rate=True), calls=(make_call(1, 2),))
    marked = from_log(take_log)
    assert "no constant frame rate" in marked.notes[0]
    assert marked.markers[0].comment.endswith("no constant frame rate: placed by time, check it")


def test_a_label_with_line_ends_is_one_line():
    take_log = TakeLog(take=make_take(), calls=(make_call(1, 2, "pit rail:\r\n002\u2028\0tick"),))
    assert names(from_log(take_log)) == ["pit rail: 002 tick"]


def test_what_was_not_measured_is_not_told():
    nothing = dict.fromkeys(("low_hz", "high_hz", "snr_db", "level_dbfs"), math.nan)
    call = replace(make_call(1, 2), by_hand=True, **nothing)
    assert describe_call(call) == "labelled by hand"
    assert from_log(TakeLog(take=make_take(), calls=(call,))).markers[0].snr_db is None


def test_a_first_comment_stands_alone(morning):
    (wind,) = (m for m in from_log(morning[0], noise=True).markers if m.kind == "noise")
    assert with_comment(wind, "check it").comment == "gusts; check it"
    assert with_comment(replace(wind, comment=""), "check it").comment == "check it"
