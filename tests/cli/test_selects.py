"""`calltag selects`: the timeline and the sound it writes, read back, and what it says."""

from __future__ import annotations

import errno
import os
import shutil
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import opentimelineio as otio
import pytest
import soundfile as sf
import typer
from otio_cmx3600_adapter import cmx_3600
from typer.testing import CliRunner
from wavinfo import WavInfoReader

from calltag.cli import selects
from calltag.log import Log
from calltag.media.timing.timecode import nearest_frame
from calltag.records.alignment import Alignment
from calltag.records.found import Call, TakeLog
from calltag.records.take import Take

RUNNER = CliRunner()


@pytest.fixture(scope="module")
def clips(tmp_path_factory, make_clip) -> Path:
    """A clip of four seconds, half a second of it loud."""
    rng = np.random.default_rng(3)
    samples = rng.normal(0, 0.01, (2, 4 * 48_000)).astype(np.float32)
    samples[:, 96_000:120_000] *= 60
    clip = tmp_path_factory.mktemp("clips") / "A001.mov"
    make_clip(clip, seconds=4.0, samples=samples, audio_codec="pcm_s24le")
    return clip.parent


@pytest.fixture
def shoot(tmp_path, clips, monkeypatch) -> Path:
    """A log of the clip, with three calls in it, the second one loud."""
    (clip,) = shutil.copytree(clips, tmp_path / "rushes").iterdir()
    take = Take(
        path=clip.name,
        rushes=str(clip.parent),
        digest="d",
        size_bytes=1,
        duration_s=4.0,
        fps=Fraction(25),
        start_tc="10:00:00:00",
        sample_rate_hz=48_000,
        channels=2,
        width=64,
        height=36,
    )
    calls = tuple(
        Call(
            start_s=start_s,
            end_s=start_s + 0.5,
            low_hz=180,
            high_hz=2210,
            peak_hz=400,
            snr_db=snr_db,
            level_dbfs=-31,
            call_probability=0.9,
            label=label,
            confidence=0.8,
        )
        for start_s, snr_db, label in (
            (0.5, 10, "marsh hooter: boom"),
            (2.0, 30, "pit rail: tick"),
            (3.0, 20, "marsh hooter: grunt"),
        )
    )
    with Log(tmp_path / "calltag.db") as log:
        log.put(TakeLog(take=take, calls=calls), feature_version=1)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*arguments: str):
    app = typer.Typer()
    selects.register(app)
    return RUNNER.invoke(app, list(arguments))


def test_once_takes_a_call_of_two_cameras_from_the_better(shoot):
    with Log(Path("calltag.db")) as log:
        (one,) = log.take_logs()
        other = replace(one.take, path="B001.mov", digest="e")
        quieter = tuple(replace(call, snr_db=call.snr_db - 5) for call in one.calls)
        log.put(TakeLog(take=other, calls=quieter), feature_version=1)
        log.put_alignment(
            Alignment(
                take_a="A001.mov", take_b="B001.mov", offset_s=0, drift_ppm=0, confidence=1,
                overlap_s=4,
            )
        )  # fmt: skip
    assert run("all.otio").stderr.startswith("all.otio: 6 calls")
    result = run("once.otio", "--once")
    assert result.stderr.startswith("once.otio: 3 calls"), result.stderr
    timeline = otio.adapters.read_from_file("once.otio")
    assert {clip.name for clip in timeline.find_clips()} == {"A001.mov"}
    assert run("rail.otio", "--once", "--type", "pit rail").stderr.startswith("rail.otio: 1 call,")


def test_a_call_that_goes_on_in_the_next_file_is_told(shoot):
    with Log(Path("calltag.db")) as log:
        (one,) = log.take_logs()
        first = replace(one.take, recorded="2026-04-18T10:00:00Z")
        then = {"start_tc": "10:00:04:00", "recorded": "2026-04-18T10:00:04Z"}
        cut_off = (*one.calls[:2], replace(one.calls[2], end_s=4.0))
        log.put(TakeLog(take=first, calls=cut_off), feature_version=1)
        second = replace(first, path="A002.mov", digest="e", **then)
        log.put(TakeLog(take=second), feature_version=1)
    told = "A001.mov at 0:03.00: only the part in this file; the call goes on in A002.mov.\n"
    assert told in run("all.otio").stderr
    rail = run("rail.otio", "--type", "pit rail", "--handles", "3").stderr
    assert "only the part" not in rail
    assert "to the end of the file; the recording goes on in A002.mov.\n" in rail


