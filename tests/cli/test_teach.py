from __future__ import annotations

import json
import shutil
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from calltag.log import Log
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.label import Label
from calltag.records.take import Levels, Take
from calltag.sound.features import FEATURE_VERSION

POINTS = {"marsh hooter: boom": -4.0, "pit rail": 4.0}


@pytest.fixture
def shoot(tmp_path: Path, rng: np.random.Generator) -> Path:
    """Three takes, in each three calls of two kinds; of each kind two are labelled."""
    path = tmp_path / "calltag.db"
    levels = Levels(peak_dbfs=-6, clipped=0, loudness_lufs=-30, floor_dbfs=-60)
    with Log(path) as log:
        for name in ("A001.mov", "A002.mov", "A003.mov"):
            take = Take(
                path=name,
                rushes="/ashmere",
                digest=name,
                size_bytes=1,
                duration_s=60.0,
                sample_rate_hz=48_000,
                levels=levels,
            )
            calls = [
                Call(
                    start_s=10.0 * kind + 2.0 * again,
                    end_s=10.0 * kind + 2.0 * again + 1.0,
                    low_hz=900,
                    high_hz=1500,
                    peak_hz=1000,
                    snr_db=10,
                    level_dbfs=-40,
                    call_probability=0.9,
                    features=(point + 0.3 * rng.normal(size=5)).astype(np.float32),
                )
                for kind, point in enumerate(POINTS.values())
                for again in range(3)
            ]
            log.put(TakeLog(take=take, calls=tuple(calls)), feature_version=FEATURE_VERSION)
            log.change_labels(
                put=[
                    Label(take=name, start_s=c.start_s, end_s=c.end_s, label=list(POINTS)[i // 3])
                    for i, c in enumerate(calls)
                    if i % 3 < 2
                ]
            )
    return path


def test_calls_are_named_and_the_report_says_how_well(run, shoot) -> None:
    ran = run("teach")
    assert ran.status == 0
    assert "Learnt 2 labels from 12 sounds:" in ran.out
    assert "12 of 12 right" in ran.out
    assert "The model is calltag.model; all calls in the log have their names by it." in ran.err
    assert "Next: `calltag label` begins with what would teach most, `calltag calls" in ran.err
    rows = json.loads(run("calls", "--as", "json", "--min-confidence", "0").out)
    assert len(rows) == 18
    named = [row for row in rows if row["label"] != "call"]
    assert len(named) >= 15
    assert all(row["label"] == list(POINTS)[int(row["start_s"] // 10)] for row in named)


def test_the_model_may_lie_elsewhere(run, shoot, tmp_path) -> None:
    ran = run("teach", "--model", tmp_path / "ashmere.model")
    assert ran.status == 0
    assert (tmp_path / "ashmere.model").is_file()
    assert "`calltag log RUSHES --model" in ran.err


@pytest.mark.parametrize("name", ["calltag.db", "A001.mov", "log.model"])
def test_the_model_overwrites_nothing_but_a_model(run, shoot, tmp_path, name) -> None:
    target = tmp_path / name
    if name == "A001.mov":
        target.write_bytes(b"footage")
    elif name == "log.model":
        shutil.copyfile(shoot, target)
    before = target.read_bytes()
    ran = run("teach", "--model", name)
    assert (ran.status, ran.out) == (1, "")
    assert ran.err == (
        f"calltag: {name}: exists already and is no taught model, so it is not overwritten; name"
        " another file\n"
    )
    assert target.read_bytes() == before


@pytest.mark.parametrize("name", ["calltag.model", "spring"])
def test_a_model_is_replaced_by_the_next(run, shoot, tmp_path, name) -> None:
    assert run("teach", "--model", name).status == 0
    assert run("teach", "--model", name).status == 0
    (tmp_path / "calltag.model").write_bytes(b"damaged")
    assert run("teach").status == 0


def test_without_labels_it_says_what_is_missing(run, log) -> None:
    ran = run("teach")
    assert ran.status == 1
    assert ran.out == ""
    assert ran.err.startswith("calltag: there is no label yet; name five or more")


def test_noise_labels_are_learnt_and_named_in_takes_and_markers(run, tmp_path, rng) -> None:
    path = tmp_path / "calltag.db"
    kinds = ("machine/hedge trimmer", "machine/pump", "marsh hooter: boom")
    levels = Levels(peak_dbfs=-6, clipped=0, loudness_lufs=-30, floor_dbfs=-40)
    with Log(path) as log:
        for name in ("A001.mov", "A002.mov", "A003.mov", "A004.mov"):
            take = Take(
                path=name,
                rushes="/ashmere",
                digest=name,
                size_bytes=1,
                duration_s=60.0,
                fps=Fraction(25),
                sample_rate_hz=48_000,
                levels=levels,
            )
            calls = [
                Call(
                    start_s=2.0 + 20.0 * kind + 3.0 * again,
                    end_s=3.0 + 20.0 * kind + 3.0 * again,
                    low_hz=200,
                    high_hz=1500,
                    peak_hz=300,
                    snr_db=3,
                    level_dbfs=-40,
                    call_probability=0.6,
                    features=(4.0 * np.eye(3)[kind] + 0.3 * rng.normal(size=3)).astype(np.float32),
                )
                for kind in range(3)
                for again in range(4)
            ]
            noise = [
                NoiseSpan(
                    start_s=start_s,
                    end_s=start_s + 16.0,
                    kind="machine",
                    confidence=0.95,
                    level_dbfs=-30,
                    low_hz=100,
                    high_hz=1800,
                    detail="beat of 92 Hz",
                )
                for start_s in (1.0, 21.0)
            ]
            found = TakeLog(take=take, calls=tuple(calls), noise=tuple(noise))
            log.put(found, feature_version=FEATURE_VERSION)
            if name != "A004.mov":  # the last take is heard by what was learnt alone
                log.change_labels(
                    put=[
                        Label(take=name, start_s=c.start_s, end_s=c.end_s, label=kinds[i // 4])
                        for i, c in enumerate(calls)
                    ]
                )
    ran = run("teach")
    assert ran.status == 0, ran.err
    assert "machine/hedge trimmer" in ran.out
    rows = json.loads(run("takes", "--take", "A004.mov", "--as", "json").out)
    assert "machine, hedge trimmer, at 0:01-0:21: " in rows[0]["reasons"]
    assert "machine, pump, at 0:21-0:37: " in rows[0]["reasons"]
    assert rows[0]["reasons"].count("beat of 92 Hz") == 2
    assert run("markers", "out.csv", "--mark-noise", "--take", "A004.mov").status == 0
    written = (tmp_path / "out.csv").read_text("utf-8")
    assert "noise: machine/hedge trimmer" in written
    assert "noise: machine/pump" in written
