"""Movement of known size in invented views.

Shifts and blurs are the tests' own; the vibration is a sine, whose root mean square is its peak
over the square root of two.
"""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from calltag.takes.picture.motion import movement

TIMES_S = [i / 25 for i in range(20)]


@pytest.fixture(scope="module")
def view(views: ModuleType) -> np.ndarray:
    return views.discs(240, 400, seed=1)


@pytest.mark.parametrize("grain", [0.0, 3.0, 12.0])
def test_places_are_found_to_a_part_of_a_pixel(
    views: ModuleType, view: np.ndarray, rng: np.random.Generator, grain: float
) -> None:
    """What is left of places that are known, when an even movement is taken from them."""
    right_px, down_px = rng.uniform(-4, 4, (2, len(TIMES_S)))
    frames = [
        views.seen(view, 180, 320, right_px=right, down_px=down, grain=grain, rng=rng)
        for right, down in zip(right_px, down_px, strict=True)
    ]
    left = [px - np.polyval(np.polyfit(TIMES_S, px, 2), TIMES_S) for px in (right_px, down_px)]
    moved = movement(frames, TIMES_S)
    assert moved is not None
    jitter_px = np.sqrt(np.sum(np.square(left)) / (len(TIMES_S) - 3))
    assert moved.jitter_permille * 320 / 1000 == pytest.approx(jitter_px, abs=0.05)


def test_of_views_that_have_nothing_in_common_nothing_is_said(views: ModuleType) -> None:
    frames = [views.seen(views.discs(240, 400, seed=i), 180, 320) for i in range(12)]
    assert movement(frames, TIMES_S[:12]) is None


@pytest.mark.parametrize("grain", [0.0, 8.0])
@pytest.mark.parametrize("pan", [0.0, 5.0, 120.0])
@pytest.mark.parametrize(("shake", "hertz"), [(0.0, 8.0), (0.3, 11.0), (1.0, 6.0)])
def test_pan_and_vibration_are_told_apart(
    views: ModuleType, view: np.ndarray, grain: float, pan: float, shake: float, hertz: float
) -> None:
    picture = views.camera(
        view, pan_permille_per_s=pan, shake_permille=shake, shake_hz=hertz, grain=grain
    )
    moved = movement([picture(i) for i in range(20)], TIMES_S)
    assert moved is not None
    assert moved.drift_permille_per_s == pytest.approx(pan, abs=1.0)
    assert moved.jitter_permille == pytest.approx(shake, rel=0.12, abs=0.06)


def test_a_pan_that_begins_is_no_vibration(views: ModuleType, view: np.ndarray) -> None:
    frames = [
        views.seen(view, 180, 320, right_px=20 * at_s**2, grain=2, rng=np.random.default_rng(i))
        for i, at_s in enumerate(TIMES_S)
    ]
    moved = movement(frames, TIMES_S)
    assert moved is not None
    assert moved.jitter_permille < 0.1


def test_a_picture_in_steps_of_time_has_its_own_clock(views: ModuleType, view: np.ndarray) -> None:
    """Frames at uneven times, as of a variable rate: an even pan stays one."""
    times_s = [i / 25 for i in (0, 1, 2, 4, 5, 9, 10, 11, 12, 15, 17, 18, 19)]
    frames = [views.seen(view, 180, 320, right_px=16 * (at_s - 0.4)) for at_s in times_s]
    moved = movement(frames, times_s)
    assert moved is not None
    assert moved.drift_permille_per_s == pytest.approx(50, abs=1)
    assert moved.jitter_permille < 0.05


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_rippling_water_alone_is_no_vibration(views: ModuleType, seed: int) -> None:
    """Waves may run one way and look like a pan; or nothing is said."""
    frames = [views.water(180, 320, at_s, seed) for at_s in TIMES_S[:12]]
    moved = movement(frames, TIMES_S[:12])
    assert moved is None or moved.jitter_permille < 0.4


def test_water_in_the_lower_half_moves_no_camera(views: ModuleType, view: np.ndarray) -> None:
    frames = [views.seen(view, 180, 320) for _ in TIMES_S]
    for frame, at_s in zip(frames, TIMES_S, strict=True):
        frame[90:] = views.water(180, 320, at_s, 3)[90:]
    moved = movement(frames, TIMES_S)
    assert moved is not None
    assert moved.drift_permille_per_s < 2
    assert moved.jitter_permille < 0.25


def test_an_animal_that_crosses_moves_no_camera(views: ModuleType, view: np.ndarray) -> None:
    animal = views.seen(views.discs(100, 120, seed=5), 70, 90)
    frames = [views.seen(view, 180, 320) for _ in TIMES_S]
    for i, frame in enumerate(frames):
        frame[60:130, 20 + 9 * i : 110 + 9 * i] = animal
    moved = movement(frames, TIMES_S)
    assert moved is not None
    assert moved.drift_permille_per_s < 5
    assert moved.jitter_permille < 0.25


def test_of_fog_and_of_few_pictures_nothing_is_said(rng: np.random.Generator) -> None:
    fog = [np.clip(rng.normal(128, 3, (180, 320)), 0, 255).astype(np.uint8) for _ in range(12)]
    assert movement(fog, TIMES_S[:12]) is None
    assert movement([np.full((180, 320), 90, np.uint8)] * 12, TIMES_S[:12]) is None
    assert movement(fog[:3], TIMES_S[:3]) is None
