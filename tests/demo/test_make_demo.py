"""The program makes again what is committed, and replaces nothing unasked."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile

WAVE = "ASH_R_0007.WAV"


@pytest.mark.parametrize("name", ["truth.csv", "noise.csv", "labels.csv", "sync.csv"])
def test_tables_are_the_committed_ones(
    name: str, program: SimpleNamespace, scenes: dict[str, Any], folder: Path
) -> None:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(program.make_demo.tables(scenes, 1)[name])
    assert text.getvalue().encode() == (folder / name).read_bytes()


@pytest.mark.parametrize("name", ["ASH_R_0007.WAV", "ASH_B_0012.MOV"])
def test_pcm_is_the_committed_one_to_the_bit(
    name: str,
    program: SimpleNamespace,
    takes: dict[str, Any],
    scenes: dict[str, Any],
    heard: dict[str, np.ndarray],
) -> None:
    made = program.takes.record(takes[name], scenes[name], 1)
    assert made.dtype == np.int16
    assert np.array_equal(np.round(heard[name] * 32_768).astype(np.int16), made)


@pytest.mark.parametrize("name", ["ASH_A_0034.MP4", "ASH_B_0013.MOV", "ASH_C_0004.MP4"])
def test_lossy_sound_follows_what_was_encoded(
    name: str,
    program: SimpleNamespace,
    takes: dict[str, Any],
    scenes: dict[str, Any],
    heard: dict[str, np.ndarray],
) -> None:
    """In step to the sample, and close; not equal, as a codec drops what is not heard."""
    made = program.takes.record(takes[name], scenes[name], 1)[0] / 32_768
    played = heard[name][0]
    n = min(made.size, played.size)
    assert made.size - n <= 256  # AC-3 holds back the last part of its overlap
    likeness = [np.corrcoef(made[2 : n - 2], played[2 + d : n - 2 + d])[0, 1] for d in (-1, 0, 1)]
    assert likeness[1] == max(likeness)
    assert likeness[1] > 0.96


def test_same_seed_same_sound_other_seed_other_morning(
    program: SimpleNamespace, takes: dict[str, Any], scenes: dict[str, Any]
) -> None:
    take, first = takes[WAVE], scenes[WAVE]
    again, other = program.takes.set_scene(take, 1), program.takes.set_scene(take, 2)
    assert again.calls == first.calls
    assert all(
        np.array_equal(a.dry, b.dry) for a, b in zip(again.voices, first.voices, strict=True)
    )
    assert [c.label for c in other.calls] == [c.label for c in first.calls]
    assert other.calls != first.calls
    assert not np.array_equal(other.voices[0].dry[:1000], first.voices[0].dry[:1000])


def test_no_take_cuts_a_call(
    program: SimpleNamespace, takes: dict[str, Any], scenes: dict[str, Any]
) -> None:
    """What starts before a take or ends after it is left out whole, so the truth is complete."""
    shorter = []
    for name, take in takes.items():
        wanted = sum(series.count for series in program.takes.MOMENTS[take.moment])
        if len(scenes[name].voices) == wanted:
            continue
        shorter.append(name)
        for voice in program.takes.voices_of(take, 1):
            start_s, end_s = voice.start_s, voice.start_s + voice.dry.size / 48_000
            whole = start_s >= 0 and end_s <= take.duration_s
            outside = end_s <= 0 or start_s >= take.duration_s
            assert whole or outside, (name, voice.heard)
    assert shorter == ["ASH_A_0038.MP4", "ASH_B_0012.MOV"]  # they start later, or end earlier


def test_program_writes_the_wave_and_refuses_to_replace_it(
    program: SimpleNamespace, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["--out", str(tmp_path / "clips"), "--seed", "1", "--only", WAVE]
    assert program.make_demo.main(arguments) == 0
    made = tmp_path / "clips" / WAVE
    assert [p.name for p in made.parent.iterdir()] == [WAVE]
    sound, _ = soundfile.read(made, dtype="int16")
    assert np.array_equal(sound, soundfile.read(folder / WAVE, dtype="int16")[0])

    made.write_bytes(b"mine")
    capsys.readouterr()
    assert program.make_demo.main(arguments) == 1
    assert made.read_bytes() == b"mine"
    error = capsys.readouterr().err
    assert WAVE in error
    assert "--replace" in error
    assert error.count("\n") == 1

    assert program.make_demo.main([*arguments, "--replace"]) == 0
    assert made.stat().st_size == (folder / WAVE).stat().st_size


def test_whole_run_refuses_before_it_makes_anything(
    program: SimpleNamespace, tmp_path: Path
) -> None:
    (tmp_path / "labels.csv").write_text("mine")
    assert program.make_demo.main(["--out", str(tmp_path)]) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["labels.csv"]


def test_unknown_clip_is_named(
    program: SimpleNamespace, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert program.make_demo.main(["--out", str(tmp_path), "--only", "ASH_X_0001.MP4"]) == 1
    assert "ASH_X_0001.MP4 is no clip of the demo" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_failed_writing_leaves_nothing(program: SimpleNamespace, tmp_path: Path) -> None:
    target = tmp_path / "a.csv"
    with pytest.raises(RuntimeError), program.writing.put_in_place(target) as part:  # noqa: PT012
        part.write_text("half")
        raise RuntimeError
    assert not list(tmp_path.iterdir())
