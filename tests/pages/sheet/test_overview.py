"""What stands on top of the sheet, of takes and calls that are given."""

from __future__ import annotations

from calltag.pages.sheet.overview import overview, tally
from calltag.pages.sheet.view import UNNAMED, CallView, TakeView
from calltag.records.found import Call
from calltag.records.take import Take
from calltag.records.verdict import Reason, Usable, Verdict


def call(number: int, name: str, worth: float) -> CallView:
    heard = Call(
        start_s=float(number),
        end_s=number + 0.5,
        low_hz=300,
        high_hz=600,
        peak_hz=400,
        snr_db=20,
        level_dbfs=-40,
        call_probability=0.9,
    )
    return CallView(
        number=number,
        call=heard,
        name=name,
        sure="90 %",
        confidence=0.9,
        worth=worth,
        timecode="00:00:00:00",
        grade=None,
    )


def take(number: int, grade: str, *calls: CallView, copies: tuple[str, ...] = ()) -> TakeView:
    usable = () if grade == "picture-only" else (Usable(2.0, 5.0, "clean"), Usable(6, 7, "clean"))
    return TakeView(
        number=number,
        take=Take(path=f"A{number}.mov", rushes="/", digest="", size_bytes=0, duration_s=10.0),
        verdict=Verdict(grade=grade, usable=usable, reasons=(Reason("wind"),)),
        timecode="00:00:00:00",
        grade=None,
        rows=(),
        ticks=(),
        calls=calls,
        copies=copies,
    )


BOOM, RASP, DUET = "marsh hooter: boom", "pit rail: rasp", "marsh hooter: duet"
TAKES = (
    take(1, "part", call(1, RASP, 0.2), call(2, UNNAMED, 0.9), call(3, RASP, 0.4)),
    take(2, "picture-only"),
    take(3, "clean", call(4, RASP, 0.8), call(5, RASP, 0.1), call(6, DUET, 0.3)),
    take(4, "part", call(7, UNNAMED, 0.1), call(8, UNNAMED, 0.2), call(9, UNNAMED, 0.3)),
    take(5, "clean", call(10, UNNAMED, 0.5), call(11, BOOM, 0.6), copies=("B5.mov", "C5.mov")),
)


def test_types_are_told_by_how_many_and_the_best_of_each() -> None:
    """The most common first, of equals by name; what has no name comes last, however common."""
    told = [
        (line.name, line.count, line.takes, [(t.number, c.number) for t, c in line.best])
        for line in overview(TAKES).types
    ]
    assert told == [
        (RASP, 4, 2, [(3, 4), (1, 3), (1, 1)]),
        (BOOM, 1, 1, [(5, 11)]),
        (DUET, 1, 1, [(3, 6)]),
        (UNNAMED, 5, 3, [(1, 2), (5, 10), (4, 9)]),
    ]


def test_takes_are_told_by_verdict_and_summed_up() -> None:
    over = overview(TAKES)
    assert [one.number for one in over.throw] == [2]
    assert [one.number for one in over.rescue] == [1, 4]
    assert (over.calls, over.length_s, over.usable_s) == (11, 50.0, 16.0)
    assert over.summary == (
        "5 takes and 2 copies: 2 clean, 2 part, 1 picture-only; 16 s of usable sound"
    )
    assert tally(TAKES) == "5 takes, 11 calls"
    assert [one.best for one in TAKES] == [0.9, 0.0, 0.8, 0.3, 0.6]
