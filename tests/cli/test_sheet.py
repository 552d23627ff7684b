"""`calltag sheet`: what it writes, says and refuses."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest

from calltag.log import Log
from calltag.records.found import Call, TakeLog
from calltag.records.take import Take


@pytest.fixture
def logged(tmp_path: Path, make_clip) -> Path:
    """A take that can be read and one that cannot, both with picture."""
    make_clip(tmp_path / "A001.mov", seconds=2, noisy_picture=True)
    log_path = tmp_path / "calltag.db"
    with Log(log_path) as log:
        for name in ("A001.mov", "A002.mov"):
            take = Take(
                path=name,
                rushes=str(tmp_path),
                digest=name,
                size_bytes=1,
                duration_s=2.0,
                width=64,
                height=36,
            )
            log.put(TakeLog(take=take), feature_version=1)
    return log_path


def test_a_sheet_is_written_and_what_could_not_be_read_is_told(logged: Path, run) -> None:
    ran = run("sheet", "ashmere.html", "--workers", 1)
    assert ran.status == 3
    assert ran.out == ""
    assert "\nashmere.html: 2 takes, 0 calls, " in ran.err
    assert "A002.mov: is not there" in ran.err
    assert "of sound" not in ran.err
    assert (logged.parent / "ashmere.html").read_text("utf-8").count("<article") == 2
    again = run("sheet", "ashmere.html")
    assert again.status == 1
    assert "--replace" in again.err


@pytest.mark.usefixtures("in_one_process")
def test_a_take_is_chosen(logged: Path, run) -> None:
    ran = run("sheet", "one.html", "--take", "A001.mov", "--no-picture", "--workers", 1)
    assert ran.status == 0
    assert re.search(r"^one.html: 1 take, 0 calls, \d+ kB$", ran.err, re.MULTILINE)
    with Log(logged) as log:
        assert log.take_log("A001.mov").pictures == ()


def test_sound_alone_counts_as_in_the_other_listings(logged: Path, run) -> None:
    """At the rate of most of the rushes, whichever takes are on the sheet."""
    half_past = Take(
        path="R001.WAV",
        rushes=str(logged.parent),
        digest="R",
        size_bytes=1,
        duration_s=2.0,
        sample_rate_hz=48_000,
        time_reference=1800 * 48_000 + 24_000,
        channels=1,
    )
    filmed = Take(
        path="B001.mov",
        rushes=str(logged.parent),
        digest="B",
        size_bytes=1,
        duration_s=2.0,
        fps=Fraction(50),
        width=64,
        height=36,
    )
    with Log(logged) as log:
        for take in (half_past, filmed):
            log.put(TakeLog(take=take), feature_version=1)
    assert "00:30:00:25" in run("takes", "--take", "R001.WAV").out
    run("sheet", "sound.html", "--take", "R001.WAV", "--workers", 1)
    assert "00:30:00:25" in (logged.parent / "sound.html").read_text("utf-8")


def test_what_was_taught_to_be_noise_is_no_call_left_out(logged: Path, run) -> None:
    sure, doubtful, gust = (
        Call(
            start_s=start_s,
            end_s=start_s + 0.4,
            low_hz=200,
            high_hz=2000,
            peak_hz=400,
            snr_db=20,
            level_dbfs=-30,
            call_probability=0.9,
            label=label,
            confidence=confidence,
        )
        for start_s, label, confidence in (
            (0.1, "marsh hooter: boom", 0.9),
            (0.6, "marsh hooter: boom", 0.3),
            (1.1, "wind", 0.9),
        )
    )
    for calls, told in (((sure, gust), ""), ((sure, doubtful, gust), "1 less likely find or")):
        with Log(logged) as log:
            take = log.take_log("A001.mov").take
            log.put(TakeLog(take=take, calls=calls), feature_version=1)
        run("sheet", "one.html", "--take", "A001.mov", "--no-picture", "--workers", 1, "--replace")
        text = (logged.parent / "one.html").read_text("utf-8")
        assert text.count("not shown.</p>") == bool(told)
        assert told in text


def test_nothing_to_show_is_told(logged: Path, run) -> None:
    ran = run("sheet", "none.html", "--min-snr", 90)
    assert ran.status == 1
    assert "no takes to put on a sheet" in ran.err
    assert run("sheet", "sheet.pdf").status == 2
    ran = run("sheet", "none.html", "--type", "owl")
    assert ran.status == 1
    assert "call type 'owl': the log has no such call; it has: none" in ran.err
    assert not (logged.parent / "none.html").exists()


@pytest.mark.parametrize("options", [[], ["--folder"]], ids=str)
def test_a_place_that_cannot_be_written_is_told_before_the_work(
    logged: Path, run, monkeypatch: pytest.MonkeyPatch, options: list[str]
) -> None:
    def worked(*_: object, **__: object) -> None:
        raise AssertionError("the takes were worked through")

    monkeypatch.setattr("calltag.pages.sheet.writing._gathered", worked)
    ran = run("sheet", "calltag.db/sheet.html", *options)
    assert ran.status == 1
    assert "sheet.html: cannot be written (" in ran.err
    assert [path.name for path in logged.parent.glob(".*")] == []
