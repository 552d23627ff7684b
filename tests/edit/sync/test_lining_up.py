"""Pairs of files lined up by their sound: which, and what is told of the others."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile as sf

from calltag.edit.sync import lining_up
from calltag.edit.sync.comparing import Outcome
from calltag.edit.sync.lining_up import COMPARING, READING, Source, Traces, sync_takes
from calltag.errors import InputError, MediaError

CLOSE_S = 0.005
"""What an edit needs: an eighth of a frame at 25 a second. All that is found is far closer."""


@pytest.fixture(scope="module")
def shoot(tmp_path_factory, make_clip, pairs) -> Path:
    """Two cameras and a recorder at one moment, a fourth take of another, one without sound."""
    folder = tmp_path_factory.mktemp("shoot")
    pair = pairs.make_pair(2, snr_db=12.0, seconds=16.0)
    other = pairs.make_pair(9, snr_db=12.0, seconds=16.0)
    make_clip(
        folder / "A001.mov",
        seconds=16,
        samples=np.stack([pair.a, -pair.a]),
        audio_codec="aac",
        timecode="05:10:00:00",
    )
    sf.write(folder / "R001.wav", pair.b, pair.rate_b_hz)
    make_clip(folder / "B001.mov", seconds=16, samples=other.a[None], timecode="05:30:00:00")
    make_clip(folder / "C001.mov", seconds=1, audio_codec=None)
    (folder / "true.txt").write_text(f"{pair.offset_s} {pair.drift_ppm}")
    return folder


def sources(folder: Path, *names: str) -> list[Source]:
    return [Source(f"card/{name}", folder / name) for name in names]


def test_files_are_lined_up_with_the_first(shoot: Path) -> None:
    told: list[tuple[str, int, int]] = []
    found, problems = sync_takes(
        sources(shoot, "A001.mov", "C001.mov", "R001.wav", "B001.mov"),
        listener=lambda *now: told.append(now),
    )
    assert [(c.take_a, c.take_b, c.outcome) for c in found] == [
        ("card/A001.mov", "card/R001.wav", Outcome.LINED_UP),
        ("card/A001.mov", "card/B001.mov", Outcome.NOTHING),
    ]
    true_s, _ = map(float, (shoot / "true.txt").read_text().split())
    assert found[0].alignment.offset_s == pytest.approx(true_s, abs=0.001)
    (problem,) = problems
    assert problem.path == "card/C001.mov"
    assert problem.reason.startswith("has no sound")
    # each is told, also where a take cannot be read
    reading, comparing = [(READING, n, 4) for n in range(5)], [(COMPARING, n, 3) for n in range(4)]
    assert told == reading + comparing


def test_every_pair_is_compared_on_demand(shoot: Path) -> None:
    found, _ = sync_takes(sources(shoot, "A001.mov", "R001.wav", "B001.mov"), n_first=None)
    assert [(c.take_a[5:9], c.take_b[5:9]) for c in found] == [
        ("A001", "R001"),
        ("A001", "B001"),
        ("R001", "B001"),
    ]


def test_takes_are_compared_with_each_of_the_first_few(shoot: Path) -> None:
    names = ("A001.mov", "C001.mov", "R001.wav", "B001.mov")
    found, problems = sync_takes(sources(shoot, *names), n_first=2)
    assert [(c.take_a[5:9], c.take_b[5:9]) for c in found] == [("A001", "R001"), ("A001", "B001")]
    assert [problem.path for problem in problems] == ["card/C001.mov"]


def test_a_first_take_that_cannot_be_read_ends_it(shoot: Path) -> None:
    with pytest.raises(MediaError, match=r"C001\.mov: has no sound"):
        sync_takes(sources(shoot, "C001.mov", "A001.mov"))
    found, problems = sync_takes(sources(shoot, "C001.mov", "A001.mov", "R001.wav"), n_first=None)
    assert len(found) == len(problems) == 1


@pytest.mark.parametrize(
    ("names", "words"), [(["A001.mov"], "at least two"), (["A001.mov"] * 2, "named twice")]
)
def test_two_different_takes_are_needed(shoot: Path, names, words) -> None:
    with pytest.raises(InputError, match=words):
        sync_takes(sources(shoot, *names))


@pytest.mark.parametrize(("hours", "n_held"), [(6.0, 2), (0.1, 6)])
def test_few_long_takes_are_held_beside_what_is_kept(monkeypatch, hours: float, n_held: int):
    """An hour of sound takes 100 MB; those of a day must not all lie in memory."""
    read: list[str] = []

    def trace(path: Path) -> SimpleNamespace:
        read.append(path.name)
        return SimpleNamespace(duration_s=3600 * (6.0 if path.name == "kept" else hours))

    monkeypatch.setattr(lining_up, "trace_take", trace)
    traces, names = Traces(), [f"{number}.wav" for number in range(8)]
    for name in ("kept", *names, *names[: -1 - n_held : -1], "kept"):
        traces(Path(name))
    assert read == ["kept", *names], "those asked for last are not read again"
    traces(Path(names[-1 - n_held]))
    assert read[-1] == names[-1 - n_held]
