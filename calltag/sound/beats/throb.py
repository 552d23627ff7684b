"""Throb: how fast noise swells and sinks.

A rotor's blades slap, an exhaust rasps: what is heard is noise without a line in its spectrum, but
it comes in bursts, as many a second as blades pass or the engine fires. The spectrum of the noise's
envelope has a comb of lines at that rate. A trill, a churr and a chorus of frogs throb as well, but
they do so in their own band; a machine does in all of them, and down to where animals are silent.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.fft

from calltag.arrays import DoubleArray, FloatArray
from calltag.sound.beats.comb import Comb, comb_evidence, heights_db

THROB = Comb(lowest_hz=8.0, highest_hz=70.0, step_hz=0.25, lines=6, top_hz=240.0)
"""From a large rotor's blades to a saw at idle; slower is speech, surf and gusts."""

BANDS_HZ = ((60.0, 400.0), (300.0, 2000.0), (1500.0, 8000.0))
"""Bands whose envelopes are looked at."""

ENVELOPE_HZ = 800
"""Rate of an envelope's samples."""

_FRAME_S, _EVERY_S = 2.0, 0.5
_LEAST_S = 1.0
_FIRST = 1.0  # evidence of one line: three times its spread in the mean of 15 spectra of noise


@dataclass(frozen=True, slots=True, kw_only=True)
class Throb:
    """How a sound throbs, in stretches of 2 s, every half second.

    Attributes
    ----------
    evidence : np.ndarray, shape (n_frames, n_rates)
        For each rate of `THROB`, `calltag.sound.beats.comb.comb_evidence` of the envelopes: that of
        the lowest band, or the mean of all where that is less.
    beat : np.ndarray, shape (n_rates,)
        Mean evidence of the rates whose first line stands out; -inf for others. A throb's first
        line is its strongest, and may be its only one, which is a line of many slower rates.
    strength_db : np.ndarray, shape (n_frames, n_rates)
        How far the lines stand above the places between them, in the mean of the bands.
    low_db : float
        Level of the lowest band against the strongest one, in the middle of half seconds.
    """

    evidence: DoubleArray
    beat: DoubleArray
    strength_db: DoubleArray
    low_db: float


def envelopes(samples: npt.NDArray[Any], rate_hz: int) -> FloatArray:
    """Levels of a sound's bands over time.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float
        One channel.
    rate_hz : int >= 4000
        Its sampling rate; bands end at half of it.

    Returns
    -------
    np.ndarray, shape (n_bands, n), float32
        Logarithm of the RMS value in each band, `ENVELOPE_HZ` times a second.
    """
    spectrum = scipy.fft.rfft(np.asarray(samples, np.float32))
    n = round(len(samples) / rate_hz * ENVELOPE_HZ)
    out = np.zeros((len(BANDS_HZ), n), np.float32)
    for row, (low_hz, high_hz) in zip(out, BANDS_HZ, strict=True):
        first = int(low_hz * len(samples) / rate_hz)
        band = spectrum[first : int(high_hz * len(samples) / rate_hz)]
        edge = len(band) // 10
        rise = np.sin(np.linspace(0, np.pi / 2, edge, dtype=np.float32)) ** 2
        gain = np.concatenate([rise, np.ones(len(band) - 2 * edge, np.float32), rise[::-1]])
        # a band alone, moved down to 0 Hz: fewer samples hold it, and their size is its envelope
        per_sample = max(2, -(-len(band) // n))
        scaled = band * (gain * np.float32(np.sqrt(2) / len(samples)))
        moved = scipy.fft.ifft(scaled, n * per_sample, norm="forward").view(np.float32)
        power = np.square(moved).reshape(n, -1) @ np.full(
            2 * per_sample, 1 / per_sample, np.float32
        )
        row[:] = np.log(np.maximum(power, 1e-12 * power.max() + 1e-30)) / 2
    return out


def measure_throb(samples: npt.NDArray[Any], rate_hz: int) -> Throb | None:
    """Measure how much a sound throbs at each rate.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float
        One channel; a few seconds of it, as each costs about 1.5 ms.
    rate_hz : int >= 4000
        Its sampling rate.

    Returns
    -------
    Throb or None
        What was measured, in one stretch where the sound is shorter than 2 s; None where it is
        shorter than a second.
    """
    if len(samples) < _LEAST_S * rate_hz:
        return None
    envelope = envelopes(samples, rate_hz)
    n = min(envelope.shape[1], round(_FRAME_S * ENVELOPE_HZ))
    every = round(_EVERY_S * ENVELOPE_HZ)
    frames = np.lib.stride_tricks.sliding_window_view(envelope, n, axis=1)[:, ::every]
    flat = (frames - frames.mean(axis=2, keepdims=True)).reshape(-1, n)
    bin_hz = ENVELOPE_HZ / (2 * n)
    heights = heights_db(flat, round(THROB.top_hz / bin_hz) + 1)
    evidence, strength_db = (
        found.reshape(len(BANDS_HZ), -1, found.shape[-1])
        for found in comb_evidence(heights, bin_hz, THROB)
    )
    evidence = np.minimum(evidence[0], evidence.mean(axis=0))
    first = comb_evidence(heights, bin_hz, replace(THROB, lines=1))[0].mean(axis=0)
    halves = envelope[:, : envelope.shape[1] // every * every].reshape(len(BANDS_HZ), -1, every)
    level_db = np.median(10 * np.log10(np.exp(2 * halves).mean(axis=2) + 1e-30), axis=1)
    return Throb(
        evidence=evidence,
        beat=np.where(first > _FIRST, evidence.mean(axis=0), -np.inf),
        strength_db=strength_db.mean(axis=0),
        low_db=float(level_db[0] - level_db.max()),
    )
