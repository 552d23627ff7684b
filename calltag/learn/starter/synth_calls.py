"""Invented animal calls of random structure, as unlimited material to learn from.

No species is imitated. A call is drawn from families that animal voices share (whistles, hoots,
sweeps, trills, harmonic stacks with formants, rasps, pulses, barks, hisses), and a phrase repeats
or strings such calls together as animals do, each time a little different.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.signal

from calltag.arrays import FloatArray
from calltag.sound.spectrum import RATE_HZ

Rng = np.random.Generator

LONGEST_S = 6.0


def log_uniform(rng: Rng, low: float, high: float) -> np.float64:
    """Draw a number, as likely to lie in one octave as in another.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    low, high : float > 0
        The least, and the most.

    Returns
    -------
    np.float64
        The number.
    """
    return np.exp(rng.uniform(np.log(low), np.log(high)))


def smooth_curve(rng: Rng, n: int, *, points: int | np.integer[Any], spread: float) -> FloatArray:
    """Draw a smooth random curve around zero.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    n : int
        Length.
    points : int
        Turning points along it.
    spread : float
        Standard deviation at these points.

    Returns
    -------
    np.ndarray, shape (n,), float32
        The curve.
    """
    knots = rng.normal(0.0, spread, max(points, 2))
    x = np.linspace(0.0, len(knots) - 1.0, n)
    left = np.minimum(x.astype(int), len(knots) - 2)
    t = x - left
    t = t * t * (3.0 - 2.0 * t)
    return (knots[left] * (1 - t) + knots[left + 1] * t).astype(np.float32)


def shape(rng: Rng, n: int) -> FloatArray:
    """Draw an amplitude envelope with an attack, a body and a decay."""
    attack = max(1, int(n * rng.uniform(0.02, 0.4)))
    decay = max(1, int(n * rng.uniform(0.05, 0.6)))
    envelope = np.exp(smooth_curve(rng, n, points=rng.integers(2, 6), spread=0.3))
    envelope[:attack] *= np.sin(np.linspace(0, np.pi / 2, attack)) ** 2
    envelope[-decay:] *= np.cos(np.linspace(0, np.pi / 2, decay)) ** 2
    return envelope.astype(np.float32)


def filtered(sound: FloatArray, gain: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Weight a sound's spectrum by a gain that depends on frequency in hertz."""
    n = scipy.fft.next_fast_len(len(sound), real=True)
    hz = scipy.fft.rfftfreq(n, 1 / RATE_HZ).astype(np.float32)
    spectrum = scipy.fft.rfft(sound.astype(np.float32), n) * gain(hz).astype(np.float32)
    weighted: FloatArray = scipy.fft.irfft(spectrum, n)[: len(sound)]
    return weighted


def band_noise(rng: Rng, n: int, low_hz: float, high_hz: float) -> FloatArray:
    """Noise between two frequencies, with soft edges, of RMS 1."""
    noise = filtered(
        rng.standard_normal(n, np.float32),
        lambda hz: 1 / (1 + (low_hz / np.maximum(hz, 1.0)) ** 8) / (1 + (hz / high_hz) ** 8),
    )
    return noise / (noise.std() + np.float32(1e-9))


def harmonics(
    f0_hz: npt.NDArray[np.floating[Any]], levels: FloatArray, *, highest_hz: float = 18_000.0
) -> FloatArray:
    """Sum of harmonics over a moving fundamental.

    Parameters
    ----------
    f0_hz : np.ndarray, shape (n,)
        Fundamental.
    levels : np.ndarray, shape (n_harmonics,)
        Amplitude of each harmonic.
    highest_hz : float
        Harmonics above it are left out.

    Returns
    -------
    np.ndarray, shape (n,), float32
        The sound.
    """
    phase = np.cumsum(2 * np.pi * f0_hz.astype(np.float64) / RATE_HZ)
    phase = np.mod(phase, 2 * np.pi).astype(np.float32)
    out = np.zeros(len(f0_hz), np.float32)
    top = float(f0_hz.max())
    for k, level in enumerate(levels, start=1):
        if k * top > highest_hz:
            break
        out += np.float32(level) * np.sin(np.float32(k) * phase)
    return out


def _formants(rng: Rng, f0_hz: float) -> FloatArray:
    """Amplitudes of harmonics under a random vocal-tract-like envelope."""
    k_hz = f0_hz * np.arange(1, 1 + int(np.clip(14_000 / f0_hz, 1, 40)))
    envelope = np.zeros(len(k_hz))
    for _ in range(rng.integers(1, 5)):
        centre, width = log_uniform(rng, 300, 8000), rng.uniform(0.15, 0.7)
        envelope += rng.uniform(0.2, 1.0) * np.exp(-0.5 * (np.log(k_hz / centre) / width) ** 2)
    envelope += 0.3 * (k_hz / f0_hz) ** -rng.uniform(0.5, 2.5)
    return envelope.astype(np.float32)


