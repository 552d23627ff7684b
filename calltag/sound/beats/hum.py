"""Hum of the mains.

An electric line's hum is a comb, at multiples of 50 or 60 Hz, and a saw at idle fires at 50 Hz as
well. What tells them apart is steadiness: the mains hold their frequency to a part in a thousand
and their lines are as narrow as they can be measured, while no engine holds its speed, so that its
lines widen in proportion to their number.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gcd
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.fft

from calltag.arrays import DoubleArray
from calltag.records.found import HUM
from calltag.sound.thinning import thinned

_FRAME_S = 4.0
_LINES = 12
_TOLERANCE = 0.004  # mains stay within 0.4 % even on a generator's better days
_HEIGHT_DB = 12.0
_AGREE = 0.0006  # lines of one hum agree on its frequency to this part


@dataclass(frozen=True, slots=True, kw_only=True)
class Hum:
    """Hum of the mains.

    Attributes
    ----------
    mains_hz : float
        50 or 60.
    base_hz : float
        The frequency as measured.
    lines : tuple of int
        The multiples of it that were found.
    height_db : float
        How far the strongest line stands above the sound beside it, in bands of 0.4 Hz.
    level_dbfs : float
        RMS level of its lines together.
    """

    mains_hz: float
    base_hz: float
    lines: tuple[int, ...]
    height_db: float
    level_dbfs: float


def find_hum(samples: npt.NDArray[Any], rate_hz: int) -> Hum | None:
    """Find hum of the mains.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float
        One channel, at least 4 s; the quieter, the surer.
    rate_hz : int >= 4000
        Sampling rate.

    Returns
    -------
    Hum or None
        The hum; None where there is none, or the sound is too short to tell.
    """
    if len(samples) < _FRAME_S * rate_hz:
        return None
    sound, rate_hz = thinned(samples, rate_hz)
    n = min(round(_FRAME_S * rate_hz), len(sound))
    if n < (_FRAME_S - 0.1) * rate_hz:
        return None
    frames = np.lib.stride_tricks.sliding_window_view(sound, n)[:: n // 2]
    power = np.zeros(n + 1)
    for frame in frames:  # one at a time: four seconds are large, and there may be many
        power += np.abs(scipy.fft.rfft(frame * np.hanning(n).astype(np.float32), 2 * n)) ** 2
    # a line is to read its RMS level: a sine of amplitude 1 peaks at half the window's sum
    power /= len(frames) * (np.hanning(n).sum() / 2) ** 2 * 2
    level = 10 * np.log10(power + 1e-14)
    bin_hz = rate_hz / (2 * n)
    found = [hum for mains_hz in (50.0, 60.0) if (hum := _at_mains(level, bin_hz, mains_hz))]
    return max(found, key=lambda hum: len(hum.lines), default=None)


def _at_mains(level: DoubleArray, bin_hz: float, mains_hz: float) -> Hum | None:
    lines, bases, heights, peaks = [], [], [], []
    for number in range(1, _LINES + 1):
        at = number * mains_hz / bin_hz
        reach = max(2, round(at * _TOLERANCE))
        first = round(at) - reach
        peak = first + int(level[first : first + 2 * reach + 1].argmax())
        # the sound beside the line: 1 to 4 Hz off, past the window's own width
        beside = np.r_[level[peak - 32 : peak - 8], level[peak + 9 : peak + 33]]
        height = level[peak] - np.median(beside)
        # a line as narrow as the window lets it be is lost in the sound beside it 0.75 Hz off, or
        # 20 dB down; a blurred one is not
        narrow = level[peak] - max(level[peak - 6], level[peak + 6])
        if height >= _HEIGHT_DB and narrow >= min(20.0, height - 4.0):
            left, middle, right = level[peak - 1 : peak + 2]
            offset = (left - right) / (2 * (left - 2 * middle + right))
            lines.append(number)
            bases.append((peak + offset) * bin_hz / number)
            heights.append(height)
            peaks.append(middle)
    if not lines:
        return None
    base = float(np.median(bases))
    kept = [i for i in range(len(lines)) if abs(bases[i] - base) <= base * _AGREE]
    # mains hum has its first or second line in common; lines at three times these alone are another
    # comb's, such as that of a motor which turns at 90 Hz
    if len(kept) < 2 or gcd(*(lines[i] for i in kept)) > 2:
        return None
    return Hum(
        mains_hz=mains_hz,
        base_hz=base,
        lines=tuple(lines[i] for i in kept),
        height_db=float(max(heights[i] for i in kept)),
        level_dbfs=float(10 * np.log10(sum(10 ** (peaks[i] / 10) for i in kept))),
    )


def describe_hum(hum: Hum) -> str:
    """Say in plain words what hums.

    Parameters
    ----------
    hum : Hum
        The hum.

    Returns
    -------
    str
        `HUM`, its frequency, and how many of its multiples were found.
    """
    more = sum(line > 1 for line in hum.lines)
    with_ = f" and {more} of its multiples" if more else ""
    return f"{HUM}, {hum.mains_hz:.0f} Hz{with_}"
