"""Synthetic noise is what it is called."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import welch

from calltag.learn.starter import synth_noise
from calltag.learn.starter.bank import NOISE_MAKERS
from calltag.sound.spectrum import RATE_HZ


@pytest.mark.parametrize(
    "make",
    sorted({m for makers in NOISE_MAKERS.values() for m in makers}, key=lambda m: m.__name__),
)
def test_noise_is_of_the_length_asked_for_and_of_rms_one(rng, make) -> None:
    n = 6 * RATE_HZ
    sound = make(rng, n)
    assert len(sound) == n
    assert np.isfinite(sound).all()
    assert np.sqrt(np.mean(np.square(sound))) == pytest.approx(1, abs=0.35)


def test_wind_is_low_and_a_hum_is_at_mains_frequency(rng) -> None:
    hz, power = welch(synth_noise.wind(rng, 8 * RATE_HZ), RATE_HZ, nperseg=16_384)
    assert power[hz < 500].sum() > 0.8 * power.sum()
    hz, power = welch(synth_noise.hum(rng, 8 * RATE_HZ), RATE_HZ, nperseg=48_000)
    peaks = hz[power > 0.01 * power.max()]
    mains = 50 if np.all(np.abs(peaks / 50 - np.round(peaks / 50)) < 0.05) else 60
    assert np.all(np.abs(peaks - mains * np.round(peaks / mains)) <= 3)
