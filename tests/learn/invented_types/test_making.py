"""Voice and kinship made from a handful of invented types: poor, but whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.call_types import kinship
from calltag.learn.call_types.kinship import prior
from calltag.learn.networks.voice import Voice
from calltag.sound.features import N_MEASURED, N_VOICE

torch = pytest.importorskip("torch", reason="no torch")
pytest.importorskip("onnx", reason="no onnx")

from calltag.learn.invented_types import making  # noqa: E402

FILES = {"voice.onnx", "kinship.npz"}
SMALL = making.Size(types=7, kept=3, each=6, steps=3, n_backgrounds=1)

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")  # torch says so of its export


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_what_is_written_describes_calls_and_places_them(tmp_path, monkeypatch, rng, tones) -> None:
    making.make(tmp_path, size=SMALL, seed=3)
    assert set(content(tmp_path)) == FILES
    calls = [tones.call(rng, [12, 28, 44]) for _ in range(4)]
    numbers = Voice(tmp_path / "voice.onnx").numbers(calls)
    assert numbers.shape == (4, N_VOICE)
    assert np.isfinite(numbers).all()
    monkeypatch.setattr(kinship, "PRIOR", tmp_path / "kinship.npz")
    prior.cache_clear()
    try:
        placed = prior().place(rng.normal(0, 1, (5, N_MEASURED)))
    finally:
        prior.cache_clear()
    assert len(placed) == 5
    assert np.isfinite(placed).all()


@pytest.mark.parametrize("stop", [KeyboardInterrupt, RuntimeError])
def test_what_was_there_stays_until_both_are_whole(tmp_path, monkeypatch, stop) -> None:
    """Kinship is made of what the network says, so that one without the other is worth nothing."""
    for name in FILES:
        (tmp_path / name).write_text("as it was")
    before = content(tmp_path)

    def stopped(*_):
        raise stop

    monkeypatch.setattr(making, "learn_kinship", stopped)
    with pytest.raises(stop):
        making.make(tmp_path, size=SMALL, seed=3)
    assert content(tmp_path) == before


@pytest.mark.parametrize(
    ("size", "told"),
    [
        (SMALL._replace(each=5), "5 calls of each type are too few"),
        (SMALL._replace(kept=1), "1 of 7 types kept"),
        (SMALL._replace(kept=6), "two be left to learn from"),
        (SMALL._replace(steps=0), "without a training step"),
    ],
)
def test_too_little_is_told_before_the_work(tmp_path, size, told: str) -> None:
    with pytest.raises(InputError, match=told):
        making.make(tmp_path, size=size, seed=3)
    assert not content(tmp_path)
