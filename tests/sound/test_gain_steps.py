"""Steps of gain: found where they are, and not in what swells, calls or rolls."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from calltag.sound.gain_steps import gain_steps

RATE_HZ = 48_000
N = 20 * RATE_HZ
T_S = np.arange(N) / RATE_HZ


def place(seed: int, *, pink: bool = True) -> np.ndarray:
    """Background that falls by 3 dB an octave, or white, and swells by 2.6 dB in nine seconds."""
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal(N))
    if pink:
        spectrum /= np.sqrt(np.maximum(np.fft.rfftfreq(N, 1 / RATE_HZ), 20))
    sound = np.fft.irfft(spectrum, N)
    return 0.003 * sound / sound.std() * (1 + 0.15 * np.sin(2 * np.pi * T_S / 9 + seed))


def stepped(sound: np.ndarray, at_s: float, db: float) -> np.ndarray:
    return (sound * 10 ** (np.clip((T_S - at_s) / 0.05, 0, 1) * db / 20)).astype(np.float32)


@pytest.mark.parametrize("pink", [False, True])
@pytest.mark.parametrize("db", [-10, -6, 6, 10])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_step_is_found_where_it_is(pink, db, seed):
    at_s = 8.5 + 0.37 * seed
    assert gain_steps(stepped(place(seed, pink=pink), at_s, db), RATE_HZ) == [
        pytest.approx(at_s, abs=0.3)
    ]


@pytest.mark.parametrize("seed", range(6))
def test_a_place_without_steps_has_none(seed):
    assert gain_steps(place(seed).astype(np.float32), RATE_HZ) == []


def test_what_begins_in_one_band_is_no_step():
    sound = place(3)
    band = butter(4, [3000, 5000], "band", fs=RATE_HZ, output="sos")
    crickets = 0.02 * sosfilt(band, np.random.default_rng(4).standard_normal(N))
    whistle = 0.05 * np.sin(2 * np.pi * 2500 * T_S)
    for begun in (crickets, whistle):
        assert gain_steps((sound + begun * (T_S > 10)).astype(np.float32), RATE_HZ) == []


@pytest.mark.parametrize("apart_s", [-1.9, -1.2, 0.6, 1.5])
def test_a_step_is_found_beside_a_call(apart_s):
    sound = place(2)
    first = round((10 + apart_s) * RATE_HZ)
    n = round(0.6 * RATE_HZ)
    sound[first : first + n] += (
        0.03 * np.hanning(n) * np.sin(2 * np.pi * (2000 * T_S[:n] + 100 * np.sin(12 * T_S[:n])))
    )  # over two of the bands
    assert gain_steps(stepped(sound, 10, -8), RATE_HZ) == [pytest.approx(10, abs=0.3)]


def test_a_gust_that_comes_and_goes_is_no_step():
    gust = 1 + np.exp(-(((T_S - 10) / 1.2) ** 2))
    assert gain_steps((place(5) * gust).astype(np.float32), RATE_HZ) == []


def test_short_and_silent_sound_has_none():
    for sound in (np.zeros(0), np.zeros(1000), np.zeros(N)):
        assert gain_steps(sound.astype(np.float32), RATE_HZ) == []
