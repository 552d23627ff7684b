"""What hands and feet sound like, invented: each draws a thing, which sounds again and again.

A knock shakes what stands: its modes ring, the lowest longest. What rubs sticks and slips, in noise
or, where it locks on to a mode, as a squeal. Cloth, leaves and ground are many small grains.
"""

from __future__ import annotations

import numpy as np
import scipy.signal

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.invented_takes.parts import Sound
from calltag.learn.starter.synth_calls import (
    Maker,
    Rng,
    band_noise,
    harmonics,
    log_uniform,
    smooth_curve,
)
from calltag.sound.spectrum import RATE_HZ

_GROUNDS = {  # lower and upper edge in hertz, and grains a second; none: it rushes or creaks
    "gravel": (600.0, 7000.0, 700.0),
    "leaves": (900.0, 12_000.0, 900.0),
    "hard": (200.0, 3000.0, 80.0),
    "grass": (500.0, 9000.0, None),
    "snow": (250.0, 4000.0, None),
}


def _log_uniform(rng: Rng, low: float, high: float) -> float:
    return float(log_uniform(rng, low, high))  # a float keeps sounds in single precision


def _peak_1(sound: DoubleArray | FloatArray) -> FloatArray:
    return np.asarray(sound / (np.abs(sound).max() + 1e-9), np.float32)


def _seconds(n: int) -> DoubleArray:
    return np.arange(n) / RATE_HZ


def _ringing(
    rng: Rng, n: int, band_hz: tuple[float, float], count: int, tilt: float, ring_s: float
) -> DoubleArray:
    """Damped modes; high ones die away sooner."""
    t, out = _seconds(n), np.zeros(n)
    for _ in range(count):
        hz = _log_uniform(rng, *band_hz)
        ring = ring_s * _log_uniform(rng, 0.4, 2.5) * (band_hz[0] / hz) ** rng.uniform(0, 0.6)
        mode = np.exp(-t / ring) * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6))
        out += rng.normal() * (hz / band_hz[0]) ** -tilt * mode
    return out


def knock(rng: Rng) -> Sound:
    """A thump below 160 Hz, modes to 1.5 kHz, and the click of what touches."""
    low_hz, thump, low_ring_s = (
        _log_uniform(rng, 25, 160),
        rng.uniform(0.3, 2),
        _log_uniform(rng, 0.01, 0.12),
    )
    click, top_hz = _log_uniform(rng, 0.01, 0.6), _log_uniform(rng, 1500, 12_000)
    n = RATE_HZ // 2
    own = _ringing(rng, n, (90, 1500), int(rng.integers(2, 10)), rng.uniform(0, 1.5), 0.02)
    t = _seconds(n)
    low = np.sin(2 * np.pi * low_hz * t) * np.exp(-t / low_ring_s) * (1 - np.exp(-t / 0.003))

    def sound() -> FloatArray:
        touch = np.hanning(max(3, int(_log_uniform(rng, 0.0008, 0.008) * RATE_HZ)))
        out = _peak_1(np.convolve(own, touch)[:n]) + thump * np.exp(rng.normal(0, 0.3)) * low
        for _ in range(int(rng.integers(1, 4))):
            at, m = int(rng.exponential(0.006) * RATE_HZ), int(0.02 * RATE_HZ)
            noise = band_noise(rng, m, rng.uniform(150, 1500), top_hz)
            fade = np.exp(-_seconds(m) / _log_uniform(rng, 0.001, 0.006))
            out[at : at + m] += (click * np.exp(rng.normal(0, 0.4)) * noise * fade)[: n - at]
        return _peak_1(out)

    return sound


def _stroke(rng: Rng, n: int) -> FloatArray:
    """How a hand moves: it sets out, falters, and comes to rest."""
    swell = np.sin(np.linspace(0, np.pi, n)) ** rng.uniform(0.3, 2)
    points = max(3, int(n / RATE_HZ * rng.uniform(3, 30)))
    falters = smooth_curve(rng, n, points=points, spread=rng.uniform(0.2, 0.8))
    return np.asarray(np.maximum(swell * np.exp(falters), 1e-3), np.float32)


