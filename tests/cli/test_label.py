from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from calltag.cli import FAILED, SOME_UNREADABLE
from calltag.log import Log
from calltag.records.found import Call
from calltag.records.label import Label


@pytest.fixture(autouse=True)
def finder(monkeypatch: pytest.MonkeyPatch) -> None:
    """The clips of this log are not there: a stand-in for what would be measured of their sound."""

    class Finder:
        def measure(self, _path, spans):
            return [
                Call(
                    start_s=span.start_s,
                    end_s=span.end_s,
                    low_hz=500.0,
                    high_hz=900.0,
                    peak_hz=600.0,
                    snr_db=2.0,
                    level_dbfs=-50.0,
                    call_probability=0.05,
                    features=np.zeros(4, np.float32),
                )
                for span in spans
            ]

    monkeypatch.setattr("calltag.naming.finder", Finder)


@pytest.fixture
def write(tmp_path: Path):
    def write(*lines: str) -> Path:
        path = tmp_path / "mine.csv"
        path.write_text("\n".join(("take,start_s,end_s,label,group", *lines)), "utf-8")
        return path

    return write


def labels(log: Path) -> list[tuple[str, float, str, str | None]]:
    with Log(log) as opened:
        return [(one.take, one.start_s, one.label, one.group) for one in opened.labels()]


def test_a_name_that_may_be_a_slip_of_the_pen_is_told_once(run, log, write) -> None:
    said = (
        "`pit rial: rasp` is new; if `pit rail: rasp` is meant, write that and read the file again."
    )
    ran = run(
        "label",
        "--from",
        write(
            "A002.mov,30,30.5,pit rail: rasp,",
            "A002.mov,32,32.5,pit rail: rasp,",
            "A002.mov,34,34.5,pit rial: rasp,",
            "A002.mov,36,36.5,marsh hooter: boom,",
        ),
    )
    assert said in ran.err, "the one that the table has more often is the right one"
    assert ran.err.count(" is new") == 1
    again = run("label", "--from", write("A002.mov,38,38.5,pit rial: rasp,"))
    assert " is new" not in again.err
    late = run("label", "--from", write("A002.mov,40,40.5,marsh hoter: boom,"))
    assert "if `marsh hooter: boom` is meant" in late.err, "the log has it already"
    mended = run("label", "--from", write("A002.mov,34,34.5,pit rail: rasp,"))
    assert " is new" not in mended.err
    assert [label for _, at_s, label, _ in labels(log) if at_s == 34] == ["pit rail: rasp"]


def test_the_right_name_in_place_of_a_slip_is_not_taken_for_one(run, log, write) -> None:
    slip = ("A002.mov,30,30.5,pit rial: rasp,", "A002.mov,32,32.5,pit rial: rasp,")
    run("label", "--from", write(*slip))
    mended = run("label", "--from", write(*(line.replace("rial", "rail") for line in slip)))
    assert " is new" not in mended.err
    assert {label for _, at_s, label, _ in labels(log) if at_s >= 30} == {"pit rail: rasp"}


def test_labels_are_taken_from_a_table(run, log, write) -> None:
    ran = run(
        "label",
        "--from",
        write("A002.mov,30,30.5,pit rail: rasp,hide", "card1/A001.mov,5,5.5,no call,"),
    )
    assert ran.status == 0
    assert labels(log) == [
        ("card1/A001.mov", 5.0, "no call", None),
        ("card1/A002.mov", 30.0, "pit rail: rasp", "hide"),
    ]
    assert "2 labels of 2 kinds from mine.csv." in ran.err
    assert "Next: `calltag teach`" in ran.err


def test_a_label_where_nothing_was_found_becomes_a_call(run, log, write) -> None:
    run("label", "--from", write("card1/A001.mov,40,41,lesser reedling,"))
    rows = json.loads(run("calls", "--as", "json", "--type", "lesser reedling").out)
    assert [(row["start_s"], row["end_s"], row["low_hz"], row["confidence"]) for row in rows] == [
        (40.0, 41.0, 500, 1.0)
    ]


def test_one_bad_line_keeps_all_out_and_all_bad_lines_are_told(run, log, write) -> None:
    path = write("A002.mov,30,30.5,pit rail,", "A002.mov,9,8,pit rail,", "A007.mov,1,2,pit rail,")
    ran = run("label", "--from", path)
    assert ran.status == 1
    assert labels(log) == []
    lines = ran.err.splitlines()
    assert lines[0] == "mine.csv, line 3: end_s (8) must be later than start_s (9)"
    assert lines[1].startswith("mine.csv, line 4: A007.mov: no such take in the log")
    assert lines[2] == (
        "calltag: mine.csv: 2 lines cannot be used, so no label was taken; mend the file, or add "
        "--skip-bad"
    )
    ran = run("label", "--from", path, "--skip-bad")
    assert ran.status == SOME_UNREADABLE
    assert "1 label of 1 kind from " in ran.err
    assert re.search(r"Left out: \d lines that cannot be used\.", ran.err)
    assert labels(log) == [("card1/A002.mov", 30.0, "pit rail", None)]


