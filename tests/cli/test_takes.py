from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from fractions import Fraction

import pytest

from calltag.cli.takes import LONGEST, _shortened
from calltag.edit.tables import TAKE_COLUMNS
from calltag.log import Log
from calltag.records.found import NoiseSpan, TakeLog
from calltag.records.take import ChannelFault, FaultKind
from calltag.records.verdict import Reason, Usable, Verdict
from calltag.sound.channels.faults import said
from calltag.takes.verdict import TOO_SHORT
from calltag.words import take_length

ALL = ["card1/A001.mov", "card1/A002.mov", "card2/A001.mov"]


def names(ran) -> list[str]:
    assert ran.status == 0
    return [row["take"] for row in json.loads(ran.out)]


def test_the_listing_of_takes_keeps_its_contract(run, log) -> None:
    ran = run("takes", "--as", "csv")
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert tuple(rows[0]) == TAKE_COLUMNS
    assert [row["take"] for row in rows] == ALL
    assert [row["verdict"] for row in rows] == ["clean", "picture-only", "picture-only"]
    assert rows[0]["fps"] == "25.0"
    assert rows[2]["peak_dbfs"] == "", "a take without sound has no level"


def test_json_has_the_usable_stretches_too(run, log) -> None:
    first, *_ = json.loads(run("takes", "--as", "json").out)
    assert tuple(first) == (*TAKE_COLUMNS, "usable")
    assert [(s["start_s"], s["end_s"]) for s in first["usable"]] == [(0.0, 60.0)]
    assert first["usable"][0]["purpose"]


@pytest.mark.parametrize(
    ("options", "listed"),
    [
        ([], ALL),
        (["--verdict", "clean"], ALL[:1]),
        (["--verdict", "clean", "--verdict", "picture-only"], ALL),
        (["--take", "card2"], ALL[2:]),
        (["--take", "a001.MOV"], [ALL[0], ALL[2]]),
        (["--type", "marsh hooter"], ALL[:2]),
        (["--min-snr", "13"], ALL[:1]),
        (["--noise"], [ALL[1]]),
        (["--clean"], [ALL[0], ALL[2]]),
        (["--by", "usable", "--best", "1"], ALL[:1]),
        (["--by", "calls"], ALL),
    ],
)
def test_takes_are_filtered_and_ranked(run, log, options: list[str], listed: list[str]) -> None:
    assert names(run("takes", "--as", "json", *options)) == listed


def test_the_table_gives_verdict_stretches_and_reasons(run, log) -> None:
    ran = run("takes")
    assert ran.status == 0
    lines = ran.out.splitlines()
    assert " ".join(lines[0].split()) == "take length verdict usable calls where why timecode"
    assert "0:00.00-1:00.00" in lines[1]
    assert "the file holds no sound" in ran.out
    assert "3 takes: 1 clean, 0 part, 2 picture-only" in ran.err
    *_, unread, following = ran.err.splitlines()
    assert unread == "card2/A009.mov: it is empty"
    assert following == (
        "Next: `calltag bed --for card1/A002.mov` makes clean background for sound that is lost, "
        "`calltag sheet OUT.html` shows it all on one page."
    )


@pytest.fixture
def long_day(log):
    """A log of 24 takes more, of which a machine spoils every third."""
    with Log(log) as opened:
        one = opened.take_log("card1/A001.mov")
        for n in range(24):
            take = replace(one.take, path=f"card3/C{n:03}.mov", digest=f"c{n}", levels=None)
            spoilt = [
                NoiseSpan(
                    start_s=0.0,
                    end_s=20.0,
                    kind="machine",
                    confidence=0.99,
                    level_dbfs=-30.0,
                    low_hz=50.0,
                    high_hz=200.0,
                )
            ]
            calls = () if n % 2 else one.calls
            noise = spoilt if n % 3 == 0 else ()
            opened.put(TakeLog(take=take, calls=calls, noise=tuple(noise)), feature_version=1)
    return log


