"""Wind as the finder that ships hears it: invented turbulence, and what is low but no wind."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile as sf

from calltag.learn.low_noise import knock_odds, wind_odds
from calltag.media.probe import probe
from calltag.records.label import NOISE_KINDS
from calltag.sound.bursts import N_GROUPS
from calltag.sound.spectrum import RATE_HZ

SECONDS = 16
FALLING = np.array([-20.0, -33.0, -44.0, -56.0])
WIND, MACHINE, VOICE, WATER = map(NOISE_KINDS.index, ("wind", "machine", "voice", "water"))


def noise(rng: np.random.Generator, slope_db: float, corner_hz: float = 0.0) -> np.ndarray:
    """Noise of RMS 1 that falls by so much an octave, above a corner."""
    n = SECONDS * RATE_HZ
    hz = np.maximum(np.fft.rfftfreq(n, 1 / RATE_HZ), 12)
    spectrum = np.fft.rfft(rng.standard_normal(n)) * (hz**2 + corner_hz**2) ** (-slope_db / 12.04)
    sound = np.fft.irfft(spectrum, n)
    return sound / sound.std()


def puffs(rng: np.random.Generator) -> np.ndarray:
    """A gust or two, and puffs six times a second, as a gain."""
    n = SECONDS * RATE_HZ
    gusts, fast = (
        np.interp(np.arange(n), np.linspace(0, n, points), rng.normal(0, spread, points))
        for points, spread in ((6, 0.8), (6 * SECONDS, 0.5))
    )
    return np.exp(gusts + fast)


def told_s(finder, path, sound: np.ndarray) -> float:
    """Seconds of it that are told as wind."""
    sf.write(path, sound.astype(np.float32), RATE_HZ, subtype="PCM_24")
    noise = finder.analyse(path, probe(path)).noise
    return sum(span.end_s - span.start_s for span in noise if span.kind == "wind")


@pytest.mark.parametrize("slope_db", [9.0, 12.0])
def test_wind_is_told_though_it_is_low(finder, tmp_path, rng, slope_db) -> None:
    """Turbulence falls from some ten hertz on (by 5 to 14 dB an octave, from memory)."""
    wind = 0.1 * puffs(rng) * noise(rng, slope_db, 30.0)
    air = 0.0003 * noise(rng, 3.0)
    assert told_s(finder, tmp_path / "wind.wav", wind + air) > 0.6 * SECONDS
    assert told_s(finder, tmp_path / "air.wav", air) == 0


def test_a_still_evening_is_no_wind(finder, tmp_path, rng) -> None:
    evening = 0.003 * noise(rng, 6.0) + 1e-5 * noise(rng, 0.0)
    assert told_s(finder, tmp_path / "evening.wav", evening) == 0


def odds_of(levels: np.ndarray, **heard: float) -> float:
    """Middle of the odds where so much is heard, and -8 of what is not named."""
    rows = np.full((len(levels) // 10, len(NOISE_KINDS)), -8.0, np.float32)
    for kind, odds in heard.items():
        rows[:, NOISE_KINDS.index(kind)] = odds
    return float(wind_odds(levels, rows)[len(rows) // 2])


def test_odds_of_wind_by_hand() -> None:
    """Steady, 13 dB over the next bands and 36 and more over the high ones; each tenth up or down.

    -6.3, with 0.7 of -4, -0.6 of -8, -0.15 of -8, 0.04 of 13 and 0.12 of 36: 1.74; each decibel of
    change is half of one more.
    """
    steady = np.repeat([FALLING], 300, axis=0)
    assert odds_of(steady, wind=-4.0) == pytest.approx(1.74, abs=0.01)
    assert odds_of(steady, wind=-4.0, machine=-1.5) == pytest.approx(-0.26, abs=0.01)
    assert odds_of(steady, wind=-4.0, water=3.0) == pytest.approx(1.74 - 11 * 0.15 - 3, abs=0.01)
    assert odds_of(steady, wind=-4.0, voice=-2.0) == pytest.approx(1.74 - 6 * 0.6, abs=0.01)
    leaping = steady.copy()
    leaping[:, 0] += np.repeat(np.tile([2.0, -2.0], 15), 10)
    assert odds_of(leaping, wind=-4.0) == pytest.approx(1.74 + 0.5 * 4, abs=0.1)


def test_no_levels_are_no_evidence() -> None:
    rows = np.zeros((3, len(NOISE_KINDS)), np.float32)
    assert np.isneginf(wind_odds(np.zeros((0, N_GROUPS)), rows)).all()
    assert np.isneginf(knock_odds(np.zeros((0, N_GROUPS)), rows, np.zeros(3))).all()
