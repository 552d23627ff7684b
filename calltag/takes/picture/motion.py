"""How a picture moves as a whole: from frame to frame, and over a second or so.

The shift between two frames is found by phase correlation: the phases of their spectra differ by a
ramp whose slope is the shift, and turned back that ramp is a peak. Each frequency counts by how far
it stands above the picture's noise, so that grain, which moves nowhere, does not draw the peak to
itself; and high frequencies count less, which makes the peak a Gaussian whose top is found between
the pixels.

Movement is parted in two. What three numbers for each direction describe (a place, a speed, a
change of speed) is a drift: a pan, a tilt, a creeping tripod. What is left is jitter: vibration.

References
----------
.. [1] C. D. Kuglin and D. C. Hines, "The phase correlation image alignment method", Proceedings of
   the IEEE International Conference on Cybernetics and Society, 1975, pp. 163-165.
.. [2] H. Foroosh, J. B. Zerubia and M. Berthod, "Extension of phase correlation to subpixel
   registration", IEEE Transactions on Image Processing 11(3), 2002, pp. 188-200.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import fft

from calltag.arrays import DoubleArray, FloatArray

Grey = npt.NDArray[np.uint8] | npt.NDArray[np.float32]
"""Brightness, shape (height, width)."""

_PEAK_PX = 1.0
"""Width (standard deviation) of the peak that a shift makes."""

_NOISE_CORNER = 0.8
"""Beyond this part of the highest frequency, a reduced picture holds hardly more than grain."""

_ENOUGH_GRAIN = 4000
"""So many frequencies tell the level of the grain to a few hundredths."""

_ABOVE_GRAIN = 4.0
"""A frequency of so many times the grain's power counts half of one that stands far above it."""

_SLOWEST = 2.5
"""Changes of fewer cycles over the picture are light, not place: clouds, and the window itself."""

_FADED = 0.4
"""Part of the picture, to both sides together, that is faded out."""

_LEAST_COMMON = 0.01
"""Part of the weighed frequencies that have to stand above the grain for any certainty."""

_SURE = 0.5
"""A peak that holds less of all that correlates may be chance, or one movement of several."""

_IN_COMMON = 0.15
"""Pictures less far apart than this part of the smaller side are held against each other."""

_ADDED_UP_PX = 3.0
"""So far a sum of shifts may be off; a direct one that is further off is a mistake."""

_FEWEST = 5
"""Shifts that it takes to part drift and jitter."""


class _Shift(NamedTuple):
    """By how much a picture lies further right and further down than the one before it."""

    right_px: float
    down_px: float
    certainty: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """How a picture moved over a stretch.

    Attributes
    ----------
    drift_permille_per_s : float
        Mean speed of the even part of the movement, in thousandths of the picture's width a second.
    jitter_permille : float
        What is left of it, as root mean square of the displacement in any direction, in thousandths
        of the picture's width.
    """

    drift_permille_per_s: float
    jitter_permille: float


def movement(frames: Sequence[Grey], times_s: Sequence[float]) -> Movement | None:
    """Part the movement of successive pictures into drift and jitter.

    Parameters
    ----------
    frames : sequence of np.ndarray, shape (height, width)
        Brightness of successive pictures of the same size.
    times_s : sequence of float
        When each is shown.

    Returns
    -------
    Movement or None
        Drift and jitter; None where there are too few pictures, or too little in them that is
        there again in the next.
    """
    if len(frames) <= _FEWEST:
        return None
    height, width = frames[0].shape
    spectra = [_spectrum(frame) for frame in frames]
    shifts = [_shift(one, other, (height, width)) for one, other in itertools.pairwise(spectra)]
    if np.median([shift.certainty for shift in shifts]) < _SURE:
        return None
    places = _places(spectra, shifts, (height, width))
    times = np.asarray(times_s) - times_s[0]
    length_s = float(times[-1])
    ramp = np.stack([np.ones_like(times), times, times**2], axis=1)
    found, *_ = np.linalg.lstsq(ramp, places, rcond=None)
    even = ramp @ found
    left = (places - even) * math.sqrt(len(times) / (len(times) - 3))  # three numbers were fitted
    speed = np.hypot(*(even[-1] - even[0])) / length_s
    return Movement(
        drift_permille_per_s=1000 * float(speed) / width,
        jitter_permille=1000 * math.sqrt(float(np.mean(np.sum(left**2, axis=1)))) / width,
    )


