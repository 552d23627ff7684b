"""Hum of the mains: sines of known frequency and level, and what is none."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.sound.beats.hum import describe_hum, find_hum

RATE_HZ = 48_000


@pytest.mark.parametrize("mains_hz", [50, 60])
@pytest.mark.parametrize("off", [-0.08, 0.0, 0.05])
def test_hum_of_the_mains(rng, made, mains_hz, off):
    sound = made.hum(mains_hz + off, [1, 2, 3, 5, 7]) + rng.normal(0, 0.02, 6 * RATE_HZ)
    found = find_hum(sound, RATE_HZ)
    assert found is not None
    assert found.mains_hz == mains_hz
    assert found.base_hz == pytest.approx(mains_hz + off, abs=0.01)
    assert {1, 2, 3} <= set(found.lines)
    assert not {4, 6} & set(found.lines)
    assert describe_hum(found).startswith(f"hum of the mains, {mains_hz} Hz and ")


@pytest.mark.parametrize("wobble", [0.005, 0.02])
def test_an_idling_saw_at_50_hz_is_no_hum(rng, made, wobble):
    assert find_hum(made.engine(rng, 50, 8, wobble), RATE_HZ) is None


def test_no_hum_in_noise_or_in_less_than_four_seconds(rng, made):
    assert find_hum(rng.normal(0, 0.1, 8 * RATE_HZ), RATE_HZ) is None
    assert find_hum(made.hum(50, [1, 2, 3], seconds=3.5), RATE_HZ) is None


@pytest.mark.parametrize("rate_hz", [8000, 44_100, 48_000])
def test_four_seconds_are_enough_and_tell_the_frequency_as_well(rate_hz):
    # thinning out takes a millisecond of sound at 48 kHz: bins then lie a little farther apart
    t = np.arange(4 * rate_hz) / rate_hz
    sound = sum(0.01 * np.sin(2 * np.pi * 50 * k * t) for k in (1, 2, 3))
    found = find_hum(sound, rate_hz)
    assert found is not None
    assert found.base_hz == pytest.approx(50, abs=0.002)
    assert found.level_dbfs == pytest.approx(10 * np.log10(3 * 0.01**2 / 2), abs=0.1)