def _slips(rng: Rng, rate_hz: DoubleArray | FloatArray) -> DoubleArray:
    """Phase of what sticks and slips, from 1 at each slip down to 0."""
    n = len(rate_hz)
    uneven = np.exp(smooth_curve(rng, n, points=max(3, n // 800), spread=0.3))
    return 1 - np.cumsum(rate_hz * uneven / RATE_HZ) % 1


def rub(rng: Rng) -> Sound:
    """A drag, or a hand on a leg: noise that sticks and slips."""
    low_hz = _log_uniform(rng, 30, 400)
    high_hz = min(12_000.0, low_hz * _log_uniform(rng, 4, 60))
    rate_hz, rough, low = _log_uniform(rng, 8, 250), rng.uniform(0, 1), rng.uniform(0, 1.1)

    def sound() -> FloatArray:
        n = int(rng.uniform(0.15, 1.6) * RATE_HZ)
        stroke = _stroke(rng, n)
        slips = _slips(rng, rate_hz * (0.3 + stroke)) ** 3
        noise = band_noise(rng, n, low_hz, high_hz) * (1 - rough + rough * slips)
        return _peak_1((noise + low * band_noise(rng, n, 25, rng.uniform(80, 200))) * stroke)

    return sound


def squeal(rng: Rng) -> Sound:
    """A head that turns and squeals: a tone that slides, breaks off and catches again."""
    f0_hz, tilt = _log_uniform(rng, 250, 4500), rng.uniform(0.5, 2)
    jitter, drag, touched = rng.choice([0.002, 0.01, 0.04]), rng.uniform(0, 0.6), knock(rng)

    def sound() -> FloatArray:
        n = int(_log_uniform(rng, 0.06, 1.0) * RATE_HZ)
        slide = rng.normal(0, 0.25) * np.linspace(-0.5, 0.5, n) + rng.normal(0, 0.1)
        slide += smooth_curve(rng, n, points=int(rng.integers(2, 7)), spread=0.12)
        slide += smooth_curve(rng, n, points=max(3, n // 600), spread=float(jitter))
        levels = np.arange(1, 16) ** -tilt * np.exp(rng.normal(0, 0.5, 15))
        tone = harmonics(f0_hz * np.exp(slide), levels.astype(np.float32))
        if rng.random() < 0.5:
            points = max(3, int(n / RATE_HZ * _log_uniform(rng, 6, 60)))
            catches = smooth_curve(rng, n, points=points, spread=1) > -0.4
            tone *= scipy.signal.fftconvolve(catches.astype(np.float32), np.ones(96) / 96, "same")
        tone /= tone.std() + 1e-9
        noise = band_noise(rng, n, 80, rng.uniform(1000, 6000))
        out = _peak_1((tone + drag * noise) * _stroke(rng, n))
        if rng.random() < 0.3:
            thump = touched()
            out = np.pad(out, (0, max(0, len(thump) - n)))
            out[: len(thump)] += thump * np.float32(rng.uniform(0.3, 1.5))
        return out

    return sound


def click(rng: Rng) -> Sound:
    """A switch or a lock, once, or there and back."""
    band_hz = (_log_uniform(rng, 400, 2500), _log_uniform(rng, 3000, 12_000))
    n = int(0.06 * RATE_HZ)
    t = _seconds(n)
    own = _peak_1(_ringing(rng, n, band_hz, int(rng.integers(1, 7)), 0, 0.004))
    pair, gap_s = rng.random() < 0.6, rng.uniform(0.02, 0.3)
    thump, low_hz = rng.choice([0.0, rng.uniform(0.1, 1)]), _log_uniform(rng, 40, 250)

    def one() -> DoubleArray:
        noise = band_noise(rng, n, *band_hz) * np.exp(-t / _log_uniform(rng, 0.0005, 0.004))
        return own + 0.6 * noise + thump * np.sin(2 * np.pi * low_hz * t) * np.exp(-t / 0.015)

    def sound() -> FloatArray:
        if not pair:
            return _peak_1(one())
        later = int(gap_s * np.exp(rng.normal(0, 0.2)) * RATE_HZ)
        out = np.pad(one(), (0, later))
        out[later:] += one() * rng.uniform(0.3, 1)
        return _peak_1(out)

    return sound


def _grains(
    rng: Rng, often: FloatArray, per_s: float, band_hz: tuple[float, float], ring_s: float
) -> DoubleArray:
    """Many small impacts, where it says that they are often."""
    n = len(often)
    longest = int(ring_s * 12 * RATE_HZ)
    out = np.zeros(n + longest)
    for at in rng.choice(n, rng.poisson(per_s * often.sum() / RATE_HZ), p=often / often.sum()):
        m = int(ring_s * rng.uniform(1, 12) * RATE_HZ) + 1
        t = _seconds(m)
        grain = np.sin(2 * np.pi * _log_uniform(rng, *band_hz) * t + rng.uniform(0, 6))
        out[at : at + m] += grain * np.exp(rng.normal() - 5 * np.arange(m) / m)
    return out[:n] / (out.std() + 1e-9)


def cloth(rng: Rng) -> Sound:
    """A sleeve at the microphone: a rush, crackles, and bumps of the lowest bands."""
    band_hz = (_log_uniform(rng, 100, 1500), _log_uniform(rng, 3000, 15_000))
    crackle, bump = rng.uniform(0, 1), rng.uniform(0, 1.5)

    def sound() -> FloatArray:
        n = int(rng.uniform(0.1, 1.0) * RATE_HZ)
        stroke = _stroke(rng, n)
        bumps = np.exp(smooth_curve(rng, n, points=max(3, int(n / RATE_HZ * 8)), spread=0.8))
        crackles = _grains(rng, stroke, _log_uniform(rng, 50, 800), (1000, 9000), 0.0007)
        low = band_noise(rng, n, 25, 160) * bumps
        rush = band_noise(rng, n, *band_hz)
        return _peak_1((rush + bump * low) * stroke + crackle * crackles)

    return sound


def leaves(rng: Rng) -> Sound:
    """Leaves and stalks that someone moves, close to the microphone."""
    band_hz = (_log_uniform(rng, 800, 3000), _log_uniform(rng, 6000, 15_000))

    def sound() -> FloatArray:
        stroke = _stroke(rng, int(rng.uniform(0.1, 1.2) * RATE_HZ))
        crackles = _grains(rng, stroke, _log_uniform(rng, 100, 1500), band_hz, 0.0005)
        rush = band_noise(rng, len(stroke), *band_hz) * stroke
        return _peak_1(crackles + rng.uniform(0, 0.3) * rush)

    return sound


def step(rng: Rng) -> Sound:
    """A foot that rolls from heel to toe, on gravel, leaves, grass, snow or what is hard."""
    what = str(rng.choice(list(_GROUNDS)))
    low_hz, high_hz, per_s = _GROUNDS[what]
    thump, thump_hz = _log_uniform(rng, 0.05, 1.5), _log_uniform(rng, 30, 150)

    def sound() -> FloatArray:
        n = int(rng.uniform(0.12, 0.5) * RATE_HZ)
        at = np.linspace(0, 1, n)
        heel, toe = (np.exp(-(((at - c) / w) ** 2)) for c, w in ((0.12, 0.09), (0.45, 0.15)))
        rolls = heel + rng.uniform(0.2, 1) * toe
        uneven = np.exp(smooth_curve(rng, n, points=12, spread=0.4))
        weight: FloatArray = np.maximum(rolls * uneven, 1e-4).astype(np.float32)
        if per_s:
            dense = per_s * np.exp(rng.normal(0, 0.5))
            ground = _peak_1(_grains(rng, weight, dense, (low_hz, high_hz), 0.001))
        else:
            ground = band_noise(rng, n, low_hz, high_hz) * weight
            if what == "snow":
                ground = _peak_1(ground * _slips(rng, np.full(n, _log_uniform(rng, 60, 400))) ** 2)
        t = _seconds(n)
        low = np.sin(2 * np.pi * thump_hz * t) * np.exp(-t / _log_uniform(rng, 0.015, 0.06))
        return _peak_1(_peak_1(ground) + thump * low)

    return sound


def zip_(rng: Rng) -> Sound:
    """A zip of a bag: teeth that pass ever faster, or slower."""
    band_hz = (_log_uniform(rng, 800, 3000), _log_uniform(rng, 5000, 14_000))

    def sound() -> FloatArray:
        n = int(rng.uniform(0.15, 1.2) * RATE_HZ)
        faster = np.exp(np.linspace(0, rng.normal(0, 0.6), n))
        teeth = _slips(rng, _log_uniform(rng, 60, 600) * faster) ** rng.uniform(2, 8)
        return _peak_1(band_noise(rng, n, *band_hz) * teeth * _stroke(rng, n))

    return sound


SOUNDS: tuple[Maker, ...] = (knock, rub, squeal, click, cloth, leaves, zip_)
"""What hands do, now and again; a `step` has its pace."""
