"""The K-weighting: how much each frequency counts for loudness (ITU-R BS.1770-4, annex 1)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray

_OFFSET_LU = -0.691  # so that 997 Hz reads its level (BS.1770-4, annex 1, equation 2)

# BS.1770-4, annex 1, tables 1 and 2: the two stages of the K-weighting at 48 kHz.
_TABLE_RATE_HZ = 48_000.0
_K_STAGES = np.array(
    [
        # b0, b1, b2, then a0, a1, a2
        [[1.53512485958697, -2.69169618940638, 1.19839281085285],
         [1.0, -1.69065929318241, 0.73248077421585]],
        [[1.0, -2.0, 1.0],
         [1.0, -1.99004745483398, 0.99007225036621]],
    ]
).reshape(2, 6)  # fmt: skip


def k_weighting(frequency_hz: npt.ArrayLike) -> DoubleArray:
    """Power gain of the K-weighting.

    Parameters
    ----------
    frequency_hz : array_like
        Frequencies in hertz; above 24 kHz the gain at 24 kHz.

    Returns
    -------
    np.ndarray, shape of `frequency_hz`
        Gain in power, not in dB.

    References
    ----------
    .. [1] ITU-R BS.1770-4, "Algorithms to measure audio programme loudness and true-peak audio
       level", 2015, annex 1.

    Examples
    --------
    >>> (10 * np.log10(k_weighting([38.1, 1000, 10_000]))).round(1).tolist()
    [-6.0, 0.7, 4.0]
    """
    hz = np.minimum(np.asarray(frequency_hz, np.float64), _TABLE_RATE_HZ / 2)
    delay = np.exp(-2j * np.pi * hz / _TABLE_RATE_HZ)
    gain = np.ones(delay.shape)
    for stage in _K_STAGES:
        response = np.polyval(stage[2::-1], delay) / np.polyval(stage[:2:-1], delay)
        gain = np.multiply(gain, np.abs(response) ** 2, dtype=np.float64)
    return gain


def k_stages(rate_hz: int) -> DoubleArray:
    """Design the two stages of the K-weighting as a filter.

    Parameters
    ----------
    rate_hz : int
        Sampling rate of the sound.

    Returns
    -------
    np.ndarray, shape (2, 6)
        Second-order sections, as `scipy.signal` has them: the tables of the recommendation at
        48 kHz; elsewhere these taken back to the analogue filter, and forth.
    """
    if rate_hz == _TABLE_RATE_HZ:
        return _K_STAGES
    stages = np.empty_like(_K_STAGES)
    for stage, table in zip(stages, _K_STAGES, strict=True):
        for part in (slice(0, 3), slice(3, 6)):
            # inverse bilinear transform: z = (2 T' + s) / (2 T' - s) with T' the tables' rate
            z0, z1, z2 = table[part]
            k = 2 * _TABLE_RATE_HZ
            s2, s1, s0 = z0 - z1 + z2, 2 * k * (z0 - z2), k * k * (z0 + z1 + z2)
            c = 2.0 * rate_hz
            stage[part] = (
                s2 * c * c + s1 * c + s0,
                2 * s0 - 2 * s2 * c * c,
                s2 * c * c - s1 * c + s0,
            )
        stage /= stage[3]
    return stages


def lufs(power: float) -> float:
    """Loudness of a K-weighted mean square.

    Parameters
    ----------
    power : float
        Mean square, summed over channels; above 0.

    Returns
    -------
    float
        In LUFS.

    Examples
    --------
    >>> round(lufs(0.5), 1)
    -3.7
    """
    return _OFFSET_LU + 10 * float(np.log10(power))


def power_of(loudness_lufs: float) -> float:
    """K-weighted mean square of a loudness; the inverse of `lufs`.

    Parameters
    ----------
    loudness_lufs : float
        In LUFS.

    Returns
    -------
    float
        Mean square, summed over channels.
    """
    return float(10 ** ((loudness_lufs - _OFFSET_LU) / 10))
