"""The envelope of a band of sound: how deep it beats."""

from __future__ import annotations

import numpy as np
import scipy.fft

from calltag.arrays import FloatArray
from calltag.sound.spectrum import RATE_HZ

SLOWEST_HZ = 6.0
FASTEST_HZ = 150.0
"""Beats outside are a swell, or a pitch of their own."""

_EDGE = 0.05  # of the sound at each end, where the filter rings
_WIDE_HZ = 1.5  # a beat fills at least so much to each side
_WIDE = 0.04  # of its rate, as far as an animal keeps time


def beat_depth(sound: FloatArray, low_hz: float, high_hz: float) -> float:
    """Measure how deep the strongest regular beat of a band is.

    Parameters
    ----------
    sound : np.ndarray, shape (n,), float32
        Sound at `RATE_HZ`; half a second at least.
    low_hz, high_hz : float
        The band.

    Returns
    -------
    float
        Root mean square of the envelope's movement about its strongest rate, over the envelope's
        mean: 0 for a steady tone, m / sqrt(2) for one that a sine modulates with the index m, a
        tenth or two for noise, whose envelope moves at all rates. 0 for silence, or less sound.

    Examples
    --------
    >>> t = np.arange(2 * RATE_HZ) / RATE_HZ
    >>> tone = np.sin(2 * np.pi * 3000 * t) * (1 + 0.5 * np.sin(2 * np.pi * 30 * t))
    >>> round(beat_depth(tone.astype(np.float32), 2500, 3500), 2)
    0.35
    """
    n = len(sound)
    if n < RATE_HZ // 2:
        return 0.0
    spectrum = scipy.fft.rfft(sound)
    hz = scipy.fft.rfftfreq(n, 1 / RATE_HZ)
    analytic = np.zeros(n, np.complex64)
    inside = np.flatnonzero((hz >= low_hz) & (hz <= high_hz))
    analytic[inside] = 2 * spectrum[inside]
    edge = round(_EDGE * n)
    envelope = np.abs(scipy.fft.ifft(analytic))[edge : n - edge]
    mean = float(envelope.mean())
    if mean <= 0:
        return 0.0
    window = np.hanning(len(envelope))
    moves = np.abs(scipy.fft.rfft((envelope - mean) * window)) ** 2
    rates_hz = scipy.fft.rfftfreq(len(envelope), 1 / RATE_HZ)
    audible = (rates_hz >= SLOWEST_HZ) & (rates_hz <= FASTEST_HZ)
    rate_hz = rates_hz[audible][moves[audible].argmax()]
    about = np.abs(rates_hz - rate_hz) <= max(_WIDE_HZ, _WIDE * rate_hz)
    mean_square = 2 * moves[about].sum() / len(envelope) / (window**2).sum()
    return float(np.sqrt(mean_square)) / mean
