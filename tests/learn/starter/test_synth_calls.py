"""Invented calls sound, and sound as what they are called."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import welch

from calltag.learn.starter.sounding import active_frames
from calltag.learn.starter.synth_calls import (
    FAMILIES,
    LONGEST_S,
    hoot,
    log_uniform,
    phrase,
    whistle,
)
from calltag.sound.spectrum import RATE_HZ


@pytest.mark.parametrize("family", [maker for maker, _ in FAMILIES], ids=lambda m: m.__name__)
def test_every_voice_gives_calls_that_sound(family) -> None:
    for seed in range(4):
        voice = family(np.random.default_rng(seed))
        first, again = voice(), voice()
        for call in (first, again):
            assert np.isfinite(call).all()
            assert 0.01 < len(call) / RATE_HZ < 8
            assert np.abs(call).max() > 0.01
        n = min(len(first), len(again))
        assert not np.array_equal(first[:n], again[:n]), "no animal calls twice the same"


def test_a_whistle_is_nearly_a_pure_tone_and_a_hoot_is_low() -> None:
    for seed in range(8):
        call = whistle(np.random.default_rng(seed))()
        hz, power = welch(call, RATE_HZ, nperseg=min(len(call), 2048))
        near = np.abs(np.log2(np.maximum(hz, 1) / hz[power.argmax()])) < 0.75
        assert power[near].sum() > 0.8 * power.sum()
        call = hoot(np.random.default_rng(seed))()
        hz, power = welch(call, RATE_HZ, nperseg=min(len(call), 4096))
        assert power[hz < 5000].sum() > 0.95 * power.sum()


def test_a_voice_that_makes_no_sound_is_drawn_again(rng) -> None:
    def mute(_rng):
        return lambda: np.zeros(480, np.float32)

    for _ in range(12):
        sound = phrase(rng, ((mute, 0.5), (whistle, 0.5)))
        assert np.abs(sound).max() == pytest.approx(1, abs=1e-3)


def test_a_phrase_is_short_of_its_limit_and_of_peak_one(rng) -> None:
    for _ in range(12):
        sound = phrase(rng)
        assert len(sound) <= (LONGEST_S + 1) * RATE_HZ  # and the tail of its room
        assert np.abs(sound).max() == pytest.approx(1, abs=1e-3)
        assert active_frames(sound).any()


def test_a_log_uniform_number_lies_as_often_in_one_octave_as_in_another(rng) -> None:
    """Three octaves from 100 to 800: a third of 3000 draws in each, give or take 5 deviations."""
    drawn = np.array([log_uniform(rng, 100, 800) for _ in range(3000)])
    assert 100 <= drawn.min() < drawn.max() <= 800
    counts, _ = np.histogram(drawn, [100, 200, 400, 800])
    np.testing.assert_allclose(counts, 1000, atol=5 * np.sqrt(3000 * 1 / 3 * 2 / 3))
