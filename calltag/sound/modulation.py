"""Modulation: how much a sound's level goes up and down, at which rates, in which bands.

Rain, surf, fire and engines may have the same spectrum, on average; what tells them apart by ear is
how the level of each band moves, and how fast [1]_. Rates and bands are octaves: the bands those of
IEC 61260-1, from 125 Hz to 16 kHz, as for the modulation by which IEC 60268-16 rates speech.

References
----------
.. [1] J. H. McDermott, E. P. Simoncelli, "Sound texture perception via statistics of the auditory
   periphery: evidence from sound synthesis", Neuron 71(5), 2011, pp. 926-940.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.sound.spectrum import BIN_HZ, FRAMES_PER_S

OCTAVES_HZ = tuple(1000 * 10 ** (0.3 * octave) for octave in range(-3, 5))
"""Exact mid-band frequencies of the octave bands."""

RATES_HZ = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
"""Middle of each octave of rates; the frames of the spectrum follow up to 20 a second or so."""

_HALF_OCTAVE = 10**0.15
_BAND_BINS = tuple(
    round(edge / BIN_HZ)
    for edge in (OCTAVES_HZ[0] / _HALF_OCTAVE, *(middle * _HALF_OCTAVE for middle in OCTAVES_HZ))
)
_RATE_EDGES_HZ = (RATES_HZ[0] / np.sqrt(2), *(rate * np.sqrt(2) for rate in RATES_HZ))
_LEAST_FRAMES = 128  # zeros fill shorter envelopes up, so that each band holds a rate
_STILL = 0.01  # less movement is none
_FAINT = 1e-3  # of the loudest octave: what a codec leaves of the others does not count


def modulation_spectrum(envelope: FloatArray, edges_hz: Sequence[float]) -> FloatArray:
    """How much an envelope moves in each band of rates.

    Parameters
    ----------
    envelope : np.ndarray, shape (n_frames,) or (n_frames, n_envelopes)
        Amplitude at `FRAMES_PER_S`, of one envelope or several.
    edges_hz : sequence of float
        Edges of the bands of rates, in order.

    Returns
    -------
    np.ndarray, shape (len(edges_hz) - 1,) or (len(edges_hz) - 1, n_envelopes)
        RMS modulation per band relative to the envelope's mean.

    Examples
    --------
    An envelope that beats 20 times a second moves between 18 and 26 Hz.

    >>> beat = 1 + np.sin(2 * np.pi * 20 * np.arange(200) / 100)
    >>> int(modulation_spectrum(beat, (5, 12, 18, 26, 36)).argmax())
    2
    """
    n = max(_LEAST_FRAMES, len(envelope))
    mean = envelope.mean(axis=0)
    window = _window(len(envelope)).reshape(-1, *[1] * (envelope.ndim - 1))
    spectrum = np.abs(np.fft.rfft((envelope - mean) * window, n, axis=0)) ** 2
    edges = _edges(n, tuple(edges_hz))
    total = np.concatenate([np.zeros_like(spectrum[:1]), np.cumsum(spectrum, axis=0)])
    energy = total[edges[1:]] - total[edges[:-1]]
    return (np.sqrt(energy / n / len(envelope)) / (mean + 1e-12)).astype(np.float32)


@lru_cache(maxsize=_LEAST_FRAMES)
def _window(n: int) -> DoubleArray:
    return np.hanning(n)


@lru_cache(maxsize=8)
def _edges(n: int, edges_hz: tuple[float, ...]) -> npt.NDArray[np.intp]:
    """Bins of a spectrum of n frames at which bands of rates begin and end."""
    return np.searchsorted(np.fft.rfftfreq(n, 1 / FRAMES_PER_S), edges_hz)


def texture(power: FloatArray) -> FloatArray:
    """How the level of each octave moves.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum.

    Returns
    -------
    np.ndarray, shape (len(OCTAVES_HZ), len(RATES_HZ)), float32
        RMS modulation relative to the mean amplitude of each octave, as base-2 logarithm; at least
        that of a hundredth.
    """
    octaves = np.add.reduceat(power[:, : _BAND_BINS[-1]], _BAND_BINS[:-1], axis=1)
    envelopes = np.sqrt(octaves)
    envelopes += _FAINT * envelopes.mean(axis=0).max()
    movement = modulation_spectrum(envelopes, _RATE_EDGES_HZ)
    return np.log2(movement.T + np.float32(_STILL))
