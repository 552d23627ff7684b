"""`calltag rescue`: what it says, what it writes, what it refuses."""

from __future__ import annotations

import shutil
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
import typer
from scipy.signal import butter, sosfilt
from typer.testing import CliRunner
from wavinfo import WavInfoReader

from calltag.cli import rescue
from calltag.errors import InputError
from calltag.log import Log
from calltag.records.alignment import Alignment
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.take import Levels, Take

RATE_HZ = 48_000
SECONDS = 12
STARTS_S = (2.0, 5.0, 8.0)


def run(*arguments: str):
    app = typer.Typer()
    rescue.register(app)
    return CliRunner().invoke(app, list(arguments), catch_exceptions=True)


TAKES = (
    ("camA/A001.mov", True, "05:30:00:00"),
    ("camB/B001.mov", False, "05:30:04:00"),
    ("camA/A002.mov", False, "06:00:00:00"),
)
"""Name, whether an engine runs, and start; A002 has no sound."""


@pytest.fixture(scope="module")
def clips(tmp_path_factory, make_clip) -> Path:
    """Whistles under an engine from two cameras, and a clip without sound."""
    rng = np.random.default_rng(20261125)
    n = SECONDS * RATE_HZ
    band = butter(4, [100, 1000], "band", fs=RATE_HZ, output="sos")
    engine = sosfilt(band, rng.standard_normal(n))
    sound = 0.03 * engine / engine.std() + rng.normal(0, 0.0005, n)
    for start_s in STARTS_S:
        t = np.arange(RATE_HZ // 2) / RATE_HZ
        first = round(start_s * RATE_HZ)
        sound[first : first + len(t)] += 0.02 * np.hanning(len(t)) * np.sin(2e4 * np.pi / 2 * t)
    folder = tmp_path_factory.mktemp("clips")
    for name, _, start_tc in TAKES:
        make_clip(
            folder / name,
            seconds=SECONDS,
            samples=np.stack([sound, sound]).astype(np.float32),
            audio_codec=None if name.endswith("A002.mov") else "pcm_s24le",
            timecode=start_tc,
        )
    return folder


@pytest.fixture
def shoot(tmp_path, clips, monkeypatch) -> Path:
    """A log of the clips, in which the engine was heard by the first camera alone."""
    rushes = shutil.copytree(clips, tmp_path / "rushes")
    calls = tuple(
        Call(
            start_s=start_s,
            end_s=start_s + 0.5,
            low_hz=4700,
            high_hz=5300,
            peak_hz=5000,
            snr_db=25,
            level_dbfs=-40,
            call_probability=0.9,
        )
        for start_s in STARTS_S
    )
    with Log(tmp_path / "calltag.db") as log:
        for name, with_noise, start_tc in TAKES:
            mute = name.endswith("A002.mov")
            take = Take(
                path=name,
                rushes=str(rushes),
                digest=name,
                size_bytes=(rushes / name).stat().st_size,
                duration_s=SECONDS,
                fps=Fraction(25),
                start_tc=start_tc,
                sample_rate_hz=None if mute else RATE_HZ,
                channels=0 if mute else 2,
                width=64,
                height=36,
                levels=None
                if mute
                else Levels(peak_dbfs=-15, clipped=0, loudness_lufs=-30, floor_dbfs=-32),
            )
            noise = NoiseSpan(
                start_s=0,
                end_s=SECONDS,
                kind="machine",
                confidence=0.95,
                level_dbfs=-30,
                low_hz=100,
                high_hz=1000,
            )
            found = TakeLog(
                take=take,
                calls=() if mute else calls,
                noise=(noise,) if with_noise else (),
            )
            log.put(found, feature_version=1)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_treated_sound_is_written_beside_nothing_of_the_footage(shoot):
    footage = {path: path.read_bytes() for path in (shoot / "rushes").rglob("*.mov")}
    result = run("A001.mov")
    assert result.exit_code == 0, result.output
    said = result.stdout
    assert "camA/A001.mov: part" in said
    assert "Before: 0 of 3 calls stand" in said
    assert "After:  3 of 3 calls stand" in said
    assert "low cut at" in said
    assert "headphones" not in said
    assert result.stderr.startswith("A001-treated.wav: low cut at")
    assert "headphones" in result.stderr
    assert "camB/B001.mov ran at the same time" in said
    written = shoot / "A001-treated.wav"
    info = sf.info(written)
    assert (info.subtype, info.samplerate, info.channels) == ("PCM_24", RATE_HZ, 2)
    assert info.frames == SECONDS * RATE_HZ
    bext = WavInfoReader(written).bext
    assert bext.time_reference == (5 * 3600 + 30 * 60) * RATE_HZ
    assert "low cut" in bext.description
    assert {path: path.read_bytes() for path in (shoot / "rushes").rglob("*")
            if path.is_file()} == footage  # fmt: skip


def test_a_camera_that_is_lined_up_is_not_to_be_lined_up_again(shoot):
    assert "line the two up" in run("A001.mov", "--dry-run").stdout
    with Log(shoot / "calltag.db") as log:
        log.put_alignment(
            Alignment(
                take_a="camA/A001.mov", take_b="camB/B001.mov", offset_s=1.5, drift_ppm=0,
                confidence=0.99, overlap_s=4,
            )
        )  # fmt: skip
    said = run("A001.mov", "--dry-run").stdout
    assert "it begins 1.500 s after this take" in said
    assert "line the two up" not in said


def test_a_take_that_is_away_is_treated_from_its_copy(shoot, away):
    away(shoot, "camA/A001.mov")
    result = run("camA/A001.mov")
    assert result.exit_code == 0, result.output
    assert (shoot / "A001-treated.wav").is_file()


def test_a_dry_run_writes_nothing(shoot):
    before = sorted(shoot.rglob("*"))
    result = run("A001.mov", "--dry-run")
    assert result.exit_code == 0, result.output
    assert "Would be done: low cut" in result.stdout
    assert result.stderr == ""
    assert sorted(shoot.rglob("*")) == before


def test_ones_own_low_cut_and_place(shoot):
    result = run("camA/A001.mov", "--low-cut", "300", "--out", "cut/thin.wav")
    assert result.exit_code == 0, result.output
    assert (shoot / "cut" / "thin.wav").is_file()
    assert "low cut at 300 Hz" in result.stderr


def test_a_take_without_sound_is_told_where_else_to_look(shoot):
    result = run("A002.mov")
    assert result.exit_code == 0, result.output
    assert "holds no sound" in result.stdout
    assert not list(shoot.glob("*.wav"))


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["B999.mov"], "no such take"),
        (["*.mov"], "several takes"),
        (["A001.mov", "--channel", "7"], "no channel 7"),
        (["A001.mov", "--low-cut", "30000"], "low cut at 30000"),
    ],
)
def test_what_it_refuses(shoot, arguments, word):
    result = run(*arguments)
    assert isinstance(result.exception, InputError)
    with pytest.raises(InputError, match=word):
        raise result.exception


def test_nothing_is_replaced_or_put_into_the_rushes_unasked(shoot, monkeypatch):
    (shoot / "A001-treated.wav").write_bytes(b"mine")
    result = run("A001.mov")
    assert isinstance(result.exception, InputError)
    assert (shoot / "A001-treated.wav").read_bytes() == b"mine"
    assert run("A001.mov", "--replace").exit_code == 0
    monkeypatch.chdir(shoot / "rushes")
    result = run("A001.mov", "--log", str(shoot / "calltag.db"))
    assert "lies in the rushes" in str(result.exception)