Maker = Callable[[Rng], Callable[[], FloatArray]]
"""Draws an animal's voice; the voice then gives a call, slightly different each time."""


def _vary(rng: Rng, value: float, by: float = 0.06) -> float:
    return float(value * np.exp(rng.normal(0.0, by)))


def whistle(rng: Rng) -> Callable[[], FloatArray]:
    """A nearly pure tone that glides or wavers."""
    f0, seconds = log_uniform(rng, 700, 9500), rng.uniform(0.06, 1.3)
    glide, bend = rng.normal(0, 0.25), rng.uniform(0, 0.12)
    vibrato_hz, vibrato = rng.uniform(5, 40), rng.choice([0.0, 0.0, rng.uniform(0.005, 0.06)])
    overtones = np.array([1.0, rng.uniform(0, 0.2), rng.uniform(0, 0.1)], np.float32)

    def call() -> FloatArray:
        n = int(_vary(rng, seconds) * RATE_HZ)
        t = np.linspace(0, 1, n)
        curve = glide * (t - 0.5) + smooth_curve(rng, n, points=4, spread=bend)
        curve = curve + vibrato * np.sin(2 * np.pi * vibrato_hz * np.arange(n) / RATE_HZ)
        return harmonics(_vary(rng, f0, 0.02) * np.exp(curve), overtones) * shape(rng, n)

    return call


def hoot(rng: Rng) -> Callable[[], FloatArray]:
    """A low tone with few overtones."""
    f0, seconds = log_uniform(rng, 100, 900), rng.uniform(0.08, 1.4)
    glide = rng.normal(0, 0.12)
    levels = (rng.uniform(0.2, 1.0) ** np.arange(rng.integers(2, 7))).astype(np.float32)

    def call() -> FloatArray:
        n = int(_vary(rng, seconds) * RATE_HZ)
        curve = glide * np.linspace(-0.5, 0.5, n) + smooth_curve(rng, n, points=3, spread=0.03)
        sound = harmonics(_vary(rng, f0, 0.02) * np.exp(curve), levels)
        return (sound + 0.03 * band_noise(rng, n, f0 * 0.7, f0 * 4)) * shape(rng, n)

    return call


def chirp(rng: Rng) -> Callable[[], FloatArray]:
    """A very short sweep."""
    f0, seconds = log_uniform(rng, 1200, 10_000), rng.uniform(0.02, 0.16)
    sweep, second = rng.normal(0, 0.5), rng.uniform(0, 0.3)

    def call() -> FloatArray:
        n = int(_vary(rng, seconds) * RATE_HZ)
        curve = _vary(rng, sweep, 0.1) * np.linspace(-0.5, 0.5, n)
        levels = np.array([1.0, second], np.float32)
        return harmonics(_vary(rng, f0, 0.03) * np.exp(curve), levels) * shape(rng, n)

    return call


def trill(rng: Rng) -> Callable[[], FloatArray]:
    """A fast series of one short sound."""
    element = rng.choice(np.array([chirp, chirp, pulse, bark], object))(rng)
    rate_hz, seconds = log_uniform(rng, 5, 45), rng.uniform(0.3, 3.0)
    drift = rng.normal(0, 0.2)

    def call() -> FloatArray:
        out = np.zeros(int(_vary(rng, seconds) * RATE_HZ), np.float32)
        at, loud = 0.0, np.exp(smooth_curve(rng, len(out), points=4, spread=0.4))
        while at < len(out):
            one = element()[: int(1.2 * RATE_HZ / rate_hz)].copy()
            fade = min(len(one), 96)
            one[-fade:] *= np.linspace(1, 0, fade)
            end = min(len(out), int(at) + len(one))
            out[int(at) : end] += one[: end - int(at)] * loud[int(at)]
            at += RATE_HZ / (rate_hz * np.exp(drift * at / len(out) + rng.normal(0, 0.03)))
        return out

    return call


