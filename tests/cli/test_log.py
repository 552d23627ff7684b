from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from calltag.log import Log
from calltag.records.found import NoiseSpan, TakeLog
from calltag.records.take import Take
from calltag.run import RunReport

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def logged(tmp_path_factory: pytest.TempPathFactory, make_clip) -> Path:
    """Two real clips, one of them silent film, and a broken one, logged by the real program."""
    folder = tmp_path_factory.mktemp("shoot")
    make_clip(folder / "rushes" / "A001.mov", seconds=3.0, timecode="05:10:00:00")
    make_clip(folder / "rushes" / "A002.mov", seconds=1.0, audio_codec=None)
    (folder / "rushes" / "A003.mov").write_bytes(b"not a clip")
    return folder


def calltag(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "calltag", *arguments],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_rushes_are_logged_and_a_broken_take_is_named(logged: Path) -> None:
    ran = calltag(logged, "log", "rushes", "--workers", "1")
    assert ran.returncode == 3
    lines = ran.stdout.splitlines()
    assert lines[0] == "3 takes in the rushes: 2 analysed now, 1 could not be read."
    assert "Without sound: A002.mov." in lines
    assert any(line.startswith("In the log: ") for line in lines)
    assert "\nA003.mov: " in f"\n{ran.stderr}"
    assert "Next: `calltag takes`" in ran.stderr
    assert "`calltag label` opens a page to name some" in ran.stderr
    assert "Traceback" not in ran.stderr
    with Log(logged / "calltag.db") as log:
        takes = {take.path: take for take in log.takes()}
        assert sorted(takes) == ["A001.mov", "A002.mov"]
        assert takes["A001.mov"].start_tc == "05:10:00:00"
        assert takes["A001.mov"].levels is not None
        assert takes["A002.mov"].levels is None
    assert sorted(path.name for path in (logged / "rushes").iterdir()) == [
        "A001.mov",
        "A002.mov",
        "A003.mov",
    ], "nothing is written beside the clips"


def test_where_nothing_could_be_read_nothing_comes_next(run, tmp_path, in_one_process) -> None:
    (tmp_path / "rushes").mkdir()
    (tmp_path / "rushes" / "A001.mov").write_bytes(b"no clip")
    ran = run("log", "rushes")
    assert ran.status == 1
    assert "A001.mov: " in ran.err
    assert "Next:" not in ran.err


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["log", "nowhere"], "nowhere: there is no such folder or clip"),
        (["log", "rushes", "--log", "deep/calltag.db"], "the folder deep does not exist"),
    ],
)
def test_what_cannot_be_is_told_in_one_sentence(run, tmp_path, arguments, sentence) -> None:
    (tmp_path / "rushes").mkdir()
    (tmp_path / "rushes" / "A001.mov").write_bytes(b"x")
    ran = run(*arguments)
    assert ran.status == 1
    assert ran.err.count("\n") == 1
    assert sentence in ran.err


def report(**changes: object) -> RunReport:
    values: dict[str, object] = {
        "takes": 1,
        "own": 0,
        "analysed": 0,
        "known": 1,
        "moved": (),
        "copied": 0,
        "silent": (),
        "problems": (),
        "missing": (),
        "replaced": (),
        "sound_s": 0.0,
        "elapsed_s": 1.0,
        "model": None,
        "notes": (),
    }
    return RunReport(**(values | changes))  # type: ignore[arg-type]


def test_takes_whose_files_are_gone_are_dropped_only_when_asked(run, log, monkeypatch) -> None:
    gone = report(missing=("card1/A002.mov",))
    dropped = []

    def log_rushes(*_: object, drop_missing: bool, **__: object) -> RunReport:
        dropped.append(drop_missing)
        return gone

    monkeypatch.setattr("calltag.run.log_rushes", log_rushes)
    ran = run("log", "rushes")
    assert ran.status == 0
    assert "but kept in the log: card1/A002.mov; --drop-missing takes them out." in ran.err
    ran = run("log", "rushes", "--drop-missing")
    assert "Taken out of the log, as their files are gone: card1/A002.mov." in ran.err
    assert dropped == [False, True]


def test_one_copy_is_told_as_one(run, log, monkeypatch) -> None:
    monkeypatch.setattr("calltag.run.log_rushes", lambda *_, **__: report(takes=2, copied=1))
    assert "1 known already, 1 copy of another." in run("log", "rushes").out


def test_the_summary_counts_types_and_noise(run, log, monkeypatch) -> None:
    many = report(takes=9, analysed=3, known=4, copied=2, moved=(("a.mov", "b.mov"),))
    monkeypatch.setattr("calltag.run.log_rushes", lambda *_, **__: many)
    assert run("log", "rushes").out.splitlines() == [
        "9 takes in the rushes: 3 analysed now, 4 known already, 2 copies of others.",
        "Moved or renamed, so not analysed again: a.mov is now b.mov.",
        "In the log: 4 calls in 2 takes, and 1 more that is doubtful.",
        "Call types: marsh hooter: boom 1, pit rail 1, marsh hooter: hoot 1; not named 1.",
        "Noise: wind in 1 take.",
    ]