def test_where_all_lines_are_bad_nothing_was_done(run, log, write) -> None:
    path = write("none,1,2,pit rail", "card1/A001.mov,1,2,")
    ran = run("label", "--from", path, "--skip-bad")
    assert ran.status == FAILED
    assert "No label was taken from mine.csv." in ran.err
    assert "Left out: 1 line that cannot be used." in ran.err
    assert "Passed over: 1 line that names no type." in ran.err


def test_a_listing_of_calls_can_be_filled_in_and_read(run, log, tmp_path) -> None:
    listing = run("calls", "--as", "csv").out.replace(",call,", ",lesser reedling: trill,")
    (tmp_path / "calls.csv").write_bytes(listing.encode())
    ran = run("label", "--from", "calls.csv")
    assert ran.status == 0
    assert labels(log) == [("card1/A001.mov", 5.0, "lesser reedling: trill", None)]
    assert "Passed over: 3 lines that say what the log says already." in ran.err


def test_a_label_that_was_emptied_in_a_listing_stays_and_what_to_do_is_said(run, log) -> None:
    with Log(log) as opened:
        opened.change_labels(
            put=[Label(take="card1/A001.mov", start_s=1.0, end_s=1.5, label="pit rail: rasp")]
        )
    listing = run("calls", "--as", "csv").out
    emptied = listing.replace(",pit rail: rasp,", ",,", 1)
    assert emptied != listing
    log.with_name("calls.csv").write_bytes(emptied.encode())
    ran = run("label", "--from", "calls.csv")
    assert [label for *_, label, _ in labels(log)] == ["pit rail: rasp"]
    assert (
        "1 of them has a label, which stays: on the page that `calltag label` opens, X takes a "
        "label away.\n"
    ) in ran.err


def test_a_label_that_stays_is_told_where_the_table_names_its_take_in_short(run, log) -> None:
    with Log(log) as opened:
        opened.change_labels(
            put=[Label(take="card1/A002.mov", start_s=1.0, end_s=1.5, label="pit rail: rasp")]
        )
    log.with_name("mine.csv").write_text(
        "take,start_s,end_s,label\nA002.mov,1.0,1.5,\nZ009.mov,1.0,1.5,\n", encoding="utf-8"
    )
    ran = run("label", "--from", "mine.csv")
    assert "Passed over: 2 lines that name no type.\n1 of them has a label, which stays" in ran.err


def test_rows_of_a_table_of_markers_that_are_no_calls_are_refused(run, log) -> None:
    ran = run("markers", "marks.csv", "--mark-usable", "--mark-noise")
    assert ran.status == 0, ran.err
    ran = run("label", "--from", "marks.csv")
    assert ran.status == FAILED
    assert labels(log) == []
    told = [line for line in ran.err.splitlines() if "is the name of a marker" in line]
    assert any("`usable sound`" in line for line in told)
    assert any("`noise: wind`" in line for line in told)
    ran = run("label", "--from", "marks.csv", "--skip-bad")
    assert labels(log) == []
    assert "what the log says already" in ran.err


def test_a_row_of_a_listing_whose_call_is_elsewhere_now_is_refused(run, log) -> None:
    """As one with handles: what the finder said of it would become the user's word."""
    run("markers", "marks.csv", "--handles", "0.4")
    ran = run("label", "--from", "marks.csv")
    assert (ran.status, labels(log)) == (FAILED, [])
    assert "no call of card1/A001.mov has just these ends; list the calls anew" in ran.err


def test_labels_are_listed(run, log) -> None:
    with Log(log) as opened:
        opened.change_labels(
            put=[
                Label(take="card1/A001.mov", start_s=1, end_s=2, label="pit rail", group="hide"),
                Label(take="card1/A002.mov", start_s=61.5, end_s=62, label="wind"),
            ]
        )
    ran = run("label", "--list")
    assert ran.status == 0
    assert "1:01.50" in ran.out
    assert "2 labels listed." in ran.err
    assert json.loads(run("label", "--list", "--as", "json", "--take", "A002.mov").out) == [
        {"take": "card1/A002.mov", "start_s": 61.5, "end_s": 62.0, "label": "wind", "group": None}
    ]
    listed = run("label", "--list", "--as", "csv", "--type", "pit rail")
    assert listed.out == (
        "take,start_s,end_s,label,group\r\ncard1/A001.mov,1.0,2.0,pit rail,hide\r\n"
    )


