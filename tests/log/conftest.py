"""Records as the tests of the log store them, and a log to store them in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from calltag.log import Log
from calltag.records.alignment import Alignment
from calltag.records.found import Call, Picture, TakeLog
from calltag.records.take import Take


def take(path: str = "A001.mov", **changes: object) -> Take:
    values: dict[str, object] = {
        "path": path,
        "rushes": "/ashmere",
        "digest": f"digest of {path}",
        "size_bytes": 1234,
        "duration_s": 60.0,
    }
    return Take(**(values | changes))  # type: ignore[arg-type]


def call(start_s: float = 1.0, **changes: object) -> Call:
    values: dict[str, object] = {
        "start_s": start_s,
        "end_s": start_s + 0.5,
        "low_hz": 2000.0,
        "high_hz": 4000.0,
        "peak_hz": 3000.0,
        "snr_db": 12.5,
        "level_dbfs": -31.0,
        "call_probability": 0.9,
        "features": np.array([start_s, 2.0, 3.0], np.float32),
    }
    return Call(**(values | changes))  # type: ignore[arg-type]


def picture(start_s: float = 1.0, **changes: object) -> Picture:
    values: dict[str, object] = {
        "start_s": start_s,
        "end_s": start_s + 0.8,
        "drift_permille_per_s": 3.5,
        "jitter_permille": 0.25,
        "blur_permille": None,
        "pixel_permille": 0.78125,
    }
    return Picture(**(values | changes))  # type: ignore[arg-type]


def alignment(take_a: str = "A001.mov", take_b: str = "B001.mov", **changes: object) -> Alignment:
    values: dict[str, object] = {
        "take_a": take_a,
        "take_b": take_b,
        "offset_s": 5.54,
        "drift_ppm": 80.0,
        "confidence": 0.98,
        "overlap_s": 10.8,
    }
    return Alignment(**(values | changes))  # type: ignore[arg-type]


def given_to_a_model(log: Log, feature_version: int) -> list[np.ndarray]:
    """What `Log.give_types` hands to a model that knows no type."""
    given = []

    def tag(features: np.ndarray, _takes: np.ndarray) -> list[tuple[str, float]]:
        given.append(features)
        return [("call", 0.5)] * len(features)

    log.give_types(tag, feature_version=feature_version, model="none")
    return given


@pytest.fixture
def log(tmp_path: Path):
    with Log(tmp_path / "calltag.db") as log:
        yield log


@pytest.fixture
def two_cameras(log: Log) -> Log:
    for path in ("A001.mov", "B001.mov", "B002.mov"):
        log.put(TakeLog(take=take(path)), feature_version=1)
    return log
