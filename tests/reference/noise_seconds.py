"""Noise kinds per second of recordings that a model has not learnt from.

`python tests/reference/noise_seconds.py MODEL.onnx RECORDINGS --group "fold 3"` goes through the
recordings of a group of `models/sources.csv`, each as a take of its own, and prints for each kind
how many of its seconds are told (recall), how many others are left in peace (specificity), and the
mean of both (balanced accuracy). What is tested is the whole pass, as logging does it: a second has
a kind where spans of it cover half of the second, and a call where a find of even odds sounds in
it. Seconds in which a clip is 25 dB or more below its loudest are left out: it pauses there.

A model without a card or a second look beside it is given those of the shipped model.
"""

from __future__ import annotations

import argparse
import csv
import json
import shutil
import tempfile
from collections import defaultdict
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soundfile as sf
import soxr

from calltag.learn.finding.finder import Finder
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import starter_model
from calltag.media.probe import probe
from calltag.sound.spectrum import RATE_HZ

KINDS = ("machine", "water", "voice", "call")
DROP_DB = 25.0
SILENT = 1e-4  # the clips are padded with silence


class Score(NamedTuple):
    """How well the seconds of one kind are told from all others."""

    recall: float
    specificity: float
    n: int
    n_others: int

    @property
    def balanced(self) -> float:
        """Balanced accuracy."""
        return (self.recall + self.specificity) / 2


def load(model: Path, folder: Path) -> Finder:
    """A finder with another starter model; `folder` takes a copy with what judges its finds."""
    copies = StarterFiles.of(folder / "model.onnx")
    given, shipped = StarterFiles.of(model), StarterFiles.of(starter_model())
    for own, usual, copy in zip(given, shipped, copies, strict=True):
        networks = own in (given.model, given.closer)
        shutil.copy(own if networks or own.is_file() else usual, copy)
    return Finder.load(copies.model)


def sources(group: str) -> list[tuple[str, str]]:
    """Paths and kinds of the recordings of a group."""
    listed = starter_model().with_name("sources.csv")
    with listed.open(encoding="utf-8", newline="") as file:
        return [(row["path"], row["kind"]) for row in csv.DictReader(file) if row["group"] == group]


def seconds(finder: Finder, path: Path, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Which of `KINDS` each second has, shape (n, 4), and which seconds count, shape (n,)."""
    sound, rate_hz = sf.read(path, dtype="float32", always_2d=True)
    mono = soxr.resample(sound[:, 0], rate_hz, RATE_HZ)
    heard = np.flatnonzero(np.abs(mono) > SILENT)
    mono = mono[heard[0] : heard[-1] + 1]
    clip = folder / "clip.wav"
    sf.write(clip, mono, RATE_HZ, subtype="PCM_24")
    found = finder.analyse(clip, probe(clip))
    n = max(1, round(len(mono) / RATE_HZ))
    said = np.zeros((n, len(KINDS)), bool)
    level = np.zeros(n)
    for second in range(n):
        for i, kind in enumerate(KINDS[:3]):
            covered = sum(
                max(0.0, min(span.end_s, second + 1) - max(span.start_s, second))
                for span in found.noise
                if span.kind == kind
            )
            said[second, i] = covered >= 0.5 * min(1.0, len(mono) / RATE_HZ - second)
        said[second, 3] = any(
            call.start_s < second + 1 and call.end_s > second and call.call_probability >= 0.5
            for call in found.calls
        )
        part = mono[second * RATE_HZ : (second + 1) * RATE_HZ]
        level[second] = (
            10 * np.log10(np.mean(part.astype(float) ** 2) + 1e-12) if len(part) else -99
        )
    return said, level > level.max() - DROP_DB


def measure(model: Path, recordings: Path, group: str, *, every: int = 1) -> dict[str, Score]:
    """Scores of each kind, on one of so many recordings."""
    said, truth = [], []
    with tempfile.TemporaryDirectory() as made:
        finder = load(model, Path(made))
        for name, kind in sources(group)[::every]:
            if not name.startswith("esc10/"):
                continue
            here, counts = seconds(finder, recordings / name, Path(made))
            said.append(here[counts])
            truth += [kind] * int(counts.sum())
    told, kinds = np.concatenate(said), np.array(truth)
    scores = {}
    for i, kind in enumerate(KINDS):
        mine = kinds == kind
        scores[kind] = Score(
            recall=float(told[mine, i].mean()),
            specificity=float(1 - told[~mine, i].mean()),
            n=int(mine.sum()),
            n_others=int((~mine).sum()),
        )
    return scores


def false_by_kind(model: Path, recordings: Path, group: str, *, every: int = 1) -> dict[str, float]:
    """Seconds taken for wind or handling, by folder; hardly any of the recordings has any."""
    wrong: dict[str, float] = defaultdict(float)
    with tempfile.TemporaryDirectory() as made:
        finder = load(model, Path(made))
        for name, _ in sources(group)[::every]:
            if name.startswith("esc10/"):
                found = finder.analyse(recordings / name, probe(recordings / name))
                for span in found.noise:
                    if span.kind in ("wind", "handling"):
                        wrong[f"{span.kind} in {name.split('/')[1]}"] += span.span.length_s
    return dict(wrong)


def main() -> None:
    """Print the scores as a small table and as JSON."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("model", type=Path)
    parser.add_argument("recordings", type=Path)
    parser.add_argument("--group", default="fold 3")
    asked = parser.parse_args()
    scores = measure(asked.model, asked.recordings, asked.group)
    for kind, score in scores.items():
        print(
            f"{kind:8} balanced {score.balanced:.3f}  recall {score.recall:.3f} of {score.n} s  "
            f"specificity {score.specificity:.3f} of {score.n_others} s"
        )
    print("wrongly wind or handling, s:", json.dumps(false_by_kind(
        asked.model, asked.recordings, asked.group)))  # fmt: skip


if __name__ == "__main__":
    main()
