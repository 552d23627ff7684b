"""The one shared spectrum: every measurement of a take's sound starts here.

Conventions: one channel at 48 kHz, full scale at ±1. Frame ``i`` is centred on sample ``480 * i``,
so frames come every 10 ms and frame times are exact in seconds. Power is scaled so that a sine of
amplitude 1 reads 1.0 (0 dBFS) in its bin.

Windows, frames and mel bands are those of librosa (`librosa.stft`, `librosa.filters.mel`), to which
the tests hold them; they are computed here without librosa because its import compiles code, takes
66 MB in each worker, and works frame by frame on whole takes.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from functools import cache

import numpy as np
import numpy.typing as npt
import scipy.fft

from calltag.arrays import DoubleArray, FloatArray

RATE_HZ = 48_000
N_FFT = 2048
HOP = 480
N_BINS = N_FFT // 2 + 1
BIN_HZ = RATE_HZ / N_FFT
FRAMES_PER_S = RATE_HZ // HOP
TENTHS_PER_S = 10
"""What goes on for a while is followed tenth by tenth of a second: noise, beats, swells."""

N_MELS = 64
MEL_LOW_HZ = 50.0
MEL_HIGH_HZ = 16_000.0
POWER_FLOOR = 1e-11
"""Added before logarithms: -110 dBFS, below the noise of any camera."""

MEAN_SQUARE = 1 / 3
"""Mean square of a sound, for power 1 summed over bins or bands: a sine of amplitude 1 has a mean
square of 1/2, reads 1 in its bin, and 1.5 over all of them (the noise bandwidth of the window)."""

_FRAMES_AT_ONCE = 128  # keeps one batch of frames within the processor's cache
_BAND_GROUPS = 8


def hz_to_mel(frequency_hz: npt.ArrayLike) -> DoubleArray:
    """Convert hertz to mels on Slaney's scale.

    Parameters
    ----------
    frequency_hz : array_like
        Frequencies in hertz.

    Returns
    -------
    np.ndarray, shape of `frequency_hz`
        Mels: linear below 1 kHz, logarithmic above.

    References
    ----------
    .. [1] M. Slaney, "Auditory Toolbox: A MATLAB toolbox for auditory modeling work", version 2,
       Interval Research Corporation, technical report 1998-010, 1998.

    Examples
    --------
    >>> hz_to_mel([60, 440, 1000, 4000]).round(3).tolist()
    [0.9, 6.6, 15.0, 35.164]
    """
    hz = np.asarray(frequency_hz, dtype=np.float64)
    above = 15.0 + 27.0 * np.log(np.maximum(hz, 1000.0) / 1000.0) / np.log(6.4)
    return np.where(hz < 1000.0, hz * 3.0 / 200.0, above)


def mel_to_hz(mels: npt.ArrayLike) -> DoubleArray:
    """Convert mels on Slaney's scale to hertz.

    Parameters
    ----------
    mels : array_like
        Mels.

    Returns
    -------
    np.ndarray, shape of `mels`
        Frequencies in hertz.

    Examples
    --------
    >>> mel_to_hz([0.9, 15.0]).round(6).tolist()
    [60.0, 1000.0]
    """
    mel = np.asarray(mels, dtype=np.float64)
    above = 1000.0 * 6.4 ** ((np.maximum(mel, 15.0) - 15.0) / 27.0)
    return np.where(mel < 15.0, mel * 200.0 / 3.0, above)


@cache
def mel_edges_hz() -> DoubleArray:
    """Edges of the mel bands: each rises from one edge, peaks at the next, ends at the third.

    Returns
    -------
    np.ndarray, shape (N_MELS + 2,)
        Frequencies in hertz.
    """
    low, high = hz_to_mel([MEL_LOW_HZ, MEL_HIGH_HZ])
    return mel_to_hz(np.linspace(low, high, N_MELS + 2))


def mel_centres_hz() -> DoubleArray:
    """Frequencies at which the mel bands peak.

    Returns
    -------
    np.ndarray, shape (N_MELS,)
        Frequencies in hertz.
    """
    return mel_edges_hz()[1:-1]


@cache
def mel_filters() -> FloatArray:
    """Weights from spectrum bins to mel bands.

    Triangles that each sum their band's power, not its density: a sine reads nearly the same level
    in every band, which levels in dBFS need. (`librosa.filters.mel(norm=None)`.)

    Returns
    -------
    np.ndarray, shape (N_BINS, N_MELS), float32
        Weights between 0 and 1.
    """
    edges = mel_edges_hz()
    bins_hz = np.arange(N_BINS)[:, None] * BIN_HZ
    rising = (bins_hz - edges[:-2]) / (edges[1:-1] - edges[:-2])
    falling = (edges[2:] - bins_hz) / (edges[2:] - edges[1:-1])
    return np.maximum(0.0, np.minimum(rising, falling)).astype(np.float32)


@cache
def _window() -> FloatArray:
    hann = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(N_FFT) / N_FFT)  # periodic
    return (hann * (2.0 / hann.sum())).astype(np.float32)


def framed_power(
    samples: FloatArray, hop: int = HOP, before: FloatArray | None = None
) -> FloatArray:
    """Power spectrum of every whole frame in a stretch of samples, without padding.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float32
        One channel at `RATE_HZ`.
    hop : int
        Samples from each frame to the next.
    before : np.ndarray, shape (n_before,), float32, optional
        What comes before these samples: the first frame begins with it.

    Returns
    -------
    np.ndarray, shape (n_frames, N_BINS), float32
        Power; ``n_frames = 1 + (n_before + n_samples - N_FFT) // hop``, none where there is no
        whole frame.

    Examples
    --------
    A sine of amplitude 1 in the middle of bin 100 reads 1.0 there.

    >>> t = np.arange(N_FFT) / RATE_HZ
    >>> sine = np.sin(2 * np.pi * 100 * BIN_HZ * t).astype(np.float32)
    >>> round(float(framed_power(sine)[0, 100]), 4)
    1.0
    """
    before = samples[:0] if before is None else before
    n_frames = max(0, 1 + (len(before) + len(samples) - N_FFT) // hop)
    power = np.empty((n_frames, N_BINS), np.float32)
    n_first = min(n_frames, -(-len(before) // hop))  # these alone reach back: no need to join all
    if n_first:
        end = (n_first - 1) * hop + N_FFT - len(before)
        _fill(power[:n_first], np.concatenate([before, samples[:end]]), hop)
    if n_first < n_frames:
        _fill(power[n_first:], samples[n_first * hop - len(before) :], hop)
    return power


def _fill(power: FloatArray, samples: FloatArray, hop: int) -> None:
    """Power of as many frames as are wanted."""
    frames = np.lib.stride_tricks.sliding_window_view(samples, N_FFT)[::hop]
    windowed = np.empty((_FRAMES_AT_ONCE, N_FFT), np.float32)
    for first in range(0, len(power), _FRAMES_AT_ONCE):
        batch = frames[first : first + _FRAMES_AT_ONCE]
        np.multiply(batch, _window(), out=windowed[: len(batch)])
        magnitude = power[first : first + len(batch)]
        np.abs(scipy.fft.rfft(windowed[: len(batch)], axis=1), out=magnitude)
        np.square(magnitude, out=magnitude)


def power_frames(blocks: Iterable[FloatArray]) -> Iterator[FloatArray]:
    """Power spectra of a take that comes in blocks, as if it had come in one piece.

    The take is padded with half a frame of silence at both ends, so that frame 0 is centred on its
    first sample and the last frame within it, or just behind its last sample.

    Parameters
    ----------
    blocks : iterable of np.ndarray, shape (n_samples,), float32
        Consecutive stretches of one channel at `RATE_HZ`, of any length.

    Yields
    ------
    np.ndarray, shape (n_frames, N_BINS), float32
        Power of the frames that each block completes.
    """
    waiting = np.zeros(N_FFT // 2, np.float32)
    for block in blocks:
        power = framed_power(block, before=waiting)
        if len(power):
            yield power
        begun = len(power) * HOP
        waiting = np.concatenate([waiting[begun:], block[max(0, begun - len(waiting)) :]])
    power = framed_power(np.zeros(N_FFT // 2, np.float32), before=waiting)
    if len(power):
        yield power


def power_spectrum(samples: FloatArray) -> FloatArray:
    """Power spectrum of a whole stretch of sound.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float32
        One channel at `RATE_HZ`.

    Returns
    -------
    np.ndarray, shape (1 + n_samples // HOP, N_BINS), float32
        Power, frames centred on multiples of `HOP`.
    """
    return np.concatenate(list(power_frames([samples])))


def mel_power(power: FloatArray) -> FloatArray:
    """Power in each mel band.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS), float32
        Power spectrum.

    Returns
    -------
    np.ndarray, shape (n_frames, N_MELS), float32
        Power per band.
    """
    mel = np.empty((len(power), N_MELS), np.float32)
    for bins, bands, weights in _band_groups():
        mel[:, bands] = power[:, bins] @ weights
    return mel


@cache
def _band_groups() -> list[tuple[slice, slice, FloatArray]]:
    """Filters in groups of neighbouring bands, without the bins that a whole group leaves out."""
    groups = []
    for edges in itertools.pairwise(np.linspace(0, N_MELS, _BAND_GROUPS + 1, dtype=int).tolist()):
        bands = slice(*edges)
        used = np.flatnonzero(mel_filters()[:, bands].any(axis=1))
        bins = slice(int(used[0]), int(used[-1]) + 1)
        groups.append((bins, bands, np.ascontiguousarray(mel_filters()[bins, bands])))
    return groups


def to_db(power: FloatArray) -> FloatArray:
    """Express power in decibels.

    Parameters
    ----------
    power : np.ndarray
        Power, 1.0 for a full-scale sine.

    Returns
    -------
    np.ndarray of the same shape, float32
        ``10 log10(power)``, never below that of `POWER_FLOOR`.
    """
    # The natural logarithm of float32 is several times as fast as that to the base of ten.
    return np.float32(10.0 / np.log(10.0)) * np.log(power + np.float32(POWER_FLOOR))