def test_a_list_without_labels_says_why_and_what_next(run, log) -> None:
    ran = run("label", "--list")
    assert (ran.status, ran.out) == (0, "")
    assert ran.err == "There is no label yet: `calltag label` opens a page to name what you hear.\n"
    with Log(log) as opened:
        opened.change_labels(
            put=[Label(take="card1/A001.mov", start_s=1.0, end_s=1.5, label="pit rail: rasp")]
        )
    assert run("label", "--list", "--take", "card2").err == "None of your labels is like that.\n"
    assert run("label", "--list", "--take", "card1").err == "1 label listed.\n"


def test_a_list_of_a_type_that_was_not_labelled_says_which_were(run, log) -> None:
    told = "calltag: call type 'pit owl': the log has no such label; it has: {}\n"
    ran = run("label", "--list", "--type", "pit owl", "--as", "csv")
    assert (ran.status, ran.out, ran.err) == (1, "", told.format("none"))
    with Log(log) as opened:
        for start_s, label in ((1.0, "pit rail: rasp"), (5.0, "machine/hedge trimmer")):
            one = Label(take="card1/A001.mov", start_s=start_s, end_s=start_s + 0.5, label=label)
            opened.change_labels(put=[one])
    ran = run("label", "--list", "--type", "pit owl")
    assert (ran.status, ran.err) == (1, told.format("machine/hedge trimmer, pit rail: rasp"))
    assert run("label", "--list", "--type", "machine/hedge trimmer").status == 0


def test_without_a_file_it_opens_the_listening_page(run, log, monkeypatch) -> None:
    served = []

    def serve(app, *, open_browser, tell) -> None:
        served.append(app)
        assert open_browser
        tell("http://127.0.0.1:5/token/", False)
        with Log(log) as opened:
            opened.change_labels(
                put=[Label(take="card1/A002.mov", start_s=1, end_s=2, label="pit rail: rasp")]
            )

    monkeypatch.setattr("calltag.pages.server.serve", serve)
    ran = run("label", "--take", "A002.mov")
    assert ran.status == 0
    assert len(served) == 1
    assert ran.out == "http://127.0.0.1:5/token/\n"
    assert "1 label in the log, +1 in this sitting." in ran.err


def test_the_listening_page_takes_no_filter_by_type(run, log) -> None:
    ran = run("label", "--type", "pit rail")
    assert ran.status == 2
    assert "--by type" in ran.err


@pytest.mark.parametrize("option", [("--as", "csv"), ("--type", "pit rail")], ids=str)
@pytest.mark.parametrize("reading", [True, False])
def test_options_of_the_list_are_refused_without_it(run, log, write, option, reading) -> None:
    source = ("--from", write("card1/A001.mov,40,41,lesser reedling,")) if reading else ()
    ran = run("label", *source, *option)
    assert ran.status == 2
    assert f"{option[0]} goes with --list" in ran.err
    assert "no label yet" in run("label", "--list").err


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--skip-bad"], "--skip-bad goes with --from"),
        (["--list", "--skip-bad"], "--skip-bad goes with --from"),
        (["--list", "--by", "time"], "--by goes with the listening page"),
        (["--from", "mine.csv", "--by", "time"], "--by goes with the listening page"),
        (["--from", "mine.csv", "--take", "card1"], "a table names its takes itself"),
    ],
    ids=" ".join,
)
def test_options_that_nothing_would_come_of_are_refused(run, log, write, arguments, sentence):
    write("card1/A001.mov,40,41,lesser reedling,")
    ran = run("label", *arguments)
    assert ran.status == 2
    assert sentence in ran.err
    assert labels(log) == []


def test_a_default_for_every_listing_does_not_stand_in_the_way(run, log, write, tmp_path) -> None:
    (tmp_path / "calltag.toml").write_text("[all]\nas = 'csv'\n", "utf-8")
    ran = run("label", "--from", write("card1/A001.mov,40,41,lesser reedling,"))
    assert ran.status == 0, ran.err
    assert "lesser reedling" in run("label", "--list").out


def test_no_page_opens_on_a_log_that_may_not_be_written_to(run, log, archived, monkeypatch) -> None:
    archived()
    monkeypatch.setattr("calltag.cli.label.serve_page", lambda *_, **__: None)
    ran = run("label", "--no-open")
    assert ran.status == 1
    assert ran.err == (
        "calltag: calltag.db: this log may not be written to; copy it to a folder of yours\n"
    )
