"""A few steps of training: networks of both designs get better, and are written as they are."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.networks.network import session
from calltag.learn.networks.starter_model import model_input
from calltag.learn.starter.bank import synthetic_pieces
from calltag.learn.starter.compose import Bank, compose
from calltag.sound.floor import noise_floor_db
from calltag.sound.spectrum import N_MELS

torch = pytest.importorskip("torch", reason="no torch")
pytest.importorskip("onnx", reason="no onnx")

from calltag.learn.starter.net import Net, export  # noqa: E402
from calltag.learn.starter.training import train  # noqa: E402


@pytest.fixture(scope="module")
def bank() -> Bank:
    return Bank(synthetic_pieces(np.random.default_rng(5), phrases=4, noises=1))


def loss(net: Net, bank: Bank) -> float:
    """How far a network's odds of calls are off, in scenes that it has not heard."""
    scenes = [compose(np.random.default_rng(seed), bank) for seed in range(6)]
    x = [model_input(scene.level_db, noise_floor_db(scene.level_db)) for scene in scenes]
    with torch.no_grad():
        odds = net(torch.from_numpy(np.stack(x)))[0]
    call = torch.from_numpy(np.stack([scene.call for scene in scenes]))
    return float(torch.nn.functional.binary_cross_entropy_with_logits(odds, call))


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # torch says so of its exporter
@pytest.mark.parametrize("along", [False, True])
def test_a_network_learns_and_is_written_as_it_is(bank, tmp_path, rng, along) -> None:
    net = train(bank, steps=20, scenes_at_once=1, n_frames=400, along=along)
    assert loss(net, bank) < loss(Net(along=along).eval(), bank) - 0.05
    export(net, tmp_path / "net.onnx")
    for n_frames in (120, 430):
        level_db = rng.normal(-60, 8, (n_frames, N_MELS)).astype(np.float32)
        x = model_input(level_db, noise_floor_db(level_db))[None]
        with torch.no_grad():
            asked = net(torch.from_numpy(x))
        written = session(tmp_path / "net.onnx").run(None, {"level": x})
        for one, other in zip(written, asked, strict=True):
            assert one == pytest.approx(other.numpy(), abs=1e-3)
