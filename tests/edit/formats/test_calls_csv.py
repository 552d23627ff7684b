"""Markers as CSV, read back by Python's own reader."""

from __future__ import annotations

import csv
from dataclasses import replace
from fractions import Fraction

import pytest

from calltag.edit.formats import WriteOptions, calls_csv
from calltag.edit.markers import from_log, place
from calltag.edit.retime import place_played
from calltag.edit.tables import CALL_COLUMNS, call_row, csv_text
from calltag.media.timing.timecode import nearest_frame, parse_timecode
from calltag.records.found import TakeLog
from calltag.records.verdict import Usable, Verdict

from ..conftest import RATES, make_call, make_take


def read(tmp_path, *marked):
    (path,) = calls_csv.write(marked, tmp_path / "calls.csv", WriteOptions(replace=True))
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file, strict=True))


@pytest.mark.parametrize("rate", RATES, ids=str)
@pytest.mark.parametrize("speed", [Fraction(1), Fraction(2, 5)])
def test_every_frame_is_read_back(tmp_path, rate, speed):
    calls = tuple(make_call(0.317 + 3.7 * i, 0.9 + 3.7 * i) for i in range(15))
    marked = replace(from_log(TakeLog(take=make_take(rate=rate), calls=calls)), speed=speed)
    placed = place_played(marked)
    for row, (_, first, end) in zip(read(tmp_path, marked), placed, strict=True):
        assert nearest_frame(float(row["start_s"]), rate.fps) == first
        assert nearest_frame(float(row["end_s"]), rate.fps) == end
        if speed != 1:
            exact = [round(float(frame / rate.fps), 3) for frame in (first, end)]
            assert [float(row["start_s"]), float(row["end_s"])] == exact
        for cell, frame in (("start_tc", first), ("end_tc", end)):
            there, counted = parse_timecode(row[cell], rate.fps)
            assert (there - marked.clock.start_frame, counted) == (frame, rate)


def test_rows_are_those_of_the_contract(tmp_path, morning):
    rows = read(tmp_path, from_log(morning[0]))
    assert tuple(rows[0]) == CALL_COLUMNS
    take, calls = morning[0].take, morning[0].calls
    (path,) = tmp_path.iterdir()
    listed = csv_text(CALL_COLUMNS, [call_row(take, call) for call in calls])
    assert path.read_bytes().decode("utf-8") == listed


def test_other_markers_have_the_same_columns(tmp_path, morning):
    rows = read(tmp_path, from_log(replace(morning[0], calls=()), noise=True))
    (row,) = rows
    assert (row["label"], row["start_tc"], row["low_hz"]) == ("noise: wind", "10:00:01:05", "")


def test_handles_widen_the_row(tmp_path, morning):
    (row,) = read(tmp_path, from_log(morning[1], handles_s=1))
    assert (row["start_s"], row["end_s"], row["start_tc"]) == ("58.5", "60.0", "10:00:58:13")
    inside = TakeLog(take=make_take(), calls=(make_call(10, 11),))
    (row,) = read(tmp_path, from_log(inside, handles_s=1))
    assert (row["start_s"], row["end_s"], row["end_tc"]) == ("9.0", "12.0", "10:00:12:00")


def test_only_markers_are_rounded_to_frames(tmp_path):
    marked = from_log(TakeLog(take=make_take(), calls=(make_call(1.015, 2),)))
    (row,) = read(tmp_path, marked)
    assert row["start_s"] == "1.015"
    assert place(marked)[0].first == 25


def test_a_usable_stretch_has_times_to_the_millisecond_and_no_confidence(tmp_path):
    verdict = Verdict(grade="part", usable=(Usable(10 / 3, 20 / 3, "natural sound"),), reasons=())
    (row,) = read(tmp_path, from_log(TakeLog(take=make_take()), usable=verdict))
    assert (row["start_s"], row["end_s"], row["confidence"]) == ("3.333", "6.667", "")
