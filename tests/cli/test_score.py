from __future__ import annotations

import json
from pathlib import Path

import pytest

from calltag.log import Log
from calltag.records.label import Label


@pytest.fixture
def truth(tmp_path: Path) -> Path:
    """Of the finds in the first take, 1.0-1.5 is right, 5.0-5.5 late, 12.0-12.5 no call."""
    path = tmp_path / "truth.csv"
    path.write_text(
        "take,start_s,end_s,label\n"
        "card1/A001.mov,1.1,1.5,marsh hooter: boom\n"
        "card1/A001.mov,4.7,5.5,\n"
        "card1/A001.mov,20,21,pit rail\n"
        "card1/A001.mov,12,12.5,no call\n"
    )
    return path


def test_the_log_is_compared_with_a_reference(run, log, truth) -> None:
    ran = run("score", truth)
    assert ran.status == 0
    assert "1 take compared: 3 calls in the reference, 3 found." in ran.out
    assert "Found 2 of the 3 calls (67 %); 2 of the 3 finds are calls (67 %)." in ran.out
    assert "(within 200 ms)" in ran.out
    assert "Left out: 1 take that the reference does not name." in ran.out
    assert "--every-take" in ran.err


def test_the_figures_are_there_for_programs(run, log, truth) -> None:
    got = json.loads(run("score", truth, "--as", "json").out)
    assert got["overlap"] == {
        "truth": 3,
        "hit": 2,
        "found": 3,
        "right": 2,
        "onset_error_s": pytest.approx(0.2),
        "precision": pytest.approx(2 / 3),
        "recall": pytest.approx(2 / 3),
        "f1": pytest.approx(2 / 3),
    }
    assert got["events"]["right"] == 1
    assert got["collar_s"] == 0.2
    assert got["false_per_minute"] == pytest.approx(1.0)


@pytest.mark.parametrize(("collar", "right"), [("0.05", 0), ("0.1", 1), ("0.3", 2)])
def test_the_collar_decides_by_events(run, log, truth, collar: str, right: int) -> None:
    got = json.loads(run("score", truth, "--as", "json", "--collar", collar).out)
    assert got["events"]["right"] == right


def test_takes_that_the_reference_does_not_name_may_count(run, log, truth) -> None:
    got = json.loads(run("score", truth, "--as", "json", "--every-take").out)
    assert (got["takes"], got["overlap"]["found"]) == (3, 4)


def test_the_users_own_labels_do_not_help(run, log, truth) -> None:
    before = run("score", truth, "--as", "json").out
    with Log(log) as opened:
        opened.change_labels(
            put=[
                Label(take="card1/A001.mov", start_s=12.0, end_s=12.5, label="no call"),
                Label(take="card1/A001.mov", start_s=5.0, end_s=5.5, label="pit rail"),
            ]
        )
    assert run("score", truth, "--as", "json").out == before
    assert run("score", truth).err.count("had a label to learn from") == 0
    with Log(log) as opened:
        opened.give_types(lambda rows, _: [("call", 0.8)] * len(rows), feature_version=1, model="m")
    assert "2 finds in these takes had a label to learn from" in run("score", truth).err
    other = truth.with_name("other.csv")
    other.write_text("take,start_s,end_s,label\ncard1/A002.mov,30,30.5,marsh hooter: hoot\n")
    assert "had a label" not in run("score", other).err, "its names were learnt elsewhere"
    assert "2 finds in these takes" in run("score", other, "--every-take").err


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("take,start_s,end_s\n", "truth.csv: holds no call"),
        ("take,start_s,end_s\nB.mov,1,2\n", "truth.csv: B.mov: no such take in the log"),
        (
            "take,start_s,end_s\ncard2/A009.mov,1,2\n",
            "truth.csv: card2/A009.mov: could not be read: it is empty; or take its lines out",
        ),
        (
            "take,start_s,end_s\nA009.mov,1,2\n",
            "truth.csv: card2/A009.mov: could not be read: it is empty; or take its lines out",
        ),
        ("start_s,end_s\n1,2\n", "truth.csv: no column take"),
    ],
)
def test_a_reference_that_cannot_be_used_is_told(run, log, truth, text, sentence) -> None:
    truth.write_text(text)
    ran = run("score", truth)
    assert ran.status == 1
    assert sentence in ran.err


def test_truth_beyond_the_end_of_a_take_is_refused(run, log, truth) -> None:
    truth.write_text("take,start_s,end_s\ncard1/A001.mov,1100,1500\n")
    ran = run("score", truth)
    assert ran.status == 1
    assert "truth.csv: end_s (1500) lies after the end of card1/A001.mov" in ran.err
    assert "write seconds" in ran.err