def test_an_edit_list_that_goes_on_past_midnight_is_told(shoot):
    told = "late.edl: it begins at 23:59:59:00 and goes on past midnight"
    assert told in run("late.edl", "--start-tc", "23:59:59:00").stderr


def test_the_best_first(shoot):
    result = run("best.otio", "--best", "2", "--handles", "0.2", "--gap", "1")
    assert result.exit_code == 0, result.stderr
    assert result.stderr == "best.otio: 2 calls, the best first\n"
    timeline = otio.adapters.read_from_file("best.otio")
    assert len(timeline.tracks) == 2
    for track in timeline.tracks:
        assert [(item.source_range.start_time.value, item.duration().value) for item in track] == [
            (900_045, 23),
            (0, 25),
            (900_070, 23),
        ]


def test_of_a_type_as_an_edit_list(shoot):
    result = run("best.edl", "--type", "marsh hooter", "--handles", "0")
    assert result.exit_code == 0, result.stderr
    timeline = cmx_3600.read_from_string(Path("best.edl").read_text(), rate=25)
    starts = [clip.source_range.start_time.value for clip in timeline.tracks[0]]
    assert starts == [900_075, 900_013]


def test_of_calls_that_stand_far_above_their_background(shoot):
    for options in ([], ["--once"]):
        result = run("best.otio", "--min-snr", "20", "--replace", *options)
        assert result.stderr == "best.otio: 2 calls, the best first\n"
    assert "no call was chosen" in str(run("none.otio", "--min-snr", "31").exception)


def test_with_sound(shoot):
    result = run("best.otio", "--sound", "best.wav", "--handles", "0.2", "--gap", "0.4")
    assert result.exit_code == 0, result.stderr
    assert "best.wav: 3 calls, 1 not at its own level" in result.stderr
    assert "A001.mov at 2.0 s: -" in result.stderr
    assert "Turn your headphones down" in result.stderr
    assert "Do not play calls to wild animals" in result.stderr
    assert sf.info("best.wav").subtype == "PCM_24"
    cues = WavInfoReader("best.wav").cues.to_dict().values()
    assert [cue["label"] for cue in cues] == [
        "pit rail: tick",
        "marsh hooter: grunt",
        "marsh hooter: boom",
    ]
    # Cues lie where the markers of the timeline do: 23 frames and 10 of gap each, 5 of handle.
    assert [nearest_frame(Fraction(cue["frame"], 48_000), Fraction(25)) for cue in cues] == [
        5,
        38,
        71,
    ]
    timeline = otio.adapters.read_from_file("best.otio")
    assert timeline.duration().to_seconds() * 48_000 == sf.info("best.wav").frames


def test_a_disk_that_is_full_leaves_the_timeline_and_its_sound_as_they_were(shoot, monkeypatch):
    """The sound takes the room; a new timeline beside an old sound would not fit it."""
    run("best.otio", "--sound", "best.wav")
    before = {path: path.read_bytes() for path in shoot.iterdir() if path.is_file()}

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("calltag.media.wave_files.wav_writing.stored_bytes", full)
    result = run("best.otio", "--sound", "best.wav", "--best", "1", "--replace")
    assert str(result.exception).startswith("best.wav: cannot be written (no space left")
    assert result.stderr == ""
    assert {path: path.read_bytes() for path in shoot.iterdir() if path.is_file()} == before


@pytest.mark.parametrize("refused", ["best.otio", "best.wav"])
def test_where_one_file_cannot_be_put_in_place_neither_is(shoot, monkeypatch, refused):
    run("best.otio", "--sound", "best.wav")
    before = {path: path.read_bytes() for path in shoot.iterdir() if path.is_file()}
    put = Path.replace

    def held(partial, target):
        if target.name == refused:
            raise OSError(errno.EPERM, os.strerror(errno.EPERM))
        return put(partial, target)

    monkeypatch.setattr(Path, "replace", held)
    result = run("best.otio", "--sound", "best.wav", "--best", "1", "--replace")
    assert str(result.exception).startswith(f"{refused}: cannot be written")
    assert result.stderr == ""
    assert {path: path.read_bytes() for path in shoot.iterdir() if path.is_file()} == before