def test_of_a_long_day_the_sum_comes_first_and_each_take_has_a_line(terminal, run, long_day):
    seen = terminal(120, "takes").splitlines()
    sums, head, *rows = seen
    assert sums.startswith("27 takes: ")
    assert re.search(r"; \d+ calls in \d+ takes$", sums)
    assert " ".join(head.split()) == "take length verdict usable calls why, in brief"
    listed = [row.split()[0] for row in rows[:27]]
    assert listed[:3] == ALL
    assert listed[3:] == [f"card3/C{n:03}.mov" for n in range(24)], "a line for each"
    assert any(row.rstrip().endswith("(rescue)") for row in rows[:27])
    ran = run("takes")
    *_, following = ran.err.splitlines()
    for command in ("takes --take", "rescue"):
        assert f"`calltag {command} card3/C000.mov`" in following


def test_of_one_take_of_a_long_day_all_is_told(run, long_day) -> None:
    ran = run("takes", "--take", "card3/C000.mov")
    assert "a low cut at" in ran.out
    assert "where" in ran.out.splitlines()[0]
    assert "takes --take" not in ran.err


@pytest.mark.parametrize(("length", "end"), [(LONGEST, "x"), (LONGEST + 1, "…")])
def test_what_would_fold_is_cut_short(length: int, end: str) -> None:
    text = _shortened("x" * length)
    assert (len(text), text[-1]) == (LONGEST, end)


def test_the_table_marks_what_a_rescue_makes_usable_and_counts_channels_that_are_the_same(
    run, log, monkeypatch
) -> None:
    stretches = (
        Usable(0.0, 10.0, "natural sound"),
        Usable(10.0, 15.0, "calls after a low cut at 800 Hz"),
        Usable(15.0, 18.0, "calls after a low cut at 1 kHz"),
        Usable(18.0, 20.0, "calls, with the noise under them"),
        Usable(30.0, 40.0, "natural sound"),
        Usable(41.0, 42.0, TOO_SHORT),
        Usable(43.0, 44.0, "to be heard first: perhaps wind"),
    )
    same = [ChannelFault(FaultKind.SAME, pair) for pair in ((1, 2), (3, 4))]
    reasons = tuple(map(Reason, ["wind at 0:10", *map(said, same)]))
    verdict = Verdict(grade="part", usable=stretches, reasons=reasons)
    monkeypatch.setattr("calltag.takes.verdict.judge", lambda _: verdict)
    with Log(log) as opened:
        one = opened.take_log("card1/A001.mov")
        levels = replace(one.take.levels, channel_faults=tuple(same))
        opened.put(replace(one, take=replace(one.take, levels=levels)), feature_version=1)
    ran = run("takes", "--take", "card1/A001.mov")
    for where in (
        "0:00.00-0:10.00,",
        "0:10.00-0:18.00 treated,",
        "0:18.00-0:20.00 noisy,",
        "0:41.00-0:42.00 unsure,",
        "0:43.00-0:44.00 unsure",
    ):
        assert where in ran.out
    assert "wind at 0:10" in ran.out
    assert "are the same" not in ran.out
    assert "In 1 take, channels are the same." in ran.err
    assert "marked `treated` are usable after `calltag rescue`" in ran.err
    (row,) = csv.DictReader(
        io.StringIO(run("takes", "--take", "card1/A001.mov", "--as", "csv").out)
    )
    assert row["reasons"] == (
        "wind at 0:10; channels 1 and 2 are the same; channels 3 and 4 are the same"
    )


def test_where_calls_of_a_type_are_counted_it_is_told_that_the_reasons_speak_of_all(run, log):
    told = "Under `calls` are those that you asked for; `why` speaks of all calls of a take."
    ran = run("takes", "--type", "pit rail")
    assert "3 calls, the clearest 20 dB" in " ".join(ran.out.split())
    assert told in ran.err.splitlines()
    assert told not in run("takes").err
    assert told not in run("takes", "--type", "marsh hooter: hoot").err, "it has no others"


def test_a_recorders_takes_have_the_timecode_of_the_rushes(run, log) -> None:
    """Its file states its start in samples; it counts at the rate of most takes."""
    with Log(log) as opened:
        one = opened.take_log("card1/A001.mov")
        for name in ("card1/A001.mov", "card1/A002.mov", "card2/A001.mov"):
            filmed = opened.take_log(name)
            take = replace(filmed.take, fps=Fraction(50))
            opened.put(replace(filmed, take=take), feature_version=1)
        recorder = replace(
            one.take, path="R001.wav", digest="9", fps=None, start_tc=None, width=0, height=0,
            time_reference=480_000 + 24_000,
        )  # fmt: skip
        opened.put(TakeLog(take=recorder), feature_version=1)
    assert "00:00:10:25" in run("takes", "--take", "R001.wav").out
    (row,) = json.loads(run("takes", "--take", "R001.wav", "--as", "json").out)
    assert row["start_tc"] == "00:00:10:25"


