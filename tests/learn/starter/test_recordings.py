from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from calltag.errors import InputError
from calltag.learn.starter.recordings import load_recordings
from calltag.sound.spectrum import RATE_HZ


def listed(folder: Path, *rows: str) -> Path:
    path = folder / "sources.csv"
    path.write_text("\n".join(["path,kind,group,licence,sort", *rows, ""]), "utf-8")
    return path


def recorded(folder: Path, name: str, seconds: float = 1.0) -> None:
    """A second of hiss with as much silence before and behind it."""
    hiss = np.random.default_rng(3).normal(0, 0.1, round(seconds * RATE_HZ))
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    sf.write(path, np.pad(hiss, len(hiss)), RATE_HZ, subtype="PCM_16")


def test_a_list_is_read_in_order_without_silent_ends(tmp_path: Path) -> None:
    recorded(tmp_path, "mowers/a.wav")
    recorded(tmp_path, "mixed/b.wav", 0.5)
    sources = listed(
        tmp_path, "mowers/a.wav,machine,one,CC0-1.0,", "mixed/b.wav,water,two,CC0-1.0,brook"
    )
    mower, brook = load_recordings(sources, tmp_path)
    assert (mower.name, mower.kind, mower.sort, mower.group) == (
        "mowers/a.wav", "machine", "mowers", "one",
    )  # fmt: skip
    assert (brook.kind, brook.sort, brook.group) == ("water", "brook", "two")
    assert len(mower.samples) == pytest.approx(RATE_HZ, abs=10)
    assert len(brook.samples) == pytest.approx(RATE_HZ / 2, abs=10)


def test_what_is_too_short_is_left_out(tmp_path: Path) -> None:
    recorded(tmp_path, "a.wav", 0.2)
    assert load_recordings(listed(tmp_path, "a.wav,water,one,CC0-1.0,"), tmp_path) == []


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (
            "b.wav,water,one,CC0-1.0,",
            r"1 of the 1 recordings that sources\.csv names .* b\.wav;",
        ),
        ("a.wav,noise,one,CC0-1.0,", r"sources\.csv, line 2: kind must be one of"),
        ("a.wav,water", r"sources\.csv, line 2: path, kind or group is lacking"),
    ],
)
def test_a_wrong_line_is_told(tmp_path: Path, row: str, told: str) -> None:
    recorded(tmp_path, "a.wav")
    with pytest.raises(InputError, match=told):
        load_recordings(listed(tmp_path, row), tmp_path)


def test_all_that_is_missing_is_counted_before_anything_is_read(tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_text("no sound")
    rows = [f"{name}.wav,water,one,CC0-1.0," for name in "abc"]
    with pytest.raises(InputError, match=r"2 of the 3 recordings .* the first of them b\.wav"):
        load_recordings(listed(tmp_path, *rows), tmp_path)
    with pytest.raises(
        InputError, match=r"none\.csv: the list of recordings cannot be read \(no such file"
    ):
        load_recordings(tmp_path / "none.csv", tmp_path)
