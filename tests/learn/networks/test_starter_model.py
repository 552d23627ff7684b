"""What the starter model's two networks make of a stretch together."""

from __future__ import annotations

import shutil

import numpy as np
import onnxruntime
import pytest

from calltag.errors import ModelError
from calltag.learn.finding.windows import CONTEXT_FRAMES
from calltag.learn.networks.network import session
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import (
    DOUBT_FROM,
    STEPS_PER_S,
    SURE_FROM,
    StarterModel,
    model_input,
    starter_model,
)
from calltag.records.label import NOISE_KINDS
from calltag.sound.features import N_EMBEDDING
from calltag.sound.floor import SPAN_S, noise_floor_db
from calltag.sound.spectrum import FRAMES_PER_S, N_MELS, RATE_HZ, mel_power, power_spectrum, to_db

SHIPPED = StarterFiles.of(starter_model())
N_STEPS = 20 * STEPS_PER_S
SILENCE_DB = np.full((2 * N_STEPS, N_MELS), -60, np.float32)


class Network:
    """Gives the odds that it was made with, and notes how many steps it was asked for."""

    def __init__(self, call: np.ndarray | float, kinds: float) -> None:
        self.call, self.kinds = call, kinds
        self.asked: list[int] = []

    def run(self, names: list[str] | None, inputs: dict[str, np.ndarray]) -> list[np.ndarray]:
        n = inputs["level"].shape[2] // 2
        self.asked.append(n)
        call = np.broadcast_to(np.float32(self.call), n).copy()[None]
        kinds = np.full((1, n, len(NOISE_KINDS)), self.kinds, np.float32)
        return [call, kinds, np.zeros((1, n, N_EMBEDDING), np.float32)][: len(names or "all")]


def heard(call: np.ndarray) -> tuple[StarterModel, Network]:
    hearing = StarterModel(starter_model())
    other = Network(1.0, 2.0)
    hearing._session, hearing._closer = Network(call, -2.0), other
    return hearing, other


@pytest.mark.parametrize("odds", [DOUBT_FROM - 0.1, SURE_FROM + 0.1])
def test_where_nothing_is_in_doubt_one_network_is_enough(odds: float) -> None:
    call = np.full(N_STEPS, -8, np.float32)
    call[300:340] = odds
    hearing, other = heard(call)
    np.testing.assert_array_equal(hearing.listen(SILENCE_DB).call, call)
    assert other.asked == []


def test_in_doubt_the_mean_of_both_counts_for_half_a_second_to_each_side() -> None:
    call = np.full(N_STEPS, -8, np.float32)
    call[300:340] = 3
    call[700] = 7  # sure
    hearing, other = heard(call)
    both = hearing.listen(SILENCE_DB)
    assert other.asked == [40 + 2 * 25 + 2 * 30]  # with what it must know beside it
    expected = call.copy()
    expected[275:300] = expected[340:365] = -3.5
    expected[300:340] = 2
    np.testing.assert_allclose(both.call, expected)
    np.testing.assert_allclose(both.kinds[275:365], 0)
    assert (both.kinds[:275] == -2).all()
    assert (both.kinds[365:] == -2).all()


def test_what_it_is_told_beside_the_doubt_is_enough() -> None:
    """The odds are those of both networks over the whole, but for what lies far from it."""
    rng = np.random.default_rng(3)
    sound = rng.normal(0, 0.01, 20 * RATE_HZ)
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    chirp = np.sin(2 * np.pi * (2500 * t + 1500 * t**2)) * np.hanning(len(t))
    for i, start_s in enumerate((3, 7, 11, 15)):
        sound[start_s * RATE_HZ :][: len(chirp)] += 0.01 / 2**i * chirp
    level_db = to_db(mel_power(power_spectrum(sound.astype(np.float32))))
    x = model_input(level_db, noise_floor_db(level_db))[None, :, : len(level_db) // 2 * 2]
    alone, closer = (
        onnxruntime.InferenceSession(path.read_bytes()).run(["call"], {"level": x})[0][0]
        for path in (starter_model(), SHIPPED.closer)
    )
    call = StarterModel(starter_model()).listen(level_db[: x.shape[2]]).call
    changed = ~np.isclose(call, alone, atol=1e-4)
    assert changed.any()
    off = np.abs(call - (alone + closer) / 2)[changed]
    assert np.median(off) < 0.3
    assert off.max() < 1


@pytest.mark.parametrize(
    ("path", "told_s"),
    [(SHIPPED.model, 1.3), (SHIPPED.closer, 1.9)],
    ids=["first", "closer"],
)
def test_a_window_holds_all_that_is_heard_of_its_own_frames(rng, path, told_s) -> None:
    level = rng.normal(0, 1, (1, 2, 1600, N_MELS)).astype(np.float32)
    changed = level.copy()
    changed[:, :, 800:802] += 3
    network = session(path)
    call, other = (network.run(["call"], {"level": x})[0][0] for x in (level, changed))
    steps = np.flatnonzero(call != other)
    reach_s = max(400 - steps[0], steps[-1] - 400) / STEPS_PER_S
    assert reach_s == pytest.approx(told_s, abs=0.05)
    assert SPAN_S / 2 + reach_s < CONTEXT_FRAMES / FRAMES_PER_S


def test_a_starter_model_of_which_a_part_is_missing_is_told(tmp_path) -> None:
    model = tmp_path / "starter.onnx"
    for source in (SHIPPED.model, SHIPPED.card):
        shutil.copy(source, tmp_path)
    with pytest.raises(ModelError, match=r"starter\.onnx: .* install calltag again"):
        StarterModel(model)
    shutil.copy(SHIPPED.closer, tmp_path)
    StarterModel(model)
