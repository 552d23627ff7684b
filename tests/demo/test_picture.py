"""The drawn picture: an animal opens its bill while it calls, and little else changes."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest


def view(
    program: SimpleNamespace, animal: str, calls: list[tuple[float, float]], **more: Any
) -> Any:
    options = {"hour": 0.4, "scale": 1.0, "mirrored": False, "wind": 0.1, **more}
    return program.picture.Picture(np.random.default_rng(2), animal, calls=calls, **options)


@pytest.mark.parametrize("animal", ["marsh hooter", "lesser reedling", "pit rail"])
def test_bill_opens_on_the_call_alone(animal: str, program: SimpleNamespace) -> None:
    calling, silent = view(program, animal, [(1.0, 1.4)]), view(program, animal, [])
    assert [calling.opening(t) for t in (0.5, 0.9, 1.5, 2.0)] == [0, 0, 0, 0]
    assert calling.opening(1.2) == 1
    assert 0 < calling.opening(0.98) < 1
    assert np.array_equal(calling.frame(0.5), silent.frame(0.5))

    changed = np.abs(calling.frame(1.2).astype(int) - silent.frame(1.2)).max(axis=2) > 12
    assert 20 < changed.sum() < 0.05 * changed.size
    rows, columns = np.nonzero(changed)
    assert np.ptp(rows) < 60
    assert np.ptp(columns) < 60


def test_frame_is_rgb_of_the_stated_size(program: SimpleNamespace) -> None:
    frame = view(program, "pit rail", []).frame(0.0)
    assert (frame.shape, frame.dtype) == ((180, 320, 3), np.uint8)
    assert frame.std() > 25


def test_water_and_reeds_move_but_the_sky_stands(program: SimpleNamespace) -> None:
    picture = view(program, "marsh hooter", [], wind=1.0)
    before, after = (picture.frame(t).astype(int) for t in (0.0, 1.0))
    moved = np.abs(after - before).max(axis=2) > 6
    assert moved[100:].mean() > 0.05
    assert moved[:30, 100:220].mean() == 0


def test_other_side_is_mirrored(program: SimpleNamespace) -> None:
    plain = view(program, "pit rail", []).frame(0.3)
    mirrored = view(program, "pit rail", [], mirrored=True).frame(0.3)
    assert np.array_equal(plain[:, ::-1], mirrored)


def test_day_gets_lighter(program: SimpleNamespace) -> None:
    early, late = (view(program, "pit rail", [], hour=h).frame(0.0).mean() for h in (0.0, 1.0))
    assert late > 1.3 * early
