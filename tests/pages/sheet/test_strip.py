"""A take's strip over time, of spans that are given."""

from __future__ import annotations

import math

import pytest

from calltag.pages.sheet.strip import strip, time_ticks
from calltag.records.found import NoiseSpan, TakeLog
from calltag.records.take import Take
from calltag.records.verdict import Reason, Usable, Verdict

VERDICT = Verdict(
    grade="part", usable=(Usable(80.0, 200.0, "dialogue"),), reasons=(Reason("wind"),)
)


def noise(kind: str, start_s: float, end_s: float) -> NoiseSpan:
    return NoiseSpan(
        start_s=start_s,
        end_s=end_s,
        kind=kind,
        confidence=0.9,
        level_dbfs=-40,
        low_hz=50,
        high_hz=900,
    )


def of_take(duration_s: float, *spans: NoiseSpan) -> TakeLog:
    take = Take(path="A.mov", rushes="/", digest="", size_bytes=0, duration_s=duration_s)
    return TakeLog(take=take, noise=spans)


def test_rows_hold_what_there_is_to_scale() -> None:
    """A detail lies in the row of its kind; what passes the take's end is drawn up to it."""
    spans = (noise("wind", 0, 50), noise("machine/saw", 100, 150), noise("machine", 180, 210))
    rows = strip(of_take(200.0, *spans), VERDICT, [(-1.0, 4.0, "boom"), (61.9, 62.9, "rasp")])
    assert [(row.name, row.kind, [one[:2] for one in row.stretches]) for row in rows] == [
        ("calls", "call", [(0.0, 0.02), (0.3095, pytest.approx(0.005))]),
        ("usable", "usable", [(0.4, 0.6)]),
        ("machine", "noise", [(0.5, 0.25), (0.9, pytest.approx(0.1))]),
        ("wind", "noise", [(0.0, 0.25)]),
    ]
    assert [row.text for row in rows] == [
        "calls: boom 0:00-0:04, rasp 1:01-1:02",
        "usable: dialogue 1:20-3:20",
        "machine: machine/saw 1:40-2:30, machine 3:00-3:20",
        "wind: wind 0:00-0:50",
    ]


def test_what_holds_nothing_has_no_row() -> None:
    nothing = Verdict(grade="picture-only", usable=(), reasons=(Reason("wind"),))
    assert strip(of_take(200.0), nothing, []) == ()
    assert strip(of_take(0.0), VERDICT, [(0.0, 0.0, "boom")]) == ()


@pytest.mark.parametrize(
    ("length_s", "last", "n"),
    [
        (0.5, "0:00", 1),
        (7.9, "0:07", 8),
        (8.0, "0:08", 5),  # in steps of 2 s
        (239.0, "3:30", 8),
        (240.0, "4:00", 5),
        (100_000.0, "24:00:00", 7),
    ],
)
def test_ticks_are_few_and_round(length_s: float, last: str, n: int) -> None:
    ticks = time_ticks(length_s)
    assert (ticks[0].text, ticks[-1].text, len(ticks)) == ("0:00", last, n)
    assert ticks[-1].at == pytest.approx((n - 1) * (ticks[1].at if n > 1 else 0))
    assert ticks[-1].at <= 1
    hours, minutes, seconds = [0, 0, *map(int, last.split(":"))][-3:]
    assert ticks[-1].at * length_s == pytest.approx(3600 * hours + 60 * minutes + seconds)


@pytest.mark.parametrize("length_s", [0.0, -1.0, math.inf, math.nan])
def test_what_has_no_length_has_no_ticks(length_s: float) -> None:
    assert time_ticks(length_s) == ()
