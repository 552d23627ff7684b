"""`calltag bed`: what it writes and says."""

from __future__ import annotations

from pathlib import Path

import pytest
import soundfile as sf
import typer
from typer.testing import CliRunner
from wavinfo import WavInfoReader

from calltag.cli import bed
from calltag.errors import InputError
from calltag.log import Log
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.take import Levels, Take

RATE_HZ = 48_000


def run(*arguments: str):
    app = typer.Typer()
    bed.register(app)
    return CliRunner().invoke(app, list(arguments))


@pytest.fixture
def shoot(tmp_path, rng, monkeypatch) -> Path:
    rushes = tmp_path / "rushes"
    with Log(tmp_path / "calltag.db") as log:
        for name, seconds, spoilt in (
            ("hide/A001.wav", 20, False),
            ("hide/A002.wav", 14, False),
            ("jetty/B001.wav", 30, False),
            ("hide/A003.wav", 10, True),
        ):
            path = rushes / name
            path.parent.mkdir(parents=True, exist_ok=True)
            sf.write(path, rng.normal(0, 0.003, (seconds * RATE_HZ, 2)), RATE_HZ, subtype="PCM_24")
            take = Take(
                path=name,
                rushes=str(rushes),
                digest=name,
                size_bytes=1,
                duration_s=seconds,
                sample_rate_hz=RATE_HZ,
                channels=2,
                levels=Levels(peak_dbfs=-35, clipped=0, loudness_lufs=-47, floor_dbfs=-50),
            )
            rasp = NoiseSpan(
                start_s=0,
                end_s=seconds,
                kind="machine",
                confidence=0.95,
                level_dbfs=-25,
                low_hz=100,
                high_hz=9000,
            )
            call = Call(
                start_s=10,
                end_s=11,
                low_hz=900,
                high_hz=1100,
                peak_hz=1000,
                snr_db=20,
                level_dbfs=-40,
                call_probability=0.9,
            )
            found = TakeLog(
                take=take,
                noise=(rasp,) if spoilt else (),
                calls=(call,) if name == "hide/A001.wav" else (),
            )
            log.put(found, feature_version=1)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_from_the_same_place(shoot):
    result = run("--seconds", "10", "--for", "A003.wav")
    assert result.exit_code == 0, result.output
    assert WavInfoReader("bed.wav").bext.coding_history.splitlines()[0].endswith("bed of 1 stretch")
    assert sf.info("bed.wav").frames == 10 * RATE_HZ
    assert "hide/A002.wav" in result.stderr
    assert "LUFS" in result.stderr
    assert "dBTP" in result.stderr
    assert "headphones" in result.stderr
    assert "another place" not in result.stderr


def test_calls_are_kept_when_asked_for_with_the_caution(shoot):
    result = run("--seconds", "15", "--for", "A003.wav", "--calls", "keep", "--out", "calls.wav")
    assert result.exit_code == 0, result.output
    assert "hide/A001.wav" in result.stderr
    assert "do not play it to wild animals" in result.stderr
    assert "wild animals" not in run("--seconds", "10").stderr


def test_a_dry_run_lists_the_stretches(shoot):
    result = run("--dry-run", "--for", "A003.wav")
    assert result.exit_code == 0, result.output
    rows = [line.split() for line in result.stdout.splitlines()]
    assert rows[0] == ["take", "from", "to", "length"]
    assert rows[1] == ["hide/A002.wav", "0:00.00", "0:14.00", "14.0", "s"]
    assert ["hide/A001.wav", "0:00.00", "0:09.50", "9.5", "s"] in rows
    assert f"{len(rows) - 1} clean stretches of " in result.stderr
    assert "nothing was written" in result.stderr
    assert not Path("bed.wav").exists()


def test_a_dry_run_says_why_there_is_none(shoot):
    with Log(shoot / "calltag.db") as log:
        for take in [entry.take for entry in log.entries()]:
            if take.path != "hide/A003.wav":
                log.forget([take.path])
    result = run("--dry-run")
    with pytest.raises(InputError, match="every take is spoilt, and `calltag takes` says by what"):
        raise result.exception


def test_a_take_that_is_away_is_read_from_its_copy(shoot, away):
    away(shoot, "jetty/B001.wav")
    result = run("--seconds", "25")
    assert result.exit_code == 0, result.output


def test_a_take_that_is_gone_is_named_as_the_log_does(shoot):
    (shoot / "rushes/jetty/B001.wav").unlink()
    result = run("--seconds", "25")
    assert str(result.exception).startswith("jetty/B001.wav: is not there")
    assert not Path("bed.wav").exists()


def test_too_little_is_told(shoot):
    result = run("--seconds", "120", "--for", "A003.wav")
    assert result.exit_code == 0, result.output
    assert "comes again" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["--for", "Z.wav"], "no such take"),
        (["--out", "rushes/hide/A001.wav"], "never written to"),
    ],
)
def test_what_it_refuses(shoot, arguments, word):
    result = run(*arguments)
    with pytest.raises(InputError, match=word):
        raise result.exception
