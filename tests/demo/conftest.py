"""The demo's folder, its program's modules, and everything the program makes, made once."""

from __future__ import annotations

import csv
import importlib
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import av
import numpy as np
import pytest

FOLDER = Path(__file__).resolve().parents[2] / "demo_audio"
SEED = 1


@pytest.fixture(scope="session")
def folder() -> Path:
    return FOLDER


@pytest.fixture(scope="session")
def program() -> SimpleNamespace:
    """The program's modules: they stand alone, outside the package."""
    sys.path.insert(0, str(FOLDER))
    try:
        names = ("air", "animals", "noises", "picture", "takes", "writing", "make_demo")
        return SimpleNamespace(**{name: importlib.import_module(name) for name in names})
    finally:
        sys.path.remove(str(FOLDER))


@pytest.fixture(scope="session")
def takes(program: SimpleNamespace) -> dict[str, Any]:
    """The program's takes by file name."""
    return {take.name: take for take in program.takes.TAKES}


@pytest.fixture(scope="session")
def scenes(program: SimpleNamespace, takes: dict[str, Any]) -> dict[str, Any]:
    """What there is to hear in every take, made anew."""
    return {name: program.takes.set_scene(take, SEED) for name, take in takes.items()}


@pytest.fixture(scope="session")
def heard() -> dict[str, np.ndarray]:
    """The sound of every committed clip: float64, shape (n_channels, n_samples)."""
    return {
        path.name: _decode(path)
        for path in sorted(FOLDER.iterdir())
        if path.suffix in {".MP4", ".MOV", ".WAV"}
    }


def _decode(path: Path) -> np.ndarray:
    with av.open(str(path)) as container:
        if not container.streams.audio:
            return np.zeros((0, 0))
        channels = container.streams.audio[0].channels
        pieces = [frame.to_ndarray() for frame in container.decode(audio=0)]
    sound = np.concatenate(pieces, axis=1)
    if sound.dtype == np.int16:
        sound = sound.reshape(-1, channels).T / 32_768
    return sound.astype(np.float64)


@pytest.fixture(scope="session")
def rows() -> dict[str, list[dict[str, str]]]:
    """The committed tables, by file name."""
    tables = {}
    for name in ("truth.csv", "noise.csv", "labels.csv", "sync.csv"):
        with (FOLDER / name).open(encoding="utf-8", newline="") as file:
            tables[name] = list(csv.DictReader(file))
    return tables