def test_copies_are_listed_but_counted_once(run, log_of_copies) -> None:
    ran = run("takes")
    assert ran.out.count("A001.mov") == 3
    assert "3 takes and 2 copies: 1 clean, 0 part, 2 picture-only; 1 min 00 s of" in ran.err
    ran = run("takes", "--take", "card1_backup")
    assert "2 takes: 1 clean, 0 part, 1 picture-only; 1 min 00 s of" in ran.err


def test_takes_that_could_not_be_read_are_told_where_all_are_listed(run, log) -> None:
    for options in (["--take", "card1"], ["--verdict", "clean"], ["--best", "1"], ["--noise"]):
        assert "A009" not in run("takes", *options).err


def test_so_it_is_where_a_table_names_it(run, log, tmp_path) -> None:
    """A table of speeds of the whole shoot serves for the takes that can be read."""
    (tmp_path / "table.csv").write_text(
        "take,start_s,end_s,label,speed\nA009.mov,1,2,wind,40%\ncard1/A001.mov,1,2,wind,40%\n"
    )
    ran = run("markers", "day.csv", "--speed", "table.csv")
    assert ran.status == 0
    assert (
        "card2/A009.mov: could not be read: it is empty; its line in the table is passed over."
    ) in ran.err
    for command in (("label", "--from", "table.csv"), ("keep", "--from", "table.csv")):
        ran = run(*command)
        assert ran.status == 1
        assert "card2/A009.mov: could not be read: it is empty; or take its lines out" in ran.err


@pytest.mark.parametrize(
    "command",
    [
        ("takes", "--take"),
        ("calls", "--take"),
        ("label", "--list", "--take"),
        ("label", "--no-open", "--take"),
        ("sheet", "ashmere.html", "--take"),
        ("markers", "day.otio", "--take"),
        ("selects", "best.otio", "--take"),
        ("keep", "--take"),
        ("bed", "--for"),
        ("rescue",),
    ],
)
def test_a_take_that_could_not_be_read_is_told_by_name_everywhere(run, log, command) -> None:
    ran = run(*command, "card2/A009.mov")
    assert ran.status == 1
    assert ran.err == "calltag: card2/A009.mov: could not be read: it is empty\n"


@pytest.mark.parametrize(
    "command", [("markers", "day.otio"), ("selects", "best.otio"), ("sheet", "day.html"), ("keep",)]
)
def test_a_type_that_other_takes_have_is_not_said_to_be_none_of_the_log(run, log, command) -> None:
    ran = run(*command, "--take", "card1/A002.mov", "--type", "pit rail")
    assert ran.status == 1
    assert "the log has no such call" not in ran.err
    assert "owl" in run(*command, "--type", "owl").err


def test_a_type_that_is_not_there_is_told(run, log) -> None:
    ran = run("takes", "--type", "owl")
    assert (ran.status, ran.out) == (1, "")
    assert "call type 'owl': the log has no such call; it has: call, marsh hooter: boom" in ran.err


def test_lengths_are_told_to_the_second() -> None:
    assert take_length(90) == "1 min 30 s"
    assert take_length(171.2) == "2 min 51 s", "usable sound never seems longer than its take"
    assert take_length(0.05) == "0.05 s"


def test_a_narrow_window_shows_how_much_is_usable_before_how_long_takes_are(terminal, log) -> None:
    head = terminal(76, "takes").splitlines()[0]
    assert "usable" in head
    assert "length" not in head


def test_where_no_take_is_listed_nothing_comes_next(run, log) -> None:
    ran = run("takes", "--min-snr", "90")
    assert (ran.status, ran.out) == (0, "")
    assert ran.err.startswith("0 takes: ")
    assert "Next:" not in ran.err
    assert "Next: " in run("takes").err