def _places(
    spectra: Sequence[npt.NDArray[np.complex64]],
    shifts: Sequence[_Shift],
    shape: tuple[int, int],
) -> DoubleArray:
    """Where each picture lies, shape (n_frames, 2).

    Summed shifts lead there, but their errors add up. So each picture is also held against the
    middle one, as long as the two have most of their view in common.
    """
    summed = np.zeros((len(spectra), 2))
    summed[1:] = np.cumsum([shift[:2] for shift in shifts], axis=0)
    middle = len(spectra) // 2
    summed -= summed[middle]
    places = summed.copy()
    for n, spectrum in enumerate(spectra):
        if n != middle and np.abs(summed[n]).max() < _IN_COMMON * min(shape):
            shift = _shift(spectra[middle], spectrum, shape)
            if shift.certainty >= _SURE and np.abs(shift[:2] - summed[n]).max() < _ADDED_UP_PX:
                places[n] = shift[:2]
    return places


def _spectrum(frame: Grey) -> npt.NDArray[np.complex64]:
    picture = np.asarray(frame, np.float32)
    window = _window(*picture.shape)
    mean = float((picture * window).sum() / window.sum())
    return np.asarray(fft.rfft2((picture - mean) * window))


def _shift(
    one: npt.NDArray[np.complex64], other: npt.NDArray[np.complex64], shape: tuple[int, int]
) -> _Shift:
    weight, corner = _weight(*shape)
    cross = one.conj() * other
    power = np.abs(cross)
    # At least that of rounding to whole grey levels, whose variance is 1/12.
    grain = max(_ABOVE_GRAIN * float(np.median(power.ravel()[corner])), shape[0] * shape[1] / 12)
    weighed = weight / (power + grain)
    surface = fft.irfft2(weighed * cross, shape)
    # What all frequencies together would give if they agreed.
    counted = max(float(np.vdot(weighed, power)), _LEAST_COMMON * float(weight.sum()))
    whole = 2.0 * counted / (shape[0] * shape[1])
    row, column = np.unravel_index(int(np.argmax(surface)), shape)
    top = float(surface[row, column])
    if top <= 0:
        return _Shift(0.0, 0.0, 0.0)
    down = _between(surface[(row + np.arange(-1, 2)) % shape[0], column])
    right = _between(surface[row, (column + np.arange(-1, 2)) % shape[1]])
    return _Shift(
        _signed(int(column), shape[1]) + right,
        _signed(int(row), shape[0]) + down,
        min(1.0, top / whole),
    )


def _between(three: FloatArray) -> float:
    """Top of a Gaussian through three values, as an offset from the middle one."""
    if three.min() <= 0.02 * three[1]:  # so narrow a top lies on its pixel
        return 0.0
    left, middle, right = np.log(three.astype(np.float64))
    bend = left - 2 * middle + right
    return float(0.5 * (left - right) / bend) if bend < 0 else 0.0


def _signed(place: int, size: int) -> int:
    return place - size if place > size // 2 else place


@cache
def _window(height: int, width: int) -> FloatArray:
    """Fades a picture out near its edges, where others come into view.

    It is flat within: the middle often is an animal, and what tells of the camera is around it.
    """
    from scipy.signal.windows import tukey

    rows, columns = (tukey(n + 2, _FADED)[1:-1] for n in (height, width))
    return np.outer(rows, columns).astype(np.float32)


@cache
def _weight(height: int, width: int) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """What each frequency counts, and some thousands of places with little but grain."""
    down, right = np.meshgrid(fft.fftfreq(height), fft.rfftfreq(width), indexing="ij")
    cycles = np.hypot(down, right)
    weight = np.exp(-2 * (math.pi * _PEAK_PX * cycles) ** 2)
    weight *= np.maximum(np.abs(down) * height, right * width) > _SLOWEST
    corner = np.flatnonzero(cycles > _NOISE_CORNER * 0.5)
    return weight.astype(np.float32), corner[:: 1 + len(corner) // _ENOUGH_GRAIN]
