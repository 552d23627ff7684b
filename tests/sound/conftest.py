"""Machines made by rule: engines, rotors and hum."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

RATE_HZ = 48_000


def fired(rng, rate_hz, seconds, wobble, drift):
    """Where an engine fires, and the phase between two firings, at a speed that wobbles.

    Speed wanders over tenths of a second, by `wobble` of itself, and up and down by `drift` every
    eight seconds.
    """
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    knots = rng.normal(0, wobble, round(seconds * 5) + 2)
    speed = np.interp(t * 5, np.arange(len(knots)), knots) + drift * np.sin(2 * np.pi * t / 8)
    turns = np.cumsum(rate_hz * (1 + speed)) / RATE_HZ
    return np.diff(np.floor(turns), prepend=0) > 0, turns % 1


def engine(rng, rate_hz, seconds=5.0, wobble=0.02, noise_db=-10.0, drift=0.0):
    """Firing pulses, each ringing in a box of its own; noise below it."""
    at, _ = fired(rng, rate_hz, seconds, wobble, drift)
    rung = sosfilt(
        butter(1, [60, 900], "band", fs=RATE_HZ, output="sos"), at * rng.normal(1, 0.2, len(at))
    )
    rung /= rung.std()
    return 0.1 * (rung + 10 ** (noise_db / 20) * rng.standard_normal(len(at)))


def rasp(rng, rate_hz, seconds=5.0, wobble=0.01, drift=0.0):
    """Noise in bursts, falling from 300 Hz on: a rotor's slap, an exhaust without a note."""
    _, phase = fired(rng, rate_hz, seconds, wobble, drift)
    noise = sosfilt(
        butter(1, [60, 300], "band", fs=RATE_HZ, output="sos"), rng.standard_normal(len(phase))
    )
    sound = noise * (0.2 + np.exp(-phase / 0.2))
    return 0.1 * sound / sound.std()


def hum(mains_hz, lines, seconds=6.0, level=0.01):
    """Sines at multiples of the mains' frequency."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return level * sum(np.sin(2 * np.pi * mains_hz * k * t + k) / k for k in lines)


def rain(rng, seconds=5.0):
    """Steady noise, and drops: short rings at random times."""
    n = round(seconds * RATE_HZ)
    steady = sosfilt(
        butter(2, [800, 10_000], "band", fs=RATE_HZ, output="sos"), rng.standard_normal(n)
    )
    k = np.arange(600)
    for start in rng.integers(0, n - 600, round(40 * seconds)):
        ring = np.exp(-k / 96) * np.sin(2 * np.pi * rng.uniform(1500, 7000) / RATE_HZ * k)
        steady[start : start + 600] += 2 * ring
    return 0.1 * steady / steady.std()


@pytest.fixture
def made() -> SimpleNamespace:
    """Makers of sound at 48 kHz, RMS level 0.1 or so: `engine`, `rasp`, `hum`, `rain`."""
    return SimpleNamespace(engine=engine, rasp=rasp, hum=hum, rain=rain)
