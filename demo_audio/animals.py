"""The animals of Ashmere and their calls. There are no such animals: all is invented and computed.

Each maker takes a seeded generator and the caller's own pitch (1 is the middle of its kind), and
gives one call as it sounds a metre away, at 0 dBFS between its edges: take it down before use.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from air import (
    RATE_HZ,
    Samples,
    band_gain,
    filtered,
    shaped_noise,
    swell,
    through,
    wander,
)
from scipy import signal


@dataclass(frozen=True)
class CallType:
    """A kind of call.

    Attributes
    ----------
    label : str
        Its name, as a user would give it.
    low_hz, high_hz : float
        The band that holds at least nine tenths of its energy.
    make : callable
        Takes the generator and the caller's pitch, gives one call.
    """

    label: str
    low_hz: float
    high_hz: float
    make: Callable[[np.random.Generator, float], Samples]

    @property
    def animal(self) -> str:
        """Who calls."""
        return self.label.partition(":")[0]


def edges(call: Samples) -> tuple[int, int]:
    """Find where a call is heard to start and end.

    Parameters
    ----------
    call : np.ndarray, shape (n_samples,)
        One dry call.

    Returns
    -------
    tuple of two int
        First sample, and the one after the last, of the stretch in which the envelope (10 ms mean)
        comes within 20 dB of its highest.
    """
    smooth = np.ones(480) / 480
    power = signal.fftconvolve(call**2, smooth, mode="same")
    loud = np.flatnonzero(power >= power.max() / 100)
    return int(loud[0]), int(loud[-1]) + 1


def boom(rng: np.random.Generator, pitch: float) -> Samples:
    """Make a marsh hooter's boom: two low notes, the second a minor third below the first.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    pitch : float
        The caller's own pitch.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        One call.
    """
    first_hz = 292 * pitch * rng.normal(1, 0.008)
    second_hz = first_hz * 5 / 6 * rng.normal(1, 0.006)
    n_first, n_second = _n(rng.normal(0.25, 0.018)), _n(rng.normal(0.56, 0.045))
    first = _voiced(
        rng,
        first_hz * through(n_first, (0, 0.94), (0.3, 1), (0.8, 1.005), (1, 0.95)),
        0.8 * swell(n_first, 0.07, 0.09),
        (1, 0.22, 0.07, 0.02),
    )
    second = _voiced(
        rng,
        second_hz * through(n_second, (0, 1.04), (0.15, 1), (0.6, 0.995), (1, 0.955)),
        swell(n_second, 0.08, 0.3),
        (1, 0.26, 0.09, 0.03),
    )
    overlap = _n(0.035)
    call = np.zeros(n_first + n_second - overlap)
    call[:n_first] += first
    call[n_first - overlap :] += second
    breath = shaped_noise(rng, call.size, band_gain(180, 700, 2))
    call += 0.012 * breath / breath.std() * np.abs(signal.hilbert(call))
    return _levelled(call)


def whistle(rng: np.random.Generator, pitch: float) -> Samples:
    """Make a lesser reedling's whistle: thin, high and rising.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    pitch : float
        The caller's own pitch.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        One call.
    """
    n = _n(rng.normal(0.36, 0.03))
    low_hz, high_hz = 4350 * pitch * rng.normal(1, 0.012), 5900 * pitch * rng.normal(1, 0.015)
    bend = rng.uniform(0.30, 0.45)
    hz = low_hz + (high_hz - low_hz) * through(
        n, (0, 0), (0.12, 0.03), (0.55, bend), (0.9, 0.96), (1, 0.9)
    )
    amplitude = swell(n, 0.06, 0.09) * through(n, (0, 0.45), (0.7, 1), (1, 0.8))
    amplitude *= 1 + 0.1 * wander(rng, n, 30)
    return _levelled(_voiced(rng, hz, amplitude, (1, 0.035, 0.012), unsteady=0.002))


def trill(rng: np.random.Generator, pitch: float) -> Samples:
    """Make a lesser reedling's trill: some twenty falling notes in a second, slowing a little.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    pitch : float
        The caller's own pitch.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        One call.
    """
    count = int(rng.integers(15, 24))
    period_s = rng.normal(0.043, 0.0015) * np.linspace(0.94, 1.1, count)
    swelling = through(count, (0, 0.35), (0.35, 0.9), (0.75, 1), (1, 0.6))
    start = np.concatenate(([0], np.cumsum(period_s)))
    call = np.zeros(_n(start[-1]))
    for i in range(count):
        n = _n(0.8 * period_s[i] * rng.normal(1, 0.03))
        top_hz = 6700 * pitch * rng.normal(1, 0.01) * (1 - 0.04 * i / count)
        hz = top_hz * through(n, (0, 1), (0.25, 0.97), (1, 0.76))
        note = _voiced(rng, hz, swell(n, 0.009, 0.016), (1, 0.05), unsteady=0.001)
        begin = _n(start[i])
        note = note[: call.size - begin] * swelling[i] * rng.normal(1, 0.07)
        call[begin : begin + note.size] += note
    return _levelled(call)


def rasp(rng: np.random.Generator, pitch: float) -> Samples:
    """Make a pit rail's rasp: a harsh row of pulses, like a comb drawn over an edge.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    pitch : float
        The caller's own pitch.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        One call.
    """
    length_s = rng.normal(0.42, 0.04)
    rate_hz = 56 * pitch * rng.normal(1, 0.02)
    n = _n(length_s)
    pulses = np.zeros(n)
    at_s, strength = 0.004, 1.0
    while at_s < length_s - 0.012:
        strength = 0.5 * strength + 0.5 * rng.normal(1, 0.2)
        burst = rng.standard_normal(_n(0.008)) * np.hanning(_n(0.008))
        begin = _n(at_s)
        pulses[begin : begin + burst.size] += strength * burst
        at_s += rng.normal(1, 0.025) / (rate_hz * (1.06 - 0.14 * at_s / length_s))
    sharp = pitch * rng.normal(1, 0.015)
    call = np.zeros(n)
    for centre_hz, width_hz, gain in ((1750, 260, 1.0), (2550, 330, 0.8), (3700, 500, 0.4)):
        call += gain * _resonance(pulses, centre_hz * sharp, width_hz)
    call = filtered(call + 0.12 * pulses, band_gain(1350, 4400, 4))
    return _levelled(call * swell(n, 0.07, 0.11) * through(n, (0, 0.6), (0.45, 1), (1, 0.75)))


def squeal(rng: np.random.Generator, pitch: float) -> Samples:
    """Make a pit rail's squeal: a rough cry that jumps up and falls away.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    pitch : float
        The caller's own pitch.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        One call.
    """
    n = _n(rng.normal(0.40, 0.035))
    top_hz = 1480 * pitch * rng.normal(1, 0.02)
    hz = top_hz * through(n, (0, 0.66), (0.16, 0.95), (0.3, 1), (0.65, 0.86), (1, 0.56))
    rough = 1 + 0.35 * np.sin(2 * np.pi * np.cumsum(74 + 9 * wander(rng, n, 12)) / RATE_HZ)
    amplitude = swell(n, 0.035, 0.14) * through(n, (0, 0.7), (0.3, 1), (1, 0.55)) * rough
    call = _voiced(rng, hz, amplitude, (0.75, 1, 0.62, 0.3, 0.16, 0.07), unsteady=0.006)
    hiss = shaped_noise(rng, n, band_gain(1300, 4200, 2))
    return _levelled(call + 0.09 * hiss / hiss.std() * amplitude)


BOOM = CallType("marsh hooter: boom", 200, 660, boom)
WHISTLE = CallType("lesser reedling: whistle", 4000, 6700, whistle)
TRILL = CallType("lesser reedling: trill", 4600, 7400, trill)
RASP = CallType("pit rail: rasp", 1300, 4600, rasp)
SQUEAL = CallType("pit rail: squeal", 750, 5000, squeal)

CALL_TYPES = (BOOM, WHISTLE, TRILL, RASP, SQUEAL)


def _n(seconds: float) -> int:
    return round(float(seconds) * RATE_HZ)


def _voiced(
    rng: np.random.Generator,
    hz: Samples,
    amplitude: Samples,
    harmonics: tuple[float, ...],
    unsteady: float = 0.004,
) -> Samples:
    """Sing a pitch curve with the given harmonics, which grow when the note grows."""
    hz = hz * (1 + unsteady * wander(rng, hz.size, 25))
    phase = 2 * np.pi * np.cumsum(hz) / RATE_HZ
    sung = np.zeros(hz.size)
    for order, strength in enumerate(harmonics, 1):
        brightness = np.maximum(amplitude, 0) ** (0.3 * (order - 1))
        sung += strength * brightness * np.sin(order * phase + rng.uniform(0, 2 * np.pi))
    return sung * amplitude


def _resonance(samples: Samples, centre_hz: float, width_hz: float) -> Samples:
    b, a = signal.iirpeak(centre_hz, centre_hz / width_hz, fs=RATE_HZ)
    return np.asarray(signal.lfilter(b, a, samples), dtype=np.float64)


def _levelled(call: Samples) -> Samples:
    """Bring a call to 0 dBFS between its edges."""
    start, end = edges(call)
    return call / float(np.sqrt(2 * np.mean(call[start:end] ** 2)))
