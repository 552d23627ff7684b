"""A starter model made from next to nothing: poor, but whole, and it does what a good one does."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.finding.second_look import SecondLook
from calltag.learn.networks.starter_model import StarterModel
from calltag.learn.starter.calibrate import hear
from calltag.learn.starter.card import card_text
from calltag.learn.starter.recordings import Recording
from calltag.records.label import NOISE_KINDS
from calltag.sound.features import N_EMBEDDING
from calltag.sound.spectrum import RATE_HZ

torch = pytest.importorskip("torch", reason="no torch")
pytest.importorskip("onnx", reason="no onnx")

from calltag.learn.starter import making  # noqa: E402

FILES = {f"starter{end}" for end in (".onnx", "_closer.onnx", ".npz", ".json", ".md")}

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")  # torch says so of its export


def recordings() -> list[Recording]:
    """Of two groups: whistles that come and go, and two kinds of noise."""
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    rng = np.random.default_rng(1)
    whistle = np.sin(2 * np.pi * 2500 * t) * (np.sin(2 * np.pi * 1.5 * t) > 0)
    sounds = {
        "call": whistle,
        **{kind: rng.normal(0, 0.1, len(t)) for kind in ("machine", "water")},
    }
    return [
        Recording(f"{kind}-{group}.ogg", kind, kind, group, sound.astype(np.float32))
        for group in ("one", "two")
        for kind, sound in sounds.items()
    ]


class Loud(torch.nn.Module):
    """Stands for a network that has learnt much: it hears a call where one band stands out."""

    def forward(self, x):
        """Odds of call and of noise kinds, and a description that says nothing."""
        stands = x[:, 1].amax(dim=2)
        call = torch.nn.functional.max_pool1d(stands[:, None], 2)[:, 0] * 4 - 6
        nothing = 0 * call[:, :, None]
        return call, nothing.repeat(1, 1, len(NOISE_KINDS)) - 4, nothing.repeat(1, 1, N_EMBEDDING)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A model and its folder."""
    folder = tmp_path_factory.mktemp("models")
    small = making.Size(phrases=12, variants=1, scenes=1, scene_s=12, short_takes=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(making, "train", lambda *_, **__: Loud().eval())
        model = making.make(recordings(), folder, leave_out=["one"], size=small, seed=1)
    return model, folder


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_what_is_written_hears_and_judges(made, rng) -> None:
    _, folder = made
    assert set(content(folder)) == FILES
    t = np.arange(6 * RATE_HZ) / RATE_HZ
    sound = rng.normal(0, 1e-3, len(t)) + 0.1 * np.sin(2 * np.pi * 3000 * t) * ((t > 2) & (t < 3))
    what = hear(StarterModel(folder / "starter.onnx"), sound.astype(np.float32))
    assert any(find == pytest.approx((2, 3), abs=0.1) for find in what.finds)
    assert what.heard.call.shape == (301,)
    assert what.heard.kinds.shape == (301, len(NOISE_KINDS))
    assert what.heard.embedding.shape == (301, N_EMBEDDING)
    sureness = SecondLook.read(folder / "starter.npz").probability(what.evidence)
    assert sureness.shape == (len(what.finds),)
    assert ((sureness > 0) & (sureness < 1)).all()


def test_the_card_says_how_it_was_made(made) -> None:
    model, folder = made
    card = json.loads((folder / "starter.json").read_text("utf-8"))
    assert card == json.loads(json.dumps(model.card))
    assert card["left_out"] == ["one"]
    assert card["training"]["recordings"] == 6
    assert card["second_look"]["finds"] > 0
    assert card["figures"]["finding"]["all"]["calls"] > 20
    assert (folder / "starter.md").read_text("utf-8") == card_text(card)


@pytest.mark.parametrize("stop", [KeyboardInterrupt, RuntimeError])
def test_a_model_that_was_there_stays_until_the_new_one_is_whole(
    made, tmp_path, monkeypatch, stop
) -> None:
    model, _ = made
    for name in FILES:
        (tmp_path / name).write_text("as it was")
    before = content(tmp_path)

    def stopped(_card):
        raise stop

    monkeypatch.setattr(making, "card_text", stopped)  # the last to be written
    with pytest.raises(stop):
        model.write(tmp_path)
    assert content(tmp_path) == before
    monkeypatch.undo()
    model.write(tmp_path)
    assert set(content(tmp_path)) == FILES
    assert b"as it was" not in content(tmp_path).values()


@pytest.mark.parametrize(
    ("leave_out", "size", "told"),
    [
        (["one", "three"], making.Size(), "no recording is of group 'three'"),
        (["one"], making.Size(steps=0), "at least one is needed.*steps=0"),
        (["one"], making.Size(scene_s=8), "scenes of 8 s are shorter"),
    ],
)
def test_what_cannot_be_is_told_before_the_work(tmp_path, leave_out, size, told: str) -> None:
    with pytest.raises(InputError, match=told):
        making.make(recordings(), tmp_path, leave_out=leave_out, size=size, seed=1)
    assert not content(tmp_path)
