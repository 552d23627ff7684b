"""Sound of a quiet place, and a take of it gone through."""

from __future__ import annotations

import numpy as np

from calltag.sound.channels.choosing import ChannelReport, Chooser

RATE_HZ = 48_000


def outdoors(seconds: float, seed: int, level: float = 0.02) -> np.ndarray:
    """Sound of a quiet place: falls by 3 dB an octave, comes and goes slowly."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE_HZ)
    spectrum = np.fft.rfft(rng.standard_normal(n))
    spectrum /= np.sqrt(np.maximum(np.fft.rfftfreq(n, 1 / RATE_HZ), 20))
    sound = np.fft.irfft(spectrum, n)
    swell = 1 + 0.6 * np.sin(2 * np.pi * np.arange(n) / RATE_HZ / 7 + seed)
    sound = sound * swell
    return (level * sound / sound.std()).astype(np.float32)


def choose(sound: np.ndarray, block_s: float = 60.0) -> tuple[np.ndarray, ChannelReport]:
    sound = np.atleast_2d(sound).astype(np.float32)
    chooser = Chooser(RATE_HZ)
    step = round(block_s * RATE_HZ)
    chosen = [chooser.choose(sound[:, i : i + step]) for i in range(0, sound.shape[1], step)]
    return np.concatenate(chosen), chooser.report()


A = outdoors(12, 1)
