"""The colours of spectrogram pictures: from paper to ink in even steps.

A curve through CIELAB, from cream paper over sepia to blue-black ink, cut into steps of the same
colour difference ΔE*ab. Its lightness only falls, so it reads the same in grey print, on a bad
printer, and without colour vision.

References
----------
.. [1] CIE 15:2004, "Colorimetry", 3rd edition, section 8.2.1: the CIE 1976 L*a*b* colour space, and
   its colour difference ΔE*ab.
.. [2] IEC 61966-2-1:1999, "Default RGB colour space - sRGB": primaries, white D65, transfer curve.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray

_KNOTS = (
    # L*, a*, b*
    (97.0, 0.0, 5.0),
    (80.0, 6.0, 26.0),
    (54.0, 18.0, 28.0),
    (31.0, 13.0, 4.0),
    (9.0, 1.0, -9.0),
)
_FINE = 4096

_WHITE_XYZ = np.array([0.95047, 1.0, 1.08883])  # D65, as sRGB has it
_RGB_FROM_XYZ = np.array(
    [
        [3.2406, -1.5372, -0.4986],
        [-0.9689, 1.8758, 0.0415],
        [0.0557, -0.2040, 1.0570],
    ]
)  # IEC 61966-2-1, equation 7


@cache
def ink_lab(shades: int = 256) -> DoubleArray:
    """Colours from paper to ink in CIELAB.

    Parameters
    ----------
    shades : int
        How many; at least 2.

    Returns
    -------
    np.ndarray, shape (shades, 3)
        L*, a*, b*; neighbours differ by the same ΔE*ab.

    Examples
    --------
    >>> steps = np.linalg.norm(np.diff(ink_lab(64), axis=0), axis=1)
    >>> bool(np.ptp(steps) < 0.02 * steps.mean())
    True
    """
    knots = np.array(_KNOTS)
    ends = _along(knots)
    dense = np.linspace(0.0, 1.0, _FINE)
    curve = _smooth(ends / ends[-1], knots, dense)
    way = _along(curve)
    even = np.linspace(0.0, way[-1], shades)
    return np.stack([np.interp(even, way, part) for part in curve.T], axis=1)


@cache
def ink_palette(shades: int = 256) -> npt.NDArray[np.uint8]:
    """Colours from paper to ink in sRGB.

    Parameters
    ----------
    shades : int
        How many; at least 2.

    Returns
    -------
    np.ndarray, shape (shades, 3), uint8
        Red, green and blue.

    Examples
    --------
    >>> ink_palette(3)[0].tolist()
    [251, 246, 237]
    """
    return srgb_from_lab(ink_lab(shades))


def srgb_from_lab(lab: npt.ArrayLike) -> npt.NDArray[np.uint8]:
    """Convert CIELAB colours (white D65) to sRGB.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
        L*, a*, b*.

    Returns
    -------
    np.ndarray of the same shape, uint8
        Red, green and blue, held to what sRGB can show.

    Examples
    --------
    >>> srgb_from_lab([[100, 0, 0], [0, 0, 0]]).tolist()
    [[255, 255, 255], [0, 0, 0]]
    """
    values = np.asarray(lab, np.float64)
    fy = (values[..., 0] + 16.0) / 116.0
    f = np.stack([fy + values[..., 1] / 500.0, fy, fy - values[..., 2] / 200.0], axis=-1)
    ratio = np.where(f > 6.0 / 29.0, f**3, 3.0 * (6.0 / 29.0) ** 2 * (f - 4.0 / 29.0))
    linear = np.clip((ratio * _WHITE_XYZ) @ _RGB_FROM_XYZ.T, 0.0, 1.0)
    curved = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(255.0 * curved).astype(np.uint8)


def _along(points: DoubleArray) -> DoubleArray:
    """Length of the way to each point: ΔE*ab summed."""
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _smooth(at: DoubleArray, knots: DoubleArray, wanted: DoubleArray) -> DoubleArray:
    """A curve through the knots without overshoot, so that lightness keeps falling."""
    from scipy.interpolate import PchipInterpolator

    return np.asarray(PchipInterpolator(at, knots, axis=0)(wanted))
