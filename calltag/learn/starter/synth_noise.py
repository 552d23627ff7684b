"""Synthetic noise: what spoils the sound of takes, made from what is known of its sources.

Each function draws `n` samples at 48 kHz with an RMS near 1 while it sounds.
"""

from __future__ import annotations

import numpy as np
import scipy.signal

from calltag.arrays import FloatArray
from calltag.learn.starter.synth_calls import (
    Rng,
    band_noise,
    filtered,
    harmonics,
    log_uniform,
    smooth_curve,
)
from calltag.sound.spectrum import RATE_HZ


def _unit(sound: FloatArray) -> FloatArray:
    return (sound / (sound.std() + 1e-9)).astype(np.float32)


def air(rng: Rng, n: int) -> FloatArray:
    """Quiet background: noise that falls with frequency, with one or two broad humps."""
    tilt_db = rng.uniform(0.0, 8.0)
    humps = [(log_uniform(rng, 100, 9000), rng.uniform(-8, 12)) for _ in range(rng.integers(0, 3))]

    def gain(hz: FloatArray) -> FloatArray:
        octave = np.log2(np.maximum(hz, 20.0) / 1000.0)
        gain_db = -tilt_db * octave
        for centre, height_db in humps:
            gain_db += height_db * np.exp(-((octave - np.log2(centre / 1000.0)) ** 2))
        return (10 ** (np.clip(gain_db, -60, 40) / 20)).astype(np.float32)

    noise = filtered(rng.standard_normal(n, np.float32), gain)
    return _unit(noise) * np.exp(smooth_curve(rng, n, points=max(2, n // RATE_HZ), spread=0.1))


def engine(rng: Rng, n: int) -> FloatArray:
    """A motor: firing rate and its harmonics, throttle movements, rasp of blades, exhaust noise."""
    top_hz = 900 if rng.random() < 0.15 else 230  # electric motors whine
    rate_hz = log_uniform(rng, 25, top_hz)
    throttle = smooth_curve(
        rng, n, points=max(2, int(n / RATE_HZ * rng.uniform(0.1, 1.5))), spread=1
    )
    swing = rng.choice([0.01, 0.03, 0.15, 0.35])
    f0 = rate_hz * np.exp(np.clip(swing * throttle, -0.9, 0.7))
    f0 = f0 * np.exp(smooth_curve(rng, n, points=max(2, n // 1500), spread=0.004))
    k_hz = rate_hz * np.arange(1, 1 + int(min(60, 9000 / rate_hz)))
    levels = (k_hz / k_hz[0]) ** -rng.uniform(0.3, 1.5)
    for _ in range(rng.integers(1, 4)):
        centre = log_uniform(rng, 150, 4000)
        levels = levels * (1 + 4 * np.exp(-0.5 * (np.log(k_hz / centre) / 0.25) ** 2))
    levels = levels * np.exp(rng.normal(0, 0.5, len(levels)))
    if rng.random() < 0.4:  # half orders, as four-stroke and uneven engines have them
        f0 = f0 / 2
        levels = np.repeat(levels, 2) * np.tile([rng.uniform(0.05, 0.6), 1.0], len(levels))
    sound = _unit(harmonics(f0.astype(np.float32), levels.astype(np.float32)))
    beat = 0.5 + 0.5 * np.sin(np.cumsum(2 * np.pi * f0 / RATE_HZ))
    low = log_uniform(rng, 200, 3000)
    rasp = band_noise(rng, n, low, min(15_000, low * rng.uniform(2, 12)))
    sound += rng.uniform(0.05, 1.2) * rasp * (1 - rng.uniform(0, 0.9) * beat)
    return _unit(sound * np.exp(0.5 * swing / 0.3 * throttle))


def aircraft(rng: Rng, n: int) -> FloatArray:
    """A propeller or jet passing: blade tones under broadband noise that swells and falls."""
    low = log_uniform(rng, 40, 200)
    sound = band_noise(rng, n, low, log_uniform(rng, 400, 5000))
    if rng.random() < 0.7:
        drop = np.linspace(rng.uniform(0, 0.15), -rng.uniform(0, 0.15), n)
        f0 = log_uniform(rng, 15, 120) * np.exp(drop)
        levels = np.arange(1, 20, dtype=np.float32) ** -np.float32(rng.uniform(0.5, 1.5))
        tone = harmonics(f0.astype(np.float32), levels)
        if rng.random() < 0.5:  # a rotor's slap
            tone *= (0.5 + 0.5 * np.sin(np.cumsum(2 * np.pi * f0 / RATE_HZ))) ** 4
        sound = sound + rng.uniform(0.2, 2.0) * _unit(tone)
    return _unit(sound * np.exp(smooth_curve(rng, n, points=3, spread=0.6)))


def wind(rng: Rng, n: int) -> FloatArray:
    """Wind on a microphone: low-frequency bursts with a tail towards 1 kHz, at times overloaded."""
    gusts = np.exp(
        smooth_curve(rng, n, points=max(3, int(n / RATE_HZ * rng.uniform(0.5, 4))), spread=1.0)
    )
    flutter = np.exp(smooth_curve(rng, n, points=max(3, n // 4000), spread=0.5))
    corner, slope = rng.uniform(30, 200), rng.uniform(1.0, 2.2)
    sound = filtered(
        rng.standard_normal(n, np.float32),
        lambda hz: (1 + (hz / corner) ** 2) ** (-slope / 2) * (hz > 15),
    )
    sound = _unit(sound) * gusts * flutter
    if rng.random() < 0.25:
        limit = rng.uniform(1.0, 2.5) * sound.std()
        sound = np.clip(sound, -limit, limit)
    return _unit(sound)


def handling(rng: Rng, n: int) -> FloatArray:
    """A hand on the tripod: thumps, knocks, rubbing."""
    sound = np.zeros(n, np.float32)
    at = rng.exponential(0.4)
    while at * RATE_HZ < n:
        if rng.random() < 0.7:
            m = int(rng.uniform(0.03, 0.35) * RATE_HZ)
            t = np.arange(m) / RATE_HZ
            hz, ring = log_uniform(rng, 25, 350), rng.uniform(0.01, 0.08)
            hit = np.sin(2 * np.pi * hz * t + rng.uniform(0, 6)) * np.exp(-t / ring)
            click = band_noise(rng, m, 200, rng.uniform(1000, 9000)) * np.exp(-t / 0.006)
            piece = hit + rng.uniform(0, 0.5) * click
        else:
            m = int(rng.uniform(0.15, 1.0) * RATE_HZ)
            scrape = np.exp(smooth_curve(rng, m, points=max(3, m // 1500), spread=0.8))
            piece = band_noise(rng, m, rng.uniform(40, 300), rng.uniform(700, 7000)) * scrape
            piece = piece * np.sin(np.linspace(0, np.pi, m)) * 0.4
        first = int(at * RATE_HZ)
        m = min(len(piece), n - first)
        sound[first : first + m] += (piece[:m] * np.exp(rng.normal(0, 0.6))).astype(np.float32)
        at += rng.exponential(rng.choice([0.15, 0.6, 1.5]))
    return _unit(sound)


def murmur(rng: Rng, n: int) -> FloatArray:
    """A voice without words: glottal pulses through moving formants, in syllables and phrases."""
    f0 = log_uniform(rng, 80, 280)
    prosody = smooth_curve(rng, n, points=max(3, int(n / RATE_HZ * 2)), spread=0.15)
    source = harmonics(
        (f0 * np.exp(prosody)).astype(np.float32),
        np.arange(1, 1 + int(5000 / f0), dtype=np.float32) ** np.float32(-0.9),
        highest_hz=7000,
    )
    breath = rng.standard_normal(n).astype(np.float32)
    syllables_hz = rng.uniform(3, 6)
    rhythm = np.sin(
        np.cumsum(
            np.pi * syllables_hz * np.exp(smooth_curve(rng, n, points=n // 8000 + 2, spread=0.3))
        )
        / RATE_HZ
    )
    voiced = np.clip(np.abs(rhythm) * 1.6 - 0.3, 0, 1) ** 1.5
    phrases = smooth_curve(rng, n, points=max(3, int(n / RATE_HZ * 0.8)), spread=1.0) > -0.3
    gate = scipy.signal.fftconvolve(phrases.astype(np.float32), np.ones(2400) / 2400, "same")
    sound = np.zeros(n, np.float32)
    step = 4800
    centres = [
        np.exp(np.log(hz) + smooth_curve(rng, n // step + 2, points=n // step + 2, spread=s))
        for hz, s in ((500, 0.35), (1500, 0.3), (2600, 0.12))
    ]
    window = scipy.signal.get_window("hann", 2 * step).astype(np.float32)
    for i in range(n // step + 1):
        first = i * step - step
        a, b = max(0, first), min(n, first + 2 * step)
        if b - a < 400:
            continue
        piece = source[a:b] * voiced[a:b] + 0.08 * breath[a:b] * (1 - voiced[a:b])
        hz = np.fft.rfftfreq(b - a, 1 / RATE_HZ)
        gain = 0.02 + sum(
            g / (1 + ((hz - c[i]) / w) ** 2)
            for c, g, w in zip(centres, (1.0, 0.5, 0.25), (90, 130, 180), strict=True)
        )
        filtered = np.fft.irfft(np.fft.rfft(piece) * gain, b - a)
        sound[a:b] += (filtered * window[a - first : b - first]).astype(np.float32)
    return _unit(sound * gate.astype(np.float32))


def hum(rng: Rng, n: int) -> FloatArray:
    """Mains hum: 50 or 60 Hz and harmonics, dead steady."""
    levels = rng.uniform(0, 1, 8).astype(np.float32) * np.float32(0.8) ** np.arange(
        8, dtype=np.float32
    )
    f0 = np.full(n, rng.choice([50.0, 60.0]), np.float32)
    return _unit(harmonics(f0, levels))


def drops(rng: Rng, n: int) -> FloatArray:
    """Rain and dripping: many small impacts, from single drops to a steady rush."""
    sound = np.zeros(n, np.float32)
    per_s = log_uniform(rng, 3, 400)
    for at in rng.integers(0, n, int(per_s * n / RATE_HZ)):
        m = min(int(rng.uniform(0.002, 0.03) * RATE_HZ), n - at)
        t = np.arange(m) / RATE_HZ
        hz = log_uniform(rng, 400, 9000)
        rise = hz * (1 + rng.uniform(0, 0.5) * t * 30)
        loud = np.exp(rng.normal(0, 0.9))
        tone = (
            np.sin(2 * np.pi * np.cumsum(rise) / RATE_HZ)
            if rng.random() < 0.5
            else rng.standard_normal(m)
        )
        sound[at : at + m] += (loud * tone * np.exp(-t / (m / RATE_HZ / 4 + 1e-6))).astype(
            np.float32
        )
    rush = air(rng, n) if rng.random() < 0.7 else np.zeros(n, np.float32)
    return _unit(_unit(sound) + rng.uniform(0.1, 2.0) * rush)


def waves(rng: Rng, n: int) -> FloatArray:
    """Water against a shore: broadband washes that swell, break and draw back."""
    swell = smooth_curve(
        rng, n, points=max(3, int(n / RATE_HZ * rng.uniform(0.2, 1.5))), spread=1.0
    )
    low, high = (
        log_uniform(rng, 60, 600),
        log_uniform(rng, 1500, 12_000),
    )
    wash = band_noise(rng, n, low, high) * np.exp(swell)
    gurgle = band_noise(rng, n, 200, 1500) * np.exp(
        smooth_curve(rng, n, points=max(3, n // 5000), spread=0.9)
    )
    return _unit(wash + rng.uniform(0, 0.7) * gurgle)
