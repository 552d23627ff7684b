"""Takes and calls whose picture was looked at."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from calltag.records.found import Call, Picture, TakeLog
from calltag.records.take import Take

Clip = Callable[..., Path]


def call(start_s: float) -> Call:
    return Call(
        start_s=start_s,
        end_s=start_s + 0.4,
        low_hz=200,
        high_hz=400,
        peak_hz=300,
        snr_db=12,
        level_dbfs=-30,
        call_probability=0.9,
    )


def picture(middle_s: float = 1.0, **changes: object) -> Picture:
    values: dict[str, object] = {
        "start_s": middle_s - 0.4,
        "end_s": middle_s + 0.4,
        "drift_permille_per_s": 1.0,
        "jitter_permille": 0.1,
        "blur_permille": 0.5,
        "pixel_permille": 0.8,
    }
    return Picture(**(values | changes))  # type: ignore[arg-type]


def take_log(*pictures: Picture, **changes: object) -> TakeLog:
    values: dict[str, object] = {
        "path": "A001.mov",
        "rushes": "/ashmere",
        "digest": "1",
        "size_bytes": 1,
        "duration_s": 30.0,
        "width": 1920,
        "height": 1080,
    }
    return TakeLog(take=Take(**(values | changes)), pictures=pictures)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def view(views: ModuleType) -> np.ndarray:
    return views.discs(290, 530, seed=1)