def voiced(rng: Rng) -> Callable[[], FloatArray]:
    """A harmonic stack under formants, clear to rough: caws, quacks, crowing, squeals."""
    f0, seconds = log_uniform(rng, 140, 2600), rng.uniform(0.07, 1.8)
    levels, arch = _formants(rng, f0), rng.normal(0, 0.35)
    rough_hz, rough = rng.uniform(25, 140), rng.choice([0.0, rng.uniform(0.1, 0.9)])
    breath, jitter = rng.uniform(0, 0.5) ** 2, rng.choice([0.003, 0.01, 0.03])
    steps = rng.integers(2, 9)

    def call() -> FloatArray:
        n = int(_vary(rng, seconds) * RATE_HZ)
        t = np.linspace(-1, 1, n)
        curve = arch * (1 - t * t) + smooth_curve(rng, n, points=steps, spread=0.1)
        curve = curve + smooth_curve(rng, n, points=max(2, n // 400), spread=float(jitter))
        sound = harmonics(_vary(rng, f0, 0.03) * np.exp(curve), levels)
        sound /= sound.std() + 1e-9
        sound += breath * band_noise(rng, n, max(300.0, f0), min(12_000.0, f0 * 12))
        beat = 1 + rough * np.sin(2 * np.pi * rough_hz * np.arange(n) / RATE_HZ)
        return (sound * beat * shape(rng, n)).astype(np.float32)

    return call


def rasp(rng: Rng) -> Callable[[], FloatArray]:
    """Noise in a band, beaten into pulses."""
    centre, octaves = log_uniform(rng, 700, 7500), rng.uniform(0.3, 2.0)
    rate_hz, seconds = log_uniform(rng, 8, 160), rng.uniform(0.06, 1.6)
    sharpness, glide = rng.uniform(0.5, 6.0), rng.normal(0, 0.2)

    def call() -> FloatArray:
        n = int(_vary(rng, seconds) * RATE_HZ)
        low, high = centre * 2 ** (-octaves / 2), min(15_000.0, centre * 2 ** (octaves / 2))
        rate = _vary(rng, rate_hz) * np.exp(glide * np.linspace(-1, 1, n))
        beat = (0.5 + 0.5 * np.sin(np.cumsum(2 * np.pi * rate / RATE_HZ))) ** sharpness
        return (band_noise(rng, n, low, high) * beat * shape(rng, n)).astype(np.float32)

    return call


def pulse(rng: Rng) -> Callable[[], FloatArray]:
    """A knock or click: a resonance that dies away."""
    f0, ring_s = log_uniform(rng, 300, 7000), rng.uniform(0.003, 0.05)
    mix = rng.uniform(0, 0.6)

    def call() -> FloatArray:
        n = int(ring_s * 5 * RATE_HZ)
        t = np.arange(n) / RATE_HZ
        tone = np.sin(2 * np.pi * _vary(rng, f0, 0.03) * t)
        noise = band_noise(rng, n, f0 * 0.5, min(16_000, f0 * 2.5))
        return ((tone + mix * noise) * np.exp(-t / ring_s)).astype(np.float32)

    return call


def bark(rng: Rng) -> Callable[[], FloatArray]:
    """A short burst, half voice and half noise, falling in pitch."""
    f0, seconds = log_uniform(rng, 180, 1500), rng.uniform(0.05, 0.35)
    levels, fall, noise = _formants(rng, f0), rng.uniform(0, 0.6), rng.uniform(0.1, 1.0)

    def call() -> FloatArray:
        n = int(_vary(rng, seconds, 0.1) * RATE_HZ)
        f = _vary(rng, f0, 0.06) * np.exp(-fall * np.linspace(0, 1, n))
        sound = harmonics(f.astype(np.float32), levels)
        sound /= sound.std() + 1e-9
        sound += noise * band_noise(rng, n, f0, min(12_000, f0 * 10))
        return sound * shape(rng, n)

    return call


def hiss(rng: Rng) -> Callable[[], FloatArray]:
    """A breathy burst without pitch."""
    low, seconds = log_uniform(rng, 300, 3000), rng.uniform(0.15, 1.6)
    high = low * 2 ** rng.uniform(1.0, 3.0)

    def call() -> FloatArray:
        n = int(_vary(rng, seconds) * RATE_HZ)
        return band_noise(rng, n, low, min(high, 16_000)) * shape(rng, n)

    return call


def cluck(rng: Rng) -> Callable[[], FloatArray]:
    """A short hoarse burst: breath through a few resonances, with or without a trace of voice."""
    seconds, tilt = rng.uniform(0.03, 0.22), rng.uniform(0.0, 1.5)
    f0, voice = log_uniform(rng, 100, 700), rng.choice([0.0, rng.uniform(0, 1)])
    resonances = [
        (
            log_uniform(rng, 350, 6000),
            rng.uniform(0.08, 0.5),
            rng.uniform(0.3, 1),
        )
        for _ in range(rng.integers(1, 5))
    ]

    def gain(hz: FloatArray) -> FloatArray:
        octave = np.log(np.maximum(hz, 20.0))
        total = 0.03 * (np.maximum(hz, 100.0) / 1000) ** -tilt
        for centre, width, height in resonances:
            total = total + height * np.exp(-0.5 * ((octave - np.log(centre)) / width) ** 2)
        return np.where(hz > 80, total, 0).astype(np.float32)

    def call() -> FloatArray:
        n = int(_vary(rng, seconds, 0.12) * RATE_HZ)
        source = rng.standard_normal(n, np.float32)
        if voice:
            bend = smooth_curve(rng, n, points=4, spread=0.08)
            f = (_vary(rng, f0, 0.05) * np.exp(bend)).astype(np.float32)
            buzz = harmonics(f, np.ones(int(8000 / f0), np.float32))
            source = source + np.float32(2 * voice) * buzz / (buzz.std() + 1e-9)
        return filtered(source, gain) * shape(rng, n)

    return call


FAMILIES: tuple[tuple[Maker, float], ...] = (
    (whistle, 0.17),
    (hoot, 0.10),
    (chirp, 0.09),
    (trill, 0.13),
    (voiced, 0.22),
    (cluck, 0.12),
    (rasp, 0.10),
    (pulse, 0.03),
    (bark, 0.11),
    (hiss, 0.05),
)


def placed(rng: Rng, sound: FloatArray) -> FloatArray:
    """Put a sound somewhere: distance takes highs away, and a place adds a tail of reflections.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    sound : np.ndarray, shape (n,), float32
        The sound at `RATE_HZ`.

    Returns
    -------
    np.ndarray, shape (n + n_tail,), float32
        As it is heard from there; now and then unchanged.
    """
    if rng.random() < 0.5:
        cut = log_uniform(rng, 3000, 16_000)
        sos = scipy.signal.butter(rng.integers(1, 3), cut, fs=RATE_HZ, output="sos")
        sound = scipy.signal.sosfilt(sos, sound).astype(np.float32)
    if rng.random() < 0.6:
        tail_s = log_uniform(rng, 0.05, 0.9)
        n = int(tail_s * RATE_HZ)
        impulse = rng.standard_normal(n) * np.exp(-6.9 * np.arange(n) / n)
        impulse *= 10 ** (rng.uniform(-26, -6) / 20) / np.sqrt((impulse**2).sum())
        impulse[0] += 1.0
        sound = scipy.signal.fftconvolve(sound, impulse).astype(np.float32)
    return sound


def phrase(rng: Rng, families: Sequence[tuple[Maker, float]] = FAMILIES) -> FloatArray:
    """Draw an animal and let it call once: one call, a series, or a string of different calls.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    families : sequence of tuple of callable and float
        What it draws its voices from, and the weight of each.

    Returns
    -------
    np.ndarray, shape (n,), float32
        The sound at `RATE_HZ`, of peak 1, at most `LONGEST_S` long.
    """
    makers = np.array([maker for maker, _ in families], object)
    weights = np.array([weight for _, weight in families])
    voices = [
        rng.choice(makers, p=weights / weights.sum())(rng)
        for _ in range(rng.choice([1, 1, 1, 2, 3]))
    ]
    count = int(rng.choice([1, 1, 2, 3, 4, 6, 10, 16]))
    gap_s = log_uniform(rng, 0.02, 0.8)
    pieces: list[FloatArray] = []
    for i in range(count):
        one = voices[i % len(voices)]()
        peak = np.abs(one).max()
        if peak > 0:
            pieces.append(one / peak * np.float32(np.exp(rng.normal(0, 0.25))))
            pieces.append(np.zeros(int(_vary(rng, gap_s, 0.15) * RATE_HZ), np.float32))
    if not pieces:  # voices that happened to make no sound at all
        return phrase(rng, families)
    sound = np.concatenate(pieces[:-1])[: int(LONGEST_S * RATE_HZ)]
    sound[-480:] *= np.linspace(1, 0, len(sound[-480:]), dtype=np.float32)
    sound = placed(rng, sound)
    if rng.random() < 0.6:  # as recordings have it: with a background of its own
        hiss_db = rng.uniform(-45, -12)
        low = log_uniform(rng, 60, 1500)
        behind = band_noise(rng, len(sound), low, low * 2 ** rng.uniform(2, 6))
        sound = sound + np.float32(10 ** (hiss_db / 20) * sound.std()) * behind
    return (sound / (np.abs(sound).max() + 1e-9)).astype(np.float32)
