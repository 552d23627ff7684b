"""Invented sounds, as rows of features and as spectrograms: what the learning tests teach with."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.call_types.examples import Example, Sound
from calltag.learn.call_types.teach import Taught, teach
from calltag.learn.networks.voice import shown
from calltag.records.span import Span
from calltag.sound.spectrum import N_MELS

N_FEATURES = 40
TYPES = ("lesser reedling: trill", "machine", "marsh hooter: boom", "pit rail: rasp")


class Sounds:
    """A maker of sounds. Every label has its place among the features, every take its colour."""

    types = TYPES
    n_features = N_FEATURES

    def __init__(self, seed: int = 7) -> None:
        self._rng = np.random.default_rng(seed)

    def rows(self, label: str, n: int, *, take: int = 0, spread: float = 1.0) -> np.ndarray:
        """Features of `n` sounds of a label in a take, shape (n, N_FEATURES)."""
        place = np.random.default_rng(sum(label.encode())).normal(0, 1.2, N_FEATURES)
        colour = np.random.default_rng(1000 + take).normal(0, 0.5, N_FEATURES)
        noise = self._rng.normal(0, spread, (n, N_FEATURES))
        return (place + colour + noise).astype(np.float32)

    def examples(
        self,
        *,
        types: tuple[str, ...] = TYPES,
        takes: int = 5,
        each: int = 4,
        spread: float = 1.0,
    ) -> list[Example]:
        """Labelled sounds: `each` of every type in every take."""
        return [
            Example(row, label, f"A{take:03}.MOV", f"A{take:03}.MOV", Span(2.0 * i, 2.0 * i + 0.5))
            for take in range(takes)
            for label in types
            for i, row in enumerate(self.rows(label, each, take=take, spread=spread))
        ]

    def unlabelled(self, label: str, n: int, *, take: int = 9) -> list[Sound]:
        """Sounds of a label that nobody labelled."""
        return [
            Sound(row, f"A{take:03}.MOV", Span(float(i), i + 0.5))
            for i, row in enumerate(self.rows(label, n, take=take))
        ]

    @staticmethod
    def arrays(examples: list[Example]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Features, labels and groups of examples."""
        return (
            np.stack([example.features for example in examples]),
            np.array([example.label for example in examples]),
            np.array([example.group for example in examples]),
        )


class Tones:
    """Calls that are tones one after the other, as the network of voices sees them."""

    behind = np.full(N_MELS, 1e-6, np.float32)

    def call(self, rng: np.random.Generator, bands: list[int], *, each: int = 6) -> np.ndarray:
        """Tones one after the other, 30 dB over the background give or take, in some noise."""
        mel = self.behind * rng.gamma(2, 0.5, (each * len(bands), N_MELS))
        for i, band in enumerate(bands):
            level = self.behind[0] * 10 ** ((30 + rng.normal(0, 2)) / 10)
            mel[i * each : (i + 1) * each, band + int(rng.integers(-1, 2))] += level
        return shown(mel.astype(np.float32), self.behind)

    @staticmethod
    def nearest_is_own(placed: np.ndarray, codes: np.ndarray) -> float:
        distance = ((placed[:, None] - placed) ** 2).sum(axis=2)
        np.fill_diagonal(distance, np.inf)
        return float((codes[distance.argmin(axis=1)] == codes).mean())


@pytest.fixture
def tones() -> Tones:
    return Tones()


@pytest.fixture
def sounds() -> Sounds:
    return Sounds()


@pytest.fixture(scope="session")
def taught() -> Taught:
    """A tagger of four labels from five takes."""
    return teach(Sounds().examples())