def test_each_of_several_edit_lists_has_its_own_sound(shoot, clips):
    shutil.copyfile(clips / "A001.mov", shoot / "rushes" / "B001.mov")
    with Log(shoot / "calltag.db") as log:
        (one,) = log.take_logs()
        take = replace(one.take, path="B001.mov", digest="e", fps=Fraction(50))
        log.put(replace(one, take=take, calls=one.calls[:2]), feature_version=1)
    result = run("best.edl", "--sound", "best.wav", "--handles", "0", "--gap", "0.2")
    assert result.exit_code == 0, result.output
    assert not Path("best.wav").exists()
    for rate, n_calls, whole_s in ((25, 3, 1.9), (50, 2, 1.2)):
        cues = WavInfoReader(f"best_{rate}.wav").cues
        starts_s = [cue["frame"] / 48_000 for cue in cues.to_dict().values()]
        clips_of = cmx_3600.read_from_string(
            Path(f"best_{rate}.edl").read_text(), rate=rate
        ).tracks[0]
        at_s = [clip.range_in_parent().start_time.to_seconds() for clip in clips_of.find_clips()]
        assert len(starts_s) == n_calls
        assert starts_s == pytest.approx(at_s, abs=1 / rate)
        assert sf.info(f"best_{rate}.wav").duration == pytest.approx(whole_s, abs=0.05)
        assert f"best_{rate}.wav: {n_calls} calls" in result.stderr
    assert result.stderr.count("Turn your headphones down") == 1

    before = Path("best_50.wav").read_bytes()
    Path("best_25.edl").unlink()
    assert "best_50.edl: exists already" in str(run("best.edl", "--sound", "best.wav").exception)
    assert Path("best_50.wav").read_bytes() == before
    assert not Path("best_25.edl").exists()


@pytest.mark.parametrize("out", ["best.edl", "best.otio"])
def test_a_take_that_is_gone_leaves_nothing_half_done(shoot, out):
    with Log(shoot / "calltag.db") as log:
        (one,) = log.take_logs()
        take = replace(one.take, path="card2/B001.mov", digest="e", fps=Fraction(50))
        log.put(replace(one, take=take), feature_version=1)
    before = sorted(shoot.rglob("*"))
    result = run(out, "--sound", "best.wav")
    assert str(result.exception).startswith("card2/B001.mov: is not there")
    assert sorted(shoot.rglob("*")) == before


def test_a_take_that_is_away_comes_from_its_copy(shoot, away):
    copy = away(shoot, "A001.mov")
    result = run("best.otio", "--best", "1", "--sound", "best.wav")
    assert result.exit_code == 0, result.output
    timeline = otio.adapters.read_from_file("best.otio")
    urls = {clip.media_reference.target_url for clip in timeline.find_clips()}
    assert urls == {copy.as_uri()}


def test_matched_levels(shoot):
    result = run("best.otio", "--sound", "best.wav", "--match-levels", "--handles", "0")
    assert result.exit_code == 0, result.stderr
    assert "3 not at its own level" in result.stderr
    assert ": +" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (["best.otio", "--type", "heron"], "has no such call; it has: marsh hooter: boom"),
        (["best.otio", "--min-confidence", "0.9"], "no call was chosen"),
        (["best.otio", "--sound", "take.wav"], "this is a take"),
        (["best.otio", "--sound", "take.wav", "--replace"], "this is a take"),
        (["best.otio", "--sound", "library/a.wav"], "this lies in a call library"),
        (["best.otio", "--sound", "log.wav", "--replace"], "this is a log, or the catalogue"),
    ],
)
def test_what_cannot_be(shoot, arguments, reason):
    (shoot / "library").mkdir()
    for copy in ("log.wav", "library/catalogue.db"):
        shutil.copyfile(shoot / "calltag.db", shoot / copy)
    (shoot / "take.wav").symlink_to(shoot / "rushes" / "A001.mov")
    before = {path: path.read_bytes() for path in shoot.rglob("*") if path.is_file()}
    result = run(*arguments)
    assert result.exit_code != 0
    assert reason in str(result.exception)
    assert {path: path.read_bytes() for path in shoot.rglob("*") if path.is_file()} == before
