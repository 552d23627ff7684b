from __future__ import annotations

import numpy as np
import pytest
from PIL import Image, ImageCms

from calltag.pages.ink import ink_lab, ink_palette, srgb_from_lab


@pytest.mark.parametrize(
    ("lab", "rgb"),
    [
        # CIELAB of sRGB's primaries and of a middle grey (D65), widely published; from memory.
        ((53.24, 80.09, 67.20), (255, 0, 0)),
        ((87.73, -86.18, 83.18), (0, 255, 0)),
        ((32.30, 79.19, -107.86), (0, 0, 255)),
        ((53.59, 0.0, 0.0), (128, 128, 128)),
    ],
)
def test_lab_becomes_srgb(lab, rgb) -> None:
    np.testing.assert_allclose(srgb_from_lab(lab).astype(int), rgb, atol=1)


def test_colours_as_a_colour_management_library_has_them() -> None:
    """LittleCMS, from sRGB back to CIELAB; it adapts to D50, hence 3 in each part."""
    back = ImageCms.buildTransform(
        ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), "RGB", "LAB"
    )
    image = Image.fromarray(ink_palette(32)[None])
    raw = np.asarray(ImageCms.applyTransform(image, back))[0]
    lab = np.stack(
        [
            raw[:, 0].astype(float) * (100 / 255.0),
            raw[:, 1].astype(np.int8),
            raw[:, 2].astype(np.int8),
        ],
        axis=1,
    )
    np.testing.assert_allclose(lab, ink_lab(32), atol=3.0)


@pytest.mark.parametrize("shades", [2, 16, 64, 256])
def test_steps_are_even_and_lightness_only_falls(shades) -> None:
    lab = ink_lab(shades)
    steps = np.linalg.norm(np.diff(lab, axis=0), axis=1)
    assert np.ptp(steps) <= 0.04 * steps.mean()  # the chord of a curve is a little shorter
    assert np.all(np.diff(lab[:, 0]) < 0)
    assert lab[0, 0] > 95
    assert lab[-1, 0] < 12


def test_grey_print_keeps_the_order() -> None:
    grey = np.asarray(Image.fromarray(ink_palette(64)[None]).convert("L"))[0].astype(int)
    assert np.all(np.diff(grey) < 0)
