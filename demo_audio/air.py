"""Sound on its way to the microphone: noise of a given spectrum, slow movement, levels, distance.

Times are seconds, frequencies hertz, samples float64 at `RATE_HZ` with full scale at ±1. Levels are
dBFS as everywhere in calltag: a full-scale sine is at 0, so its RMS of 0.7071 counts as 0 dBFS.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy import fft, interpolate

Samples = npt.NDArray[np.float64]

RATE_HZ = 48_000


def at_level(samples: Samples, level_dbfs: float) -> Samples:
    """Scale a sound to a level.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,)
        Any sound that is not silent.
    level_dbfs : float
        RMS level wanted, over the whole of it.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The scaled sound.
    """
    rms = float(np.sqrt(np.mean(samples**2)))
    return np.asarray(samples * (10 ** (level_dbfs / 20) / np.sqrt(2) / rms))


def filtered(samples: Samples, gain_at: Callable[[Samples], Samples]) -> Samples:
    """Weigh the spectrum of a sound, without delay.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,)
        The sound; its end must not matter at its beginning, as the filter is circular.
    gain_at : callable
        Takes frequencies in Hz, gives the amplitude factor at each.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The filtered sound.
    """
    size = fft.next_fast_len(samples.size, real=True)
    gain = gain_at(fft.rfftfreq(size, 1 / RATE_HZ))
    return np.asarray(fft.irfft(fft.rfft(samples, size) * gain, size)[: samples.size])


def band_gain(
    low_hz: float, high_hz: float, steepness: float = 3.0
) -> Callable[[Samples], Samples]:
    """Give the gain of a band with soft edges.

    Parameters
    ----------
    low_hz, high_hz : float
        Where the gain has fallen to 0.7071.
    steepness : float
        Order of the slopes.

    Returns
    -------
    callable
        For `filtered` and `shaped_noise`.
    """

    def gain(hz: Samples) -> Samples:
        safe_hz = np.maximum(hz, 1e-3)
        below = 1 / np.sqrt(1 + (low_hz / safe_hz) ** (2 * steepness))
        return below / np.sqrt(1 + (safe_hz / high_hz) ** (2 * steepness))

    return gain


def shaped_noise(
    rng: np.random.Generator, n_samples: int, gain_at: Callable[[Samples], Samples]
) -> Samples:
    """Make noise of a given spectrum.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    n_samples : int
        Length.
    gain_at : callable
        Amplitude factor at each frequency in Hz.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The noise, at no particular level.
    """
    whole = rng.standard_normal(fft.next_fast_len(n_samples, real=True))
    return filtered(whole, gain_at)[:n_samples]


def pink_gain(hz: Samples) -> Samples:
    """Give the amplitude factor of pink noise, level below 40 Hz.

    Parameters
    ----------
    hz : np.ndarray
        Frequencies.

    Returns
    -------
    np.ndarray
        Factor at each.
    """
    return np.sqrt(40 / np.maximum(hz, 40))


def wander(rng: np.random.Generator, n_samples: int, points_per_s: float) -> Samples:
    """Make a smooth random curve, of about unit spread around zero.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    n_samples : int
        Length.
    points_per_s : float
        How often it turns.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The curve.
    """
    n_points = max(4, int(np.ceil(n_samples / RATE_HZ * points_per_s)) + 2)
    x = np.linspace(0, n_samples, n_points)
    curve = interpolate.PchipInterpolator(x, rng.standard_normal(n_points))
    return np.asarray(curve(np.arange(n_samples)), dtype=np.float64)


def through(n_samples: int, *points: tuple[float, float]) -> Samples:
    """Draw a smooth curve through points, for pitch and the like.

    Parameters
    ----------
    n_samples : int
        Length.
    *points : tuple of two float
        Place between 0 and 1, and value there; in rising order.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The curve, without overshoot.
    """
    place, value = zip(*points, strict=True)
    curve = interpolate.PchipInterpolator(np.array(place), np.array(value))
    return np.asarray(curve(np.linspace(0, 1, n_samples)), dtype=np.float64)


def swell(n_samples: int, attack_s: float, decay_s: float) -> Samples:
    """Make an envelope with soft ends.

    Parameters
    ----------
    n_samples : int
        Length.
    attack_s, decay_s : float
        Length of the raised-cosine rise and fall.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        From 0 up to 1, and down to 0.
    """
    envelope = np.ones(n_samples)
    rise = min(n_samples // 2, round(attack_s * RATE_HZ))
    fall = min(n_samples // 2, round(decay_s * RATE_HZ))
    envelope[:rise] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / rise)
    envelope[n_samples - fall :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, fall + 1) / fall)
    return envelope


def air_absorption_db(hz: Samples, metres: float) -> Samples:
    """Give what the air alone takes away, beyond the fall of level with distance.

    A power law fitted to ISO 9613-1 at 10 °C and 70 % humidity: 9.7, 33 and 117 dB/km at 2, 4 and
    8 kHz. It stays within a twentieth of those.

    Parameters
    ----------
    hz : np.ndarray
        Frequencies.
    metres : float
        Distance.

    Returns
    -------
    np.ndarray
        Decibels at each.
    """
    return 9.66 * (hz / 2000) ** 1.8 * metres / 1000


def distance_gain(metres: float) -> Callable[[Samples], Samples]:
    """Give the gain of the way through air, reeds and along the bank.

    Reeds and bank are taken to cost three times as much as the air: a guess, from no source.

    Parameters
    ----------
    metres : float
        Distance.

    Returns
    -------
    callable
        For `filtered`.
    """

    def gain(hz: Samples) -> Samples:
        return np.asarray(10 ** (-4 * air_absorption_db(hz, metres) / 20))

    return gain


def reverb(rng: np.random.Generator, samples: Samples, *, wet_db: float, decay_s: float) -> Samples:
    """Add the sound thrown back by water, reeds and the far bank.

    Parameters
    ----------
    rng : np.random.Generator
        Where the reflections' places come from.
    samples : np.ndarray, shape (n_samples,)
        The dry sound.
    wet_db : float
        Energy of the reflections against the direct sound.
    decay_s : float
        Time in which the reflections fall by 60 dB.

    Returns
    -------
    np.ndarray, shape (n_samples + n_tail,)
        Direct sound and reflections, the direct sound where it was.
    """
    n_tail = round(decay_s * RATE_HZ)
    tail = rng.standard_normal(n_tail) * 10 ** (-3 * np.arange(n_tail) / n_tail)
    tail[: round(0.004 * RATE_HZ)] = 0
    for delay_s in rng.uniform(0.006, 0.06, 5):
        tail[round(delay_s * RATE_HZ)] += rng.choice((-1, 1)) * 12 * (1 - delay_s / 0.08)
    tail = filtered(tail, band_gain(120, 5000, 1.0))
    tail *= 10 ** (wet_db / 20) / np.sqrt(np.sum(tail**2))
    tail[0] += 1
    n = samples.size + n_tail - 1
    size = fft.next_fast_len(n, real=True)
    return np.asarray(fft.irfft(fft.rfft(samples, size) * fft.rfft(tail, size), size)[:n])
