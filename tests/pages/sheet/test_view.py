"""Takes and calls of the sheet in words: what they are called, how sure, and when."""

from __future__ import annotations

from fractions import Fraction

import pytest

from calltag.edit.worth import worth
from calltag.media.timing.timecode import Rate
from calltag.pages.sheet.view import UNNAMED, call_view, take_view
from calltag.records.found import Call, TakeLog
from calltag.records.label import CALL
from calltag.records.take import Take
from calltag.records.verdict import Reason, Usable, Verdict

RATE = Rate(Fraction(25))
VERDICT = Verdict(grade="clean", usable=(Usable(0.0, 10.0, "clean"),), reasons=(Reason("quiet"),))


def heard(start_s: float, label: str, **changes: object) -> Call:
    values: dict[str, object] = {
        "low_hz": 300.0,
        "high_hz": 600.0,
        "peak_hz": 400.0,
        "snr_db": 20.0,
        "level_dbfs": -40.0,
        "call_probability": 0.7,
        "confidence": 0.9,
    }
    return Call(start_s=start_s, end_s=start_s + 0.5, label=label, **(values | changes))


def log_of(*calls: Call, **changes: object) -> TakeLog:
    values: dict[str, object] = {"fps": Fraction(50), "start_tc": "10:00:00:00", "recorded": None}
    take = Take(
        path="A001.mov",
        rushes="/r",
        digest="0",
        size_bytes=1,
        duration_s=10.0,
        **(values | changes),
    )
    return TakeLog(take=take, calls=calls)


@pytest.mark.parametrize(
    ("label", "by_hand", "name", "sure", "confidence"),
    [
        ("pit rail: rasp", False, "pit rail: rasp", "90 %", 0.9),
        ("pit rail: rasp", True, "pit rail: rasp", "by hand", 1.0),
        (CALL, False, UNNAMED, "70 %", 0.7),
    ],
)
def test_a_call_is_named_as_surely_as_it_is(label, by_hand, name, sure, confidence) -> None:
    call = heard(2.4, label, by_hand=by_hand)
    log = log_of(call)
    view = call_view(log, call, number=3, rate=RATE)
    assert (view.number, view.call, view.name, view.sure) == (3, call, name, sure)
    assert view.confidence == confidence
    assert view.worth == worth(log, call) > 0
    assert view.timecode == "10:00:02:20"  # of 50 pictures a second
    assert view.gain_db == 0


def test_what_has_no_rate_counts_at_that_of_the_sheet() -> None:
    call = heard(2.4, CALL)
    log = log_of(call, fps=None, start_tc=None, time_reference=3600 * 48_000, sample_rate_hz=48_000)
    assert call_view(log, call, number=1, rate=RATE).timecode == "01:00:02:10"
    view = take_view(log, VERDICT, number=1, rate=RATE, calls=[])
    assert view.timecode == "01:00:00:00"


def test_a_take_says_that_it_states_no_timecode() -> None:
    stated = take_view(log_of(), VERDICT, number=1, rate=RATE, calls=[])
    assert stated.timecode == "10:00:00:00"
    without = take_view(log_of(start_tc=None), VERDICT, number=1, rate=RATE, calls=[])
    assert without.timecode == "none, counts from 00:00:00:00"


def test_a_take_is_worth_what_its_best_call_is() -> None:
    calls = [heard(1, "pit rail: rasp", snr_db=6.0), heard(5, "pit rail: rasp", snr_db=30.0)]
    log = log_of(*calls)
    views = [call_view(log, call, number=n, rate=RATE) for n, call in enumerate(calls, 1)]
    view = take_view(log, VERDICT, number=7, rate=RATE, calls=views)
    assert view.best == max(one.worth for one in views) > min(one.worth for one in views)
    assert (view.number, view.take, view.verdict, view.calls) == (7, log.take, VERDICT, (*views,))
    assert sum("pit rail: rasp" in row.text for row in view.rows) == 1
    assert [tick.text for tick in view.ticks][:1] == ["0:00"]
    assert take_view(log, VERDICT, number=1, rate=RATE, calls=[]).best == 0