SLOW = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job begins without it
from pathlib import Path
import calltag.run
from calltag.records.found import TakeLog
from calltag.records.take import Take

def analyse(job):
    (Path("started") / job.path).touch()
    time.sleep(60 if job.path == "A002.mov" else 0)
    return TakeLog(take=Take(path=job.path, rushes=job.rushes, digest=job.digest,
                             size_bytes=job.size_bytes, duration_s=1.0))

if __name__ == "__main__":
    from calltag.cli import main
    log_rushes = calltag.run.log_rushes
    calltag.run.log_rushes = lambda *given, **more: log_rushes(*given, analyse=analyse, **more)
    main(["log", "rushes", "--workers", "1"])
"""


def test_where_no_take_can_be_read_nothing_was_done(run, tmp_path) -> None:
    rushes = tmp_path / "broken"
    rushes.mkdir()
    (rushes / "A001.mov").write_bytes(b"no picture, no sound")
    ran = run("log", str(rushes), "--log", str(tmp_path / "empty.db"))
    assert ran.status == 1
    assert "A001.mov: " in ran.err


@pytest.mark.skipif(os.name != "posix", reason="stops a program by POSIX signals")
def test_a_stopped_run_says_so_and_ends_with_130(tmp_path: Path) -> None:
    for name in ("rushes", "started"):
        (tmp_path / name).mkdir()
    for number in (1, 2):
        (tmp_path / "rushes" / f"A00{number}.mov").write_text(f"{number}")
    run = subprocess.Popen(
        [sys.executable, "-c", SLOW],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stderr=subprocess.PIPE,
        text=True,
    )
    while not (tmp_path / "started" / "A002.mov").exists():
        assert run.poll() is None
        time.sleep(0.02)
    time.sleep(0.1)
    run.send_signal(signal.SIGINT)
    _, errors = run.communicate(timeout=120)
    assert run.returncode == 130
    assert errors.splitlines()[-1] == (
        "Stopped; what was finished is kept. The same command goes on from here."
    )
    assert "Traceback" not in errors
    with Log(tmp_path / "calltag.db") as log:
        assert [take.path for take in log.takes()] == ["A001.mov"]


@pytest.mark.skipif(os.name != "posix", reason="stops a program by POSIX signals")
def test_a_system_that_shuts_down_stops_a_run_likewise(run, log, monkeypatch) -> None:
    def interrupted(*_: object, **__: object) -> None:
        os.kill(os.getpid(), signal.SIGTERM)

    before = signal.getsignal(signal.SIGTERM)
    monkeypatch.setattr("calltag.run.log_rushes", interrupted)
    ran = run("log", "rushes")
    assert ran.status == 130
    assert "The same command goes on from here." in ran.err
    assert signal.getsignal(signal.SIGTERM) == before


def test_a_terminal_shows_a_bar_with_takes_sound_and_time(terminal, logged, tmp_path) -> None:
    said = terminal(100, "log", logged / "rushes", "--workers", "1", "--log", logged / "calltag.db")
    assert "3 takes in the rushes: 0 analysed now, 2 known already, 1 could not be read." in said
    assert "0 of 1 take" in said
    assert "1 of 1 take, 0 s of sound" in said
    assert "Traceback" not in said


def test_what_copies_hold_is_told_once(log_of_copies) -> None:
    from calltag.cli._summary import find_lines

    with Log(log_of_copies) as opened:
        told = list(find_lines(list(opened.take_logs())))
    assert told == [
        "In the log: 4 calls in 2 takes, and 1 more that is doubtful.",
        "Call types: marsh hooter: boom 1, pit rail 1, marsh hooter: hoot 1; not named 1.",
        "Noise: wind in 1 take.",
    ]


def test_noises_of_as_many_takes_are_told_in_the_same_order_each_time() -> None:
    from calltag.cli._summary import find_lines

    kinds = ("wind", "water", "voice", "machine", "handling")
    take = Take(path="A001.MP4", rushes="/card", digest="", size_bytes=1, duration_s=1.0)
    wind = NoiseSpan(
        start_s=0.0,
        end_s=1.0,
        kind="wind",
        confidence=0.9,
        level_dbfs=-40.0,
        low_hz=100.0,
        high_hz=900.0,
    )
    noise = tuple(replace(wind, kind=kind) for kind in kinds)
    *_, line = find_lines([TakeLog(take=take, noise=noise)])
    assert line == "Noise: " + ", ".join(f"{kind} in 1 take" for kind in sorted(kinds)) + "."
