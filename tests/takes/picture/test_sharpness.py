"""Blurs of known size on invented views, with little and much grain, of high and low contrast."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from calltag.takes.picture.sharpness import _among_highest, edge_blur_px


@pytest.fixture(scope="module")
def view(views: ModuleType) -> np.ndarray:
    return views.discs(410, 650, seed=1)


@pytest.fixture(scope="module")
def blurred(views: ModuleType, view: np.ndarray) -> Callable[[float], np.ndarray]:
    """The view blurred by so many pixels; each blur is made once."""
    return cache(lambda blur_px: ndimage.gaussian_filter(view, blur_px * views.FINE))


@pytest.mark.parametrize("grain", [0.0, 4.0, 8.0])
@pytest.mark.parametrize("contrast", [1.0, 0.4])
@pytest.mark.parametrize("blur_px", [0.7, 1.0, 1.5, 2.0, 3.0, 5.0])
def test_the_blur_is_found(
    views: ModuleType,
    blurred: Callable[[float], np.ndarray],
    blur_px: float,
    contrast: float,
    grain: float,
) -> None:
    view = 128 + contrast * (blurred(blur_px) - 128)
    picture = views.seen(view, 400, 640, grain=grain * contrast)
    # Greater blurs let small discs melt into each other, and the sharpest that is left counts.
    assert edge_blur_px(picture) == pytest.approx(blur_px, rel=0.15 if blur_px < 4 else 0.3)


def test_a_sharp_picture_is_as_sharp_as_its_pixels(views: ModuleType, view: np.ndarray) -> None:
    assert edge_blur_px(views.seen(view, 400, 640)) < 0.5
    assert edge_blur_px(views.seen(view, 400, 640, grain=12)) < 0.5


def test_more_blur_is_never_taken_for_less(views: ModuleType, view: np.ndarray) -> None:
    found = [
        edge_blur_px(views.seen(view, 400, 640, blur_px=blur_px, grain=5))
        for blur_px in (0.5, 0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 12.0)
    ]
    assert found == sorted(found)


@pytest.mark.parametrize("width_px", [0.0, 2.0, 6.0])
def test_one_straight_edge(width_px: float) -> None:
    """The closed form: a step blurred by a Gaussian of known size, at any slant."""
    rows, columns = np.mgrid[:400, :640].astype(np.float32)
    step = 60 + 120 * np.clip(columns + 0.3 * rows - 360 + 0.5, 0, 1)
    picture = ndimage.gaussian_filter(step, width_px) if width_px else step
    assert edge_blur_px(picture) == pytest.approx(width_px, abs=0.45 if width_px == 0 else 0.2)


def test_a_small_subject_in_focus_counts(views: ModuleType, view: np.ndarray) -> None:
    picture = views.seen(view, 400, 640, blur_px=10, grain=3)
    picture[150:220, 200:280] = views.seen(view, 400, 640, grain=3)[150:220, 200:280]
    assert edge_blur_px(picture) < 0.6


@pytest.mark.parametrize("grain", [0.0, 1.0, 8.0])
def test_of_fog_and_even_light_nothing_is_said(rng: np.random.Generator, grain: float) -> None:
    fog = rng.normal(128, grain, (400, 640))
    light = fog + np.linspace(-60, 60, 640)
    for picture in (fog, light):
        assert edge_blur_px(np.clip(np.round(picture), 0, 255).astype(np.uint8)) is None


@given(st.integers(0, 2**32 - 1), st.integers(320, 2000), st.integers(1, 40))
def test_the_nth_highest_is_found_whatever_lies_around_it(seed, size, n):
    values = np.random.default_rng(seed).integers(0, 200, size).astype(np.float32)
    assert _among_highest(values, n) == np.sort(values)[-n]
