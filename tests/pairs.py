"""Two microphones at one moment, computed: known offset and drift, own noise, own room.

Tests get the module through the fixture `pairs` of conftest.py. Calls are invented and synthetic,
or pieces of real recordings where a test hands them in. SNR is in band: a call's level over that of
the noise around it, both within the band that holds nine tenths of the call's energy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import soxr
from scipy.fft import irfft, next_fast_len, rfft
from scipy.signal import oaconvolve

from calltag.edit.sync.trace import Trace, trace_blocks

RATE_HZ = 48_000

Sound = np.ndarray
Event = tuple[int, Sound]
"""First sample, and the call."""


@dataclass(frozen=True)
class Pair:
    """Two takes of one moment.

    What A heard at `t`, B heard at ``(t - offset_s) * (1 + drift_ppm / 1e6)`` of its own seconds.
    """

    a: Sound
    b: Sound
    rate_b_hz: int
    offset_s: float
    drift_ppm: float

    def in_b(self, a_s: float) -> float:
        return (a_s - self.offset_s) * (1 + self.drift_ppm / 1e6)

    def worst_error_s(self, alignment) -> float:
        """Largest error within what both heard; infinite where nothing was found."""
        if alignment is None:
            return np.inf
        first = max(0.0, self.offset_s)
        last = min(len(self.a) / RATE_HZ, self.offset_s + len(self.b) / self.rate_b_hz)
        return max(abs(alignment.in_b(t) - self.in_b(t)) for t in (first, last))


def traced(sound: Sound, rate_hz: int = RATE_HZ) -> Trace:
    """As `trace_take` does it, without a file."""
    if rate_hz != RATE_HZ:
        sound = soxr.resample(sound, rate_hz, RATE_HZ)
    return trace_blocks([np.ascontiguousarray(sound, np.float32)])


def call(rng: np.random.Generator, kind: int | None = None) -> Sound:
    """A call of one of five kinds, never twice the same."""
    kind = int(rng.integers(5)) if kind is None else kind
    n = int(RATE_HZ * (0.6, 0.8, 0.35, 0.4, 0.7)[kind] * rng.uniform(0.9, 1.1))
    t = np.arange(n) / RATE_HZ
    pitch, wobble = rng.uniform(0.95, 1.05), rng.uniform(1.5, 2.5)
    if kind == 0:  # a whistle
        hz = 2600 + 500 * np.sin(2 * np.pi * wobble * t)
    elif kind == 1:  # a trill
        hz = 3800 + 700 * np.sign(np.sin(2 * np.pi * 9 * wobble * t))
    elif kind == 2:  # a rasp
        pulses = 0.5 + 0.5 * np.sin(2 * np.pi * 12 * wobble * t)
        return np.hanning(n) * pulses * band_noise(rng, n, 1500 * pitch, 4500 * pitch)
    elif kind == 3:  # a squeal
        hz = 1200 + 1500 * t / t[-1]
    else:  # a boom
        hz = 320 + 30 * np.sin(2 * np.pi * wobble * t)
    phase = 2 * np.pi * np.cumsum(pitch * hz) / RATE_HZ
    return np.hanning(n) * (np.sin(phase) + 0.3 * np.sin(2 * phase))


def band_noise(rng: np.random.Generator, n: int, low_hz: float, high_hz: float) -> Sound:
    m = next_fast_len(n, real=True)
    spectrum = rfft(rng.standard_normal(m))
    hz = np.arange(len(spectrum)) * RATE_HZ / m
    spectrum[(hz < low_hz) | (hz > high_hz)] = 0
    return irfft(spectrum, m)[:n]


def pink(rng: np.random.Generator, n: int) -> Sound:
    """Noise like that of a breeze in reeds, RMS 0.01."""
    m = next_fast_len(n, real=True)
    spectrum = rfft(rng.standard_normal(m).astype(np.float32))
    spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)) * RATE_HZ / m, 20)).astype(np.float32)
    noise = irfft(spectrum, m)[:n]
    return 0.01 * noise / noise.std()


def windy(rng: np.random.Generator, n: int) -> Sound:
    """The same with gusts that rumble far louder than it."""
    seconds = n // RATE_HZ + 2
    strength = np.interp(
        np.arange(n) / RATE_HZ, np.arange(seconds), rng.exponential(1, seconds) ** 2
    )
    gusts = band_noise(rng, n, 15, 250)
    return pink(rng, n) + 0.03 * strength * gusts / gusts.std()


def engine(rng: np.random.Generator, n: int, hz: float = 31.0) -> Sound:
    """A steady engine: a hundred harmonics of one rate, which wanders a little."""
    wander = np.cumsum(rng.standard_normal(n)) * 0.3 / np.sqrt(RATE_HZ)
    phase = 2 * np.pi * hz * np.arange(n) / RATE_HZ + wander
    # Harmonics h of phase p are powers of exp(ip): one product each, in place of a sine.
    turn, power, sound = np.exp(1j * phase), np.ones(n, complex), np.zeros(n)
    for harmonic in range(1, 100):
        power *= turn
        sound += power.imag / harmonic
    return 0.01 * sound / sound.std() + 0.1 * pink(rng, n)


def chorus(
    rng: np.random.Generator,
    seconds: float,
    *,
    calls: Sequence[Sound] = (),
    kind: int | None = None,
    every_s: float = 1.2,
) -> list[Event]:
    """Calls one after another, at random times: invented ones, or some of those given."""
    events: list[Event] = []
    at_s = rng.uniform(0, 1.5)
    while at_s < seconds - 0.5:
        sound = calls[rng.integers(len(calls))] if len(calls) else call(rng, kind)
        events.append((int(at_s * RATE_HZ), sound))
        at_s += len(sound) / RATE_HZ + 0.1 + rng.exponential(every_s)
    return events


def room(rng: np.random.Generator) -> Sound:
    """A response: the direct sound, a few echoes, and a tail some 10 dB below it."""
    n = int(0.8 * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    tail = rng.standard_normal(n) * np.exp(-6.9 * t / rng.uniform(0.3, 0.9)) * (t > 0.004)
    response = tail * 10 ** (rng.uniform(-14, -6) / 20) / np.sqrt((tail**2).sum())
    response[0] = 1.0
    for _ in range(rng.integers(2, 6)):
        at = int(rng.uniform(0.002, 0.05) * RATE_HZ)
        response[at] += rng.choice([-1, 1]) * 10 ** (rng.uniform(-16, -6) / 20)
    return response


def _band(spectrum: Sound, n: int) -> slice:
    """Bins of the band that holds nine tenths of the energy, with a tenth to spare at both ends."""
    share = np.cumsum(spectrum) / spectrum.sum()
    low, high = np.searchsorted(share, (0.05, 0.95))
    spare = 50 * n / RATE_HZ
    return slice(int(low * 0.9), int(high * 1.1 + spare) + 1)


def heard(rng: np.random.Generator, events: Sequence[Event], noise: Sound, snr_db: float) -> Sound:
    """What a microphone makes of the calls, in its own room and noise."""
    dry = np.zeros(len(noise) + 8 * RATE_HZ)
    for at, sound in events:
        around = noise[max(0, min(at, len(noise) - len(sound))) :][: len(sound)]
        n = min(len(around), len(sound))
        spectrum = np.abs(rfft(sound[:n])) ** 2
        inside = _band(spectrum, n)
        ratio = (np.abs(rfft(around[:n])) ** 2)[inside].sum() / spectrum[inside].sum()
        dry[at : at + len(sound)] += np.sqrt(ratio) * 10 ** (snr_db / 20) * sound
    return oaconvolve(dry, room(rng))[: len(noise)] + noise


def make_pair(
    seed: int,
    *,
    snr_db: float = 0.0,
    seconds: float = 30.0,
    drift_ppm: float = 50.0,
    rate_b_hz: int = 44_100,
    level_b_db: float = -20.0,
    calls: Sequence[Sound] = (),
    noises: Sequence[object] = (pink, windy),
    overlap: tuple[float, float] = (0.5, 0.9),
    every_s: float = 1.2,
) -> Pair:
    """Two takes of equal length that overlap by a random share, A or B first."""
    rng = np.random.default_rng(seed)
    shift = int(seconds * (1 - rng.uniform(*overlap)) * rng.choice([-1, 1]) * RATE_HZ)
    drift_ppm *= rng.choice([-1, 1])
    n = int(seconds * RATE_HZ)
    total = n + abs(shift)
    events = chorus(rng, total / RATE_HZ, calls=calls, every_s=every_s)
    sounds = [
        heard(rng, events, noises[rng.integers(len(noises))](rng, total), snr_db) for _ in range(2)
    ]
    a = sounds[0][max(0, -shift) :][:n]
    b = sounds[1][max(0, shift) :][:n]
    b = 10 ** (level_b_db / 20) * soxr.resample(b, RATE_HZ, rate_b_hz * (1 + drift_ppm / 1e6))
    return Pair(
        a.astype(np.float32), b.astype(np.float32), rate_b_hz, shift / RATE_HZ, float(drift_ppm)
    )
