"""Invented views for measures of the picture: discs of all sizes, rippling water, a moving camera.

A view is drawn three times finer than it is looked at, so that it has true edges and may be shifted
by parts of a pixel.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import ndimage

FINE = 3


def discs(height: int, width: int, seed: int) -> np.ndarray:
    """Discs that hide each other, as leaves do: a usual model of natural pictures."""
    rng = np.random.default_rng(seed)
    view = np.full((height * FINE, width * FINE), 128, np.float32)
    for _ in range(height * width // 200):
        radius = min(FINE * 6 / rng.uniform(0.02, 1), height * FINE / 3)
        x, y, value = (
            rng.uniform(0, width * FINE),
            rng.uniform(0, height * FINE),
            rng.uniform(30, 220),
        )
        left, top = int(max(0, x - radius)), int(max(0, y - radius))
        part = view[top : int(y + radius) + 1, left : int(x + radius) + 1]
        rows, columns = np.mgrid[: part.shape[0], : part.shape[1]]
        part[(rows + top - y) ** 2 + (columns + left - x) ** 2 < radius**2] = value
    return view


def seen(
    view: np.ndarray,
    height: int,
    width: int,
    *,
    right_px: float = 0.0,
    down_px: float = 0.0,
    blur_px: float = 0.0,
    grain: float = 0.0,
    rng: np.random.Generator | None = None,
) -> np.ndarray:
    """What a camera sees of the middle of a view, displaced, blurred and with grain; 8 bits."""
    if blur_px:
        view = ndimage.gaussian_filter(view, blur_px * FINE)
    top = (view.shape[0] - height * FINE) / 2 - down_px * FINE
    left = (view.shape[1] - width * FINE) / 2 - right_px * FINE
    (row, down), (column, right) = (divmod(place, 1) for place in (top, left))
    cut = view[int(row) :, int(column) :][: height * FINE + 1, : width * FINE + 1]
    cut = (1 - down) * cut[:-1] + down * cut[1:]
    cut = (1 - right) * cut[:, :-1] + right * cut[:, 1:]
    picture = cut.reshape(height, FINE, width, FINE).mean((1, 3))
    if grain:
        picture = picture + (rng or np.random.default_rng(1)).normal(0, grain, picture.shape)
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def water(height: int, width: int, at_s: float, seed: int, grain: float = 3.0) -> np.ndarray:
    """Ripples that run in all directions, each at its own speed."""
    rng = np.random.default_rng(seed)
    rows, columns = np.mgrid[:height, :width]
    picture = np.full((height, width), 128.0)
    for _ in range(60):
        rate, way, phase = rng.uniform(0.03, 0.6), *rng.uniform(0, 2 * np.pi, 2)
        turn = 2 * np.pi * rng.uniform(0.5, 3) * at_s
        ripple = rate * (np.cos(way) * columns + 3 * np.sin(way) * rows) + phase - turn
        picture += 5 * np.cos(ripple)
    grains = np.random.default_rng(int(1000 * at_s)).normal(0, grain, picture.shape)
    return np.clip(picture + grains, 0, 255).astype(np.uint8)


def camera(
    view: np.ndarray,
    *,
    fps: float = 25.0,
    width: int = 320,
    height: int = 180,
    pan_permille_per_s: float = 0.0,
    shake_permille: float = 0.0,
    shake_hz: float = 8.0,
    blur_px: float = 0.0,
    grain: float = 0.0,
) -> Callable[[int], np.ndarray]:
    """A camera that pans to the left and shakes up and down (rms), as pictures by number."""
    rng = np.random.default_rng(11)
    if blur_px:
        view = ndimage.gaussian_filter(view, blur_px * FINE)

    def picture(i: int) -> np.ndarray:
        at_s = i / fps
        right_px = pan_permille_per_s * (at_s - 0.5) * width / 1000
        swing = np.sqrt(2) * np.sin(2 * np.pi * shake_hz * at_s + 0.4)
        down_px = shake_permille * swing * width / 1000
        return seen(view, height, width, right_px=right_px, down_px=down_px, grain=grain, rng=rng)

    return picture
