from __future__ import annotations

import csv
import io
import json

import pytest

from calltag.edit.tables import CALL_COLUMNS
from calltag.log import Log
from calltag.records.found import TakeLog
from calltag.records.label import Label
from calltag.records.take import Take

from .conftest import call

STARTS = [1.0, 5.0, 12.0, 30.0]


def starts(ran) -> list[float]:
    assert ran.status == 0
    return [row["start_s"] for row in json.loads(ran.out)]


def test_the_listing_of_calls_keeps_its_contract(run, log) -> None:
    ran = run("calls", "--as", "csv")
    assert ran.status == 0
    assert ran.out.splitlines()[0] == (
        "take,start_s,end_s,low_hz,high_hz,label,confidence,snr_db,level_dbfs,noise,start_tc,end_tc"
    )
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert rows[0] == {
        "take": "card1/A001.mov",
        "start_s": "1.0",
        "end_s": "1.5",
        "low_hz": "2000",
        "high_hz": "4000",
        "label": "marsh hooter: boom",
        "confidence": "0.9",
        "snr_db": "20.0",
        "level_dbfs": "-30.0",
        "noise": "",
        "start_tc": "05:10:01:00",
        "end_tc": "05:10:01:13",
    }
    assert [float(row["start_s"]) for row in rows] == STARTS
    assert ran.err == "", "nothing but data when data is asked for"


def test_csv_and_json_say_the_same(run, log) -> None:
    from_csv = list(csv.DictReader(io.StringIO(run("calls", "--as", "csv").out)))
    from_json = json.loads(run("calls", "--as", "json").out)
    assert [list(row) for row in from_json] == [list(CALL_COLUMNS)] * 4
    assert [{k: str(v) for k, v in row.items()} for row in from_json] == from_csv


@pytest.mark.parametrize(
    ("options", "listed"),
    [
        ([], STARTS),
        (["--min-confidence", "0"], [1.0, 5.0, 9.0, 12.0, 30.0]),
        (["--min-confidence", "0.8"], [1.0, 5.0, 30.0]),
        (["--type", "marsh hooter"], [1.0, 30.0]),
        (["--type", "Marsh hooter: hoot"], [30.0]),
        (["--type", "pit rail", "--type", "call"], [5.0, 12.0]),
        (["--take", "card1/A001.mov"], [1.0, 5.0, 12.0]),
        (["--take", "A002.mov"], [30.0]),
        (["--take", "card1"], STARTS),
        (["--take", "*2.mov"], [30.0]),
        (["--min-snr", "13"], [1.0, 5.0]),
        (["--noise"], [30.0]),
        (["--clean"], [1.0, 5.0, 12.0]),
        (["--verdict", "clean"], [1.0, 5.0, 12.0]),
        (["--best", "2"], [1.0, 5.0]),
        (["--by", "snr"], [1.0, 5.0, 12.0, 30.0]),
        (["--by", "level", "--best", "1"], [12.0]),
        (["--best", "1", "--by", "start", "--type", "pit rail"], [12.0]),
    ],
)
def test_calls_are_filtered_and_ranked(run, log, options: list[str], listed: list[float]) -> None:
    assert starts(run("calls", "--as", "json", *options)) == listed


def test_the_users_labels_stand_above_the_models(run, log) -> None:
    with Log(log) as opened:
        opened.change_labels(
            put=[
                Label(take="card1/A001.mov", start_s=1.0, end_s=1.5, label="no call"),
                Label(take="card1/A001.mov", start_s=9.0, end_s=9.5, label="lesser reedling"),
            ]
        )
    rows = json.loads(run("calls", "--as", "json", "--take", "card1/A001.mov").out)
    assert [(row["start_s"], row["label"], row["confidence"]) for row in rows] == [
        (5.0, "call", 0.9),
        (9.0, "lesser reedling", 1.0),
        (12.0, "pit rail", 0.7),
    ]


def test_the_table_for_people(run, log) -> None:
    ran = run("calls")
    assert ran.status == 0
    first = ran.out.splitlines()[1]
    for cell in (
        "card1/A001.mov",
        "0:01.00",
        "0.50 s",
        "marsh hooter: boom",
        "90 %",
        "05:10:01:00",
    ):
        assert cell in first
    assert "4 calls listed; 1 more that is less sure is not" in ran.err


def test_the_table_fits_a_narrow_terminal_and_says_what_is_left_out(terminal, log) -> None:
    said = terminal(60, "calls")
    table = [line for line in said.splitlines() if "mov" in line]
    assert len(table) == 4
    assert max(map(len, table)) <= 60
    assert "marsh hooter: boom" in said
    assert "no room for: length, sure, above background, band" in said
    assert "05:10:01:00" in said
    assert "have no type yet" not in said


def test_calls_without_a_type_are_told_how_they_get_one(run, tmp_path) -> None:
    take = Take(path="A001.mov", rushes=str(tmp_path), digest="1", size_bytes=1, duration_s=60.0)
    with Log(tmp_path / "calltag.db") as opened:
        opened.put(TakeLog(take=take, calls=(call(1.0),)), feature_version=1)
    ran = run("calls")
    assert ran.status == 0
    assert "They have no type yet: name some with `calltag label`, then `calltag teach`;" in ran.err
    ran = run("calls", "--type", "marsh hooter")
    assert ran.status == 1
    assert "no call in the log has a type yet; name some with `calltag label`" in ran.err


def test_no_call_is_told_with_a_way_on(run, log) -> None:
    ran = run("calls", "--min-confidence", "0.99")
    assert ran.status == 0
    assert ran.out == ""
    assert "0 calls listed; 5 more that are less sure are not (--min-confidence 0" in ran.err


@pytest.mark.parametrize(
    ("options", "status", "sentence"),
    [
        (["--take", "B*"], 1, "calltag: B*: no such take in the log; `calltag takes` lists"),
        (["--log", "other.db"], 1, "other.db: there is no log here; make one with `calltag log"),
        (["--type", "owl"], 1, "call type 'owl': the log has no such call; it has: call, marsh"),
        (["--min-confidence", "2"], 2, "'--min-confidence'"),
        (["--by", "beauty"], 2, "'--by'"),
        (["--best", "0"], 2, "'--best'"),
    ],
)
def test_what_cannot_be_is_told_in_one_sentence(
    run, log, options: list[str], status: int, sentence: str
) -> None:
    ran = run("calls", *options)
    assert ran.status == status
    assert ran.out == ""
    assert sentence in " ".join(ran.err.split())


def test_calls_in_copies_are_told(run, log_of_copies) -> None:
    assert "8 calls listed, 4 of them in copies of takes (--once lists each" in run("calls").err
    assert run("calls", "--once").err.startswith("4 calls listed; ")
