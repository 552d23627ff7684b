from __future__ import annotations

import numpy as np
import pytest

from calltag.errors import ModelError
from calltag.learn.networks.voice import (
    LONGEST_STEPS,
    NETWORK,
    STEPS_AFTER,
    STEPS_AT_ONCE,
    Voice,
    padded,
    patch,
    shown,
    voice,
)
from calltag.sound.features import N_VOICE
from calltag.sound.spectrum import N_BINS, N_MELS, mel_power

BEHIND = np.full(N_MELS, 1e-6, np.float32)


def test_levels_over_the_background_by_hand() -> None:
    """A hundred times the background is 20 dB, one unit; the rest of it is silence."""
    mel = np.tile(BEHIND, (8, 1))
    mel[2:4, 10] *= 100
    mel[4:6, 20] *= 10
    over, stands = shown(mel, BEHIND)
    assert over.shape == (4, N_MELS)
    assert stands[1, 10] == pytest.approx(1.0, abs=0.01)
    assert stands[2, 20] == pytest.approx(0.5, abs=0.01)
    # What is over one and a half times the background: 98.5 and 8.5, 10.64 dB apart.
    assert over[1, 10] == pytest.approx(2.0)
    assert over[2, 20] == pytest.approx(2 - 10.64 / 20, abs=0.01)
    for shows, silent in ((over, [0, 3]), (stands, [0, 3])):
        assert shows[silent] == pytest.approx(0, abs=1e-5)


def test_a_patch_is_of_mel_power(rng) -> None:
    power = rng.gamma(2, 1e-6, (31, N_BINS)).astype(np.float32)
    behind = np.full(N_BINS, 1e-6, np.float32)
    mel = mel_power(power)
    assert patch(mel, behind) == pytest.approx(shown(mel, mel_power(behind[None])[0]))
    assert patch(mel, behind).shape == (2, 16, N_MELS)  # an odd frame stands twice


def test_the_loudest_stretch_of_a_long_find_is_shown() -> None:
    mel = np.tile(BEHIND, (600, 1))
    mel[380:400, 30] *= 1000
    over, _ = shown(mel, BEHIND)
    assert over.shape == (LONGEST_STEPS, N_MELS)
    assert (over[:, 30] > 1.9).sum() == 10


@pytest.mark.parametrize("n_steps", range(1, 10))
def test_enough_silence_is_put_after_a_find(n_steps: int) -> None:
    find = np.ones((2, n_steps, N_MELS), np.float16)
    with_silence = padded(find)
    assert (with_silence[:, :n_steps] == 1).all()
    assert not with_silence[:, n_steps:].any()
    assert with_silence.dtype == np.float32
    n = with_silence.shape[1]
    assert n % STEPS_AT_ONCE == 0
    assert n_steps + STEPS_AFTER <= n < n_steps + STEPS_AFTER + STEPS_AT_ONCE


def test_numbers_do_not_depend_on_the_level(rng) -> None:
    """The same find and background, both 40 dB louder: a gain that was turned up."""
    mel = BEHIND * rng.gamma(2, 50, (20, N_MELS)).astype(np.float32)
    near, far = (shown(mel * gain, BEHIND * gain) for gain in (np.float32(1e4), np.float32(1)))
    one, other = voice().numbers([near, far])
    assert one == pytest.approx(other, abs=0.02)
    assert one.shape == (N_VOICE,)


def test_what_comes_first_is_heard(rng, tones) -> None:
    """Types of the same three tones in another order have the same means over all moments."""
    orders = [[12, 28, 44], [12, 44, 28], [28, 12, 44], [28, 44, 12], [44, 12, 28], [44, 28, 12]]
    codes = np.repeat(np.arange(len(orders)), 8)
    calls = [tones.call(rng, orders[code], each=12) for code in codes]
    means = np.stack([one.mean(axis=1).ravel() for one in calls])
    assert tones.nearest_is_own(means, codes) < 0.3
    assert tones.nearest_is_own(voice().numbers(calls), codes) > 0.7


def test_no_finds_have_no_numbers() -> None:
    assert voice().numbers([]).shape == (0, N_VOICE)


def test_a_damaged_network_is_refused(tmp_path) -> None:
    cut = tmp_path / "voice.onnx"
    cut.write_bytes(NETWORK.read_bytes()[:2000])
    with pytest.raises(ModelError, match=r"voice\.onnx.*install calltag again"):
        Voice(cut)
    with pytest.raises(ModelError, match="install calltag again"):
        Voice(tmp_path / "none.onnx")
