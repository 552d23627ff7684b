"""How sharp a picture is: the blur of its sharpest edges, whatever it shows and however noisy.

How steep an edge is, blurred by a Gaussian of standard deviation s and seen through a further blur
of a, goes with ``1 / sqrt(s² + a²)``. So the ratio of what is seen through two blurs of known size
tells s, and the contrast of the edge falls out. Only edges that stand far above the picture's grain
are measured: first in the picture as it is, then in smaller ones, where soft edges are steeper.

References
----------
.. [1] S. Zhuo and T. Sim, "Defocus map estimation from a single image", Pattern Recognition 44(9),
   2011, pp. 1852-1858: the ratio of gradients before and after a further blur.
.. [2] J. H. Elder and S. W. Zucker, "Local scale control for edge detection and blur estimation",
   IEEE Transactions on Pattern Analysis and Machine Intelligence 20(7), 1998, pp. 699-716: how far
   a gradient has to stand above noise.
.. [3] J. Immerkær, "Fast noise variance estimation", Computer Vision and Image Understanding 64(2),
   1996, pp. 300-302.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from calltag.arrays import FloatArray

_FINE_PX, _COARSE_PX = 1.0, 2.0
"""The two further blurs."""

_ABOVE_GRAIN = 16.0
"""How many times as steep as grain makes it by itself an edge has to be."""

_OF_STEEPEST = 0.3
"""How steep an edge has to be, as a part of the steepest ones."""

_LEAST_STEEP = 0.4
"""Grey levels per pixel below which an edge may come from rounding and compression."""

_ENOUGH_ROWS = 180
"""In a picture of more rows, grain is measured in every third, fifth and so on."""

_FEWEST_EDGES = 40
_MOST_EDGES = 20_000
_SHARPEST = 50.0
"""Percentile of the steep edges' blur that counts. What is in focus is steepest, however small."""

_WELL_MEASURED_PX = 1.5
"""Greater blur is measured better in a smaller picture."""

_HALVINGS = 4

_SMALLEST_PX = 24
"""Sides of a picture that is still looked at; less is hardly more than its own margin."""

_MARGIN_PX = 8
"""Left out along the picture's edges: the wider blur looks 7 pixels to each side."""

_REACH = 3.5
"""So many standard deviations away a blur ends."""

_BOTH_WAYS = 6.0
"""Deviation of what the weights 1, -2, 1 both ways make of grain of deviation 1 [3]_."""

_MEDIAN_OF_DEVIATION = 0.6745
"""Median distance of a Gaussian from its middle, as a part of its standard deviation."""

_NO_EDGE_PX = 4.0
"""What is still softer than this in the smallest picture is light that changes over the view."""


def edge_blur_px(grey: npt.NDArray[np.uint8] | FloatArray) -> float | None:
    """Measure the blur of the sharpest edges of a picture.

    Parameters
    ----------
    grey : np.ndarray, shape (height, width)
        Brightness, white at 255.

    Returns
    -------
    float or None
        Standard deviation of the Gaussian that would blur ideal edges so, in pixels; about 0.3 to
        0.6 for what is as sharp as its pixels. None where the picture holds no edge that stands
        above its grain.

    Examples
    --------
    >>> rows, columns = np.mgrid[:120, :160]
    >>> step = 60.0 + 120.0 * (columns + 0.2 * rows > 90)
    >>> round(edge_blur_px(ndimage.gaussian_filter(step, 3.0)), 1)
    3.0
    """
    picture = np.asarray(grey, np.float32)
    best = None
    for halved in range(_HALVINGS + 1):
        if min(picture.shape) < _SMALLEST_PX:
            break
        found = _edge_blur_px(picture)
        if found is not None:
            # Halving averages two by two pixels, a blur of its own: 1/2 px in the larger picture.
            own = (4**halved - 1) / 12
            blur_px = math.sqrt(max(0.0, (found * 2**halved) ** 2 - own))
            best = blur_px if found <= _NO_EDGE_PX else None
            if found <= _WELL_MEASURED_PX:
                break
        picture = _halved(picture)
    return best


def _edge_blur_px(picture: FloatArray) -> float | None:
    across, down = _gradient(picture, _FINE_PX)
    steep = np.sqrt(across**2 + down**2)
    for edge in (slice(_MARGIN_PX), slice(-_MARGIN_PX, None)):
        steep[edge] = steep[:, edge] = 0.0
    grain = _grain(picture) / (math.sqrt(8 * math.pi) * _FINE_PX**2)
    steepest = _among_highest(steep.ravel(), _FEWEST_EDGES)
    least = max(_ABOVE_GRAIN * grain, _OF_STEEPEST * steepest, _LEAST_STEEP)
    places = np.flatnonzero(steep > least)
    # The top of each slope, across the edge.
    flat, width = steep.ravel(), picture.shape[1]
    step = np.where(np.abs(across.ravel()[places]) >= np.abs(down.ravel()[places]), 1, width)
    top = (flat[places] >= flat[places - step]) & (flat[places] > flat[places + step])
    places = places[top]
    if len(places) < _FEWEST_EDGES:
        return None
    if len(places) > _MOST_EDGES:
        places = places[:: len(places) // _MOST_EDGES]
    coarse = np.hypot(*(slope.ravel()[places] for slope in _gradient(picture, _COARSE_PX)))
    ratio = (flat[places] / np.maximum(coarse, 1e-6)) ** 2
    squared = (_COARSE_PX**2 - ratio * _FINE_PX**2) / np.maximum(ratio - 1.0, 1e-3)
    return math.sqrt(max(0.0, float(np.percentile(squared, _SHARPEST))))


def _among_highest(values: FloatArray, n: int) -> float:
    """The n-th highest of values, found among the few that are at least that of eights of them."""
    eights = values[: len(values) // 8 * 8].reshape(8, -1).max(axis=0)
    least = np.partition(eights, -n)[-n]
    return float(np.partition(values[values >= least], -n)[-n])


def _gradient(picture: FloatArray, blur_px: float) -> tuple[FloatArray, FloatArray]:
    """Change per pixel to the right and downwards, seen through a blur."""
    across = ndimage.gaussian_filter(picture, blur_px, order=(0, 1), truncate=_REACH)
    down = ndimage.gaussian_filter(picture, blur_px, order=(1, 0), truncate=_REACH)
    return across, down


def _grain(picture: FloatArray) -> float:
    """Standard deviation of the picture's grain: what neither level, slope nor bend explains."""
    step = len(picture) // _ENOUGH_ROWS | 1  # odd: a codec's blocks are of even heights
    above, row, below = (picture[i : len(picture) - 2 + i : step] for i in range(3))
    rows = above - 2 * row + below
    both = rows[:, :-2] - 2 * rows[:, 1:-1] + rows[:, 2:]
    return float(np.median(np.abs(both))) / (_BOTH_WAYS * _MEDIAN_OF_DEVIATION)


def _halved(picture: FloatArray) -> FloatArray:
    height, width = (n // 2 * 2 for n in picture.shape)
    p = picture[:height, :width]
    return np.asarray((p[::2, ::2] + p[1::2, ::2] + p[::2, 1::2] + p[1::2, 1::2]) / 4, np.float32)
