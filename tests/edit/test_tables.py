"""The columns that others build on, and CSV that a spreadsheet may open."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.edit.tables import CALL_COLUMNS, TAKE_COLUMNS, call_row, csv_text, rounded, take_row
from calltag.media.timing.timecode import Rate
from calltag.records.found import Call
from calltag.records.take import Levels, Take
from calltag.records.verdict import Reason, Usable, Verdict

TAKE = Take(
    path="pit/A003.mov",
    rushes="/rushes",
    digest="d",
    size_bytes=1,
    duration_s=60.0444,
    fps=Fraction(25),
    start_tc="10:00:00:00",
    sample_rate_hz=48_000,
    channels=2,
    width=64,
    height=36,
    levels=Levels(peak_dbfs=-3.14, clipped=2, loudness_lufs=float("-inf"), floor_dbfs=-61.26),
)
CALLED = Call(
    start_s=12.0004,
    end_s=12.5,
    low_hz=180.4,
    high_hz=2210.6,
    peak_hz=900.0,
    snr_db=14.26,
    level_dbfs=-31.04,
    call_probability=0.9136,
    noise=("wind", "machine/pump"),
)


def test_columns_are_the_contract():
    assert ",".join(CALL_COLUMNS) == (
        "take,start_s,end_s,low_hz,high_hz,label,confidence,snr_db,level_dbfs,noise,start_tc,end_tc"
    )
    assert ",".join(TAKE_COLUMNS) == (
        "take,duration_s,fps,start_tc,sample_rate_hz,channels,verdict,clean_s,reasons,peak_dbfs,"
        "clipped,loudness_lufs,floor_dbfs,faults"
    )


def test_row_of_a_call():
    assert call_row(TAKE, CALLED) == {
        "take": "pit/A003.mov",
        "start_s": 12.0,
        "end_s": 12.5,
        "low_hz": 180,
        "high_hz": 2211,
        "label": "call",
        "confidence": 0.914,
        "snr_db": 14.3,
        "level_dbfs": -31.0,
        "noise": "wind; machine/pump",
        "start_tc": "10:00:12:00",
        "end_tc": "10:00:12:13",
    }


@pytest.mark.parametrize(
    ("change", "confidence"),
    [
        ({}, 0.914),
        ({"label": "pit rail: tick", "confidence": 0.8}, 0.8),
        ({"label": "pit rail: tick", "confidence": 0.8, "by_hand": True}, 1.0),
    ],
)
def test_confidence_is_of_the_label(change, confidence):
    assert call_row(TAKE, replace(CALLED, **change))["confidence"] == confidence


def test_sound_alone_counts_at_the_rate_given():
    sound = replace(TAKE, fps=None, start_tc=None, width=0, height=0, time_reference=480_000)
    assert call_row(sound, CALLED)["start_tc"] == "00:00:22:00"
    assert call_row(sound, CALLED, rate=Rate(Fraction(50)))["end_tc"] == "00:00:22:25"


def test_a_recorders_start_is_that_of_its_calls():
    sound = replace(TAKE, fps=None, start_tc=None, width=0, height=0, time_reference=480_000)
    assert take_row(sound, None)["start_tc"] == "00:00:10:00"
    assert take_row(replace(sound, time_reference=None), None)["start_tc"] is None


@pytest.mark.parametrize("reference", [None, 480_000])
def test_a_start_that_no_clock_shows_gives_way_to_the_time_reference(reference):
    take = replace(TAKE, start_tc="10:00:00:77", time_reference=reference)
    begins = "10:00:00:77" if reference is None else "00:00:10:00"
    assert take_row(take, None)["start_tc"] == begins
    shown = replace(take, start_tc="10:00:00:07")
    assert take_row(shown, None)["start_tc"] == "10:00:00:07"


def test_row_of_a_take():
    verdict = Verdict(
        grade="part",
        usable=(Usable(0, 10, "edit"), Usable(20, 25.04, "bed")),
        reasons=(Reason("wind"), Reason("hum")),
    )
    row = take_row(TAKE, verdict)
    assert tuple(row) == TAKE_COLUMNS
    assert row["fps"] == 25.0
    assert row["duration_s"] == 60.044
    assert (row["peak_dbfs"], row["floor_dbfs"]) == (-3.1, -61.3)
    assert row["clean_s"] == 15.0
    assert row["reasons"] == "wind; hum"
    assert row["loudness_lufs"] is None, "silence has no loudness, and JSON no infinity"
    json.dumps(row, allow_nan=False)


def test_row_of_a_take_without_sound():
    mute = replace(TAKE, sample_rate_hz=None, channels=0, levels=None)
    row = take_row(mute, None)
    assert tuple(row) == TAKE_COLUMNS
    assert row["verdict"] is None
    assert row["peak_dbfs"] is None


# The characters are those that OWASP's page on CSV injection names.
@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "\nx"])
def test_text_like_a_formula_is_guarded(text):
    (row,) = csv.DictReader(io.StringIO(csv_text(["label"], [{"label": text}]), newline=""))
    assert row["label"] == "'" + text


def test_zero_has_no_sign():
    assert [str(rounded(number, 1)) for number in (-0.04, 0.04, -0.06)] == ["0.0", "0.0", "-0.1"]


def test_numbers_are_left_alone():
    assert csv_text(["a", "b"], [{"a": -23.0, "b": None}]) == "a,b\r\n-23.0,\r\n"


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=1, max_size=4))
def test_any_text_comes_back(texts):
    columns = [f"c{i}" for i in range(len(texts))]
    written = csv_text(columns, [dict(zip(columns, texts, strict=True))])
    header, back = csv.reader(io.StringIO(written, newline=""), strict=True)
    assert header == columns
    assert [cell.removeprefix("'") for cell in back] == [text.removeprefix("'") for text in texts]
