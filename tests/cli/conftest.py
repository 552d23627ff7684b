"""A small log of Ashmere, and the command line as a function."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from calltag.cli import main
from calltag.log import Log
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.label import CALL
from calltag.records.take import Levels, Problem, Take

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Ran:
    """How a command ended and what it said."""

    status: int
    out: str
    err: str


def away_with_a_copy(folder: Path, path: str) -> Path:
    """Move a take's file into a backup that the log knows too."""
    with Log(folder / "calltag.db") as log:
        one = log.take_log(path)
        copy = replace(one.take, path=f"spare/{path}", rushes=str(folder / "backup"))
        log.put(replace(one, take=copy, calls=()), feature_version=1)
    place = copy.file
    place.parent.mkdir(parents=True)
    one.take.file.rename(place)
    return place


@pytest.fixture
def away() -> Callable[[Path, str], Path]:
    return away_with_a_copy


@pytest.fixture
def run(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Callable[..., Ran]:
    """Run a command in the test's own folder."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments: object) -> Ran:
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return Ran(int(ended.value.code or 0), out, err)

    return run


@pytest.fixture
def terminal(tmp_path: Path) -> Callable[..., str]:
    """Run a command in a terminal of a given width, and return what is seen there."""
    pty = pytest.importorskip("pty")
    import fcntl
    import struct
    import termios

    def terminal(columns: int, *arguments: object, **environment: str) -> str:
        ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 30, columns, 0, 0))
        kept = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "NO_COLOR")}
        run = subprocess.Popen(
            [sys.executable, "-m", "calltag", *map(str, arguments)],
            cwd=tmp_path,
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env=kept | {"TERM": "xterm", "PYTHONPATH": str(ROOT)} | environment,
        )
        os.close(theirs)
        seen = b""
        with suppress(OSError):  # the other end is closed
            while piece := os.read(ours, 65536):
                seen += piece
        os.close(ours)
        run.wait(timeout=180)
        return re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", seen.decode())

    return terminal


def call(start_s: float, label: str = CALL, **changes: object) -> Call:
    values: dict[str, object] = {
        "start_s": start_s,
        "end_s": start_s + 0.5,
        "low_hz": 2000.0,
        "high_hz": 4000.0,
        "peak_hz": 3000.0,
        "snr_db": 12.0,
        "level_dbfs": -30.0,
        "call_probability": 0.9,
        "label": label,
        "confidence": 0.9,
        "features": np.full(4, start_s, np.float32),
    }
    return Call(**(values | changes))  # type: ignore[arg-type]


@pytest.fixture
def log_of_copies(log: Path, tmp_path: Path) -> Path:
    """The log, with a backup of card1 in the rushes."""
    with Log(log) as opened:
        for one in list(opened.take_logs()):
            if one.take.path.startswith("card1/"):
                copy = replace(one.take, path=one.take.path.replace("card1", "card1_backup"))
                opened.put(replace(one, take=copy), feature_version=1)
    return log


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Three takes: a clean one, one in the wind, one without sound; and one that is broken."""
    levels = Levels(peak_dbfs=-9, clipped=0, loudness_lufs=-31, floor_dbfs=-60)
    common = {"rushes": str(tmp_path / "rushes"), "size_bytes": 1, "duration_s": 60.0}
    sound = {"sample_rate_hz": 48_000, "channels": 2, "levels": levels}
    picture = {"fps": Fraction(25), "width": 1920, "height": 1080}
    clean = TakeLog(
        take=Take(
            path="card1/A001.mov", digest="1", start_tc="05:10:00:00", **common, **sound, **picture
        ),
        calls=(
            call(1.0, "marsh hooter: boom", snr_db=20.0),
            call(5.0, snr_db=14.0),
            call(9.0, call_probability=0.3),
            call(12.0, "pit rail", confidence=0.7, level_dbfs=-20.0),
        ),
    )
    windy = TakeLog(
        take=Take(path="card1/A002.mov", digest="2", **common, **sound, **picture),
        calls=(call(30.0, "marsh hooter: hoot", noise=("wind",), snr_db=3.0),),
        noise=(
            NoiseSpan(
                start_s=0.0,
                end_s=60.0,
                kind="wind",
                confidence=0.9,
                level_dbfs=-20.0,
                low_hz=20.0,
                high_hz=9000.0,
            ),
        ),
    )
    mute = TakeLog(take=Take(path="card2/A001.mov", digest="3", **common, **picture))
    path = tmp_path / "calltag.db"
    with Log(path) as opened:
        for one in (clean, windy, mute):
            opened.put(one, feature_version=1)
        opened.put_problem(
            str(tmp_path / "rushes"), Problem(path="card2/A009.mov", reason="it is empty")
        )
    return path
