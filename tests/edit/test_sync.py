"""Simulated pairs of cameras: one moment heard at two places, by two clocks, at two levels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

from calltag.edit.sync import Outcome, Source, sync_takes
from calltag.errors import InputError

RATE_HZ = 48_000
AIM_S = 0.005


def morning(rng: np.random.Generator, seconds: int) -> np.ndarray:
    """Chirps of random pitch and length at random moments."""
    sound = np.zeros(seconds * RATE_HZ)
    at = 0.5
    while at < seconds - 1:
        n = int(rng.uniform(0.08, 0.5) * RATE_HZ)
        first_hz, last_hz = np.exp(rng.uniform(np.log(800), np.log(6000), 2))
        t = np.arange(n) / RATE_HZ
        chirp = scipy.signal.chirp(t, first_hz, t[-1], last_hz) * np.hanning(n)
        start = int(at * RATE_HZ)
        sound[start : start + n] += rng.uniform(0.2, 1.0) * chirp
        at += n / RATE_HZ + rng.exponential(0.8)
    return sound


def heard(
    rng: np.random.Generator, sound: np.ndarray, snr_db: float, level_db: float
) -> np.ndarray:
    """What a camera makes of it: echoes, noise of its own, and its level."""
    tail = rng.standard_normal(RATE_HZ // 3) * np.exp(-np.arange(RATE_HZ // 3) / (0.05 * RATE_HZ))
    tail *= 0.3 / np.sqrt((tail**2).sum())
    tail[0] = 1.0
    room = scipy.signal.fftconvolve(sound, tail)[: len(sound)]
    sounding = room[np.abs(room) > 0.05]
    noise = rng.standard_normal(len(room)) * sounding.std() * 10 ** (-snr_db / 20)
    whole = room + noise
    return 0.5 * whole / np.abs(whole).max() * 10 ** (level_db / 20)


def sources(folder: Path, a: np.ndarray, b: np.ndarray, rate_b_hz: int = RATE_HZ) -> list[Source]:
    soundfile.write(folder / "a.wav", a, RATE_HZ)
    soundfile.write(folder / "b.wav", b, rate_b_hz)
    return [Source(name, folder / name) for name in ("a.wav", "b.wav")]


@pytest.mark.parametrize("snr_db", [10, 0])
@pytest.mark.parametrize("seed", range(4))
def test_two_cameras_are_lined_up_to_a_few_milliseconds(tmp_path, seed, snr_db) -> None:
    """Echoes, noise, 20 dB between the levels, another rate, a clock 50 ppm fast."""
    rng = np.random.default_rng([seed, snr_db])
    sound, offset_s = morning(rng, 40), float(rng.uniform(1, 12))
    first = round(offset_s * RATE_HZ)
    later = scipy.signal.resample_poly(sound[first : first + 25 * RATE_HZ], 147, 160)  # 44.1 kHz
    drifted = np.interp(
        np.arange(int(len(later) * (1 + 50e-6)) - 2) / (1 + 50e-6), np.arange(len(later)), later
    )
    pair = sources(tmp_path, heard(rng, sound, snr_db, 0), heard(rng, drifted, snr_db, -20), 44_100)
    ((found,), problems) = sync_takes(pair)
    assert not problems
    assert found.outcome is Outcome.LINED_UP
    assert found.alignment is not None
    middle_s = offset_s + 12.5
    true_b_s = 12.5 * (1 + 50e-6)
    assert found.alignment.in_b(middle_s) == pytest.approx(true_b_s, abs=AIM_S)


@pytest.mark.parametrize("seed", range(6))
def test_takes_of_different_moments_are_not_lined_up(tmp_path, seed) -> None:
    rng = np.random.default_rng([99, seed])
    pair = sources(
        tmp_path, heard(rng, morning(rng, 30), 10, 0), heard(rng, morning(rng, 20), 10, 0)
    )
    ((found,), _) = sync_takes(pair)
    assert found.outcome is not Outcome.LINED_UP


def test_a_sound_that_repeats_is_not_taken_for_certain(tmp_path) -> None:
    """An even row of the same beep fits at every beep."""
    rng = np.random.default_rng(5)
    n = RATE_HZ // 5
    beep = np.concatenate([np.sin(2 * np.pi * 2000 * np.arange(n) / RATE_HZ), np.zeros(4 * n)])
    row = np.tile(beep, 30)
    pair = sources(
        tmp_path, heard(rng, row, 20, 0), heard(rng, row[7 * RATE_HZ :][: 12 * RATE_HZ], 20, 0)
    )
    ((found,), _) = sync_takes(pair)
    assert found.outcome is not Outcome.LINED_UP


def test_two_different_takes_are_needed(tmp_path) -> None:
    one = Source("a.wav", tmp_path / "a.wav")
    with pytest.raises(InputError, match="at least two"):
        sync_takes([one])
    with pytest.raises(InputError, match="named twice"):
        sync_takes([one, one])
