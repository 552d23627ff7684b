"""Shared fixtures: the folder of real recordings, and one seeded generator."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

RATE_HZ = 48_000


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20261125)


@pytest.fixture(scope="session")
def field() -> Path:
    """Folder of real recordings, kept outside the project; without it the test is skipped."""
    beside = Path(__file__).resolve().parents[1].parent / "shared" / "field"
    folder = Path(os.environ.get("CALLTAG_FIELD_DIR", beside))
    if not (folder / "esc10").is_dir():
        pytest.skip(
            f"no real recordings: set CALLTAG_FIELD_DIR to their folder (looked in {folder.name}/)"
        )
    return folder
