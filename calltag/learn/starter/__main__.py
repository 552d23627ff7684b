"""Rebuild the starter model: ``python -m calltag.learn.starter RECORDINGS``."""

from __future__ import annotations

import argparse
import json
import logging
import platform
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import torch

from calltag import __version__
from calltag.files import written_whole
from calltag.learn.hearing import Hearing
from calltag.learn.starter.bank import real_pieces, synthetic_pieces
from calltag.learn.starter.calibrate import collect, fit, hear
from calltag.learn.starter.card import card_text
from calltag.learn.starter.compose import Bank
from calltag.learn.starter.judge import judge
from calltag.learn.starter.net import Net, export, train
from calltag.learn.starter.recordings import Recording, load_recordings
from calltag.learn.starter.scenes import make_scenes
from calltag.sound.features import FEATURE_VERSION
from calltag.sound.spectrum import HOP, MEL_HIGH_HZ, MEL_LOW_HZ, N_FFT, N_MELS, RATE_HZ

log = logging.getLogger("calltag.learn.starter")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m calltag.learn.starter", description=__doc__)
    parser.add_argument("recordings", type=Path, help="folder that the paths in SOURCES start from")
    parser.add_argument("--sources", type=Path, default=Path("models/sources.csv"))
    parser.add_argument("--out", type=Path, default=Path("models"))
    parser.add_argument("--leave-out", default="fold 3", help="group to calibrate and judge on")
    parser.add_argument("--steps", type=int, default=1800, help="training steps")
    parser.add_argument("--phrases", type=int, default=3400, help="invented phrases of calls")
    parser.add_argument("--scenes", type=int, default=1, help="scenes per background and level")
    parser.add_argument("--seed", type=int, default=2)
    return parser.parse_args()


def _hearing(net: Net, card: dict[str, Any], folder: Path) -> Hearing:
    export(net, folder / "starter.onnx")
    (folder / "starter.json").write_text(json.dumps(card), "utf-8")
    return Hearing(folder / "starter.onnx")


def _validated(
    net: Net, held_out: list[Recording], arguments: argparse.Namespace
) -> tuple[dict[str, float], dict[str, Any]]:
    """Calibrate on half of the scenes of the group left out, judge on the other half."""
    rng = np.random.default_rng([arguments.seed, 1])
    scenes = make_scenes(rng, held_out, 2 * arguments.scenes)
    with tempfile.TemporaryDirectory() as folder:
        hearing = _hearing(net, {"calibration": {}}, Path(folder))
        heard = [hear(hearing, scene) for scene in scenes]
    for_fit, for_figures = slice(0, None, 2), slice(1, None, 2)
    half = fit(collect(heard[for_fit], scenes[for_fit]))
    figures = judge(heard[for_figures], scenes[for_figures], half)
    return fit(collect(heard, scenes)), figures


def main() -> None:
    """Train, calibrate, judge, and write model and card."""
    arguments = _arguments()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    recordings = load_recordings(arguments.sources, arguments.recordings)
    rng = np.random.default_rng(arguments.seed)
    log.info("%d recordings; making the bank of sounds", len(recordings))
    pieces = real_pieces(rng, recordings, variants=5)
    pieces += synthetic_pieces(rng, phrases=arguments.phrases, noises=arguments.phrases // 30)

    held_out = [r for r in recordings if r.group == arguments.leave_out]
    log.info("training without %s", arguments.leave_out)
    without = Bank([p for p in pieces if p.group != arguments.leave_out])
    net = train(without, steps=arguments.steps, seed=arguments.seed)
    calibration, figures = _validated(net, held_out, arguments)
    log.info("going on with everything")
    net = train(Bank(pieces), steps=arguments.steps // 3, seed=arguments.seed + 1, start=net)
    card = {
        "name": "starter",
        "calltag": __version__,
        "made": datetime.now(UTC).date().isoformat(),
        "feature_version": FEATURE_VERSION,
        "input": {
            "rate_hz": RATE_HZ,
            "n_fft": N_FFT,
            "hop": HOP,
            "mels": [N_MELS, MEL_LOW_HZ, MEL_HIGH_HZ],
        },
        "training": {
            "steps": arguments.steps,
            "seed": arguments.seed,
            "phrases": arguments.phrases,
            "recordings": len(recordings),
            "torch": torch.__version__,
            "python": platform.python_version(),
        },
        "left_out": arguments.leave_out,
        "figures": figures,
        "calibration": calibration,
    }
    arguments.out.mkdir(parents=True, exist_ok=True)
    with written_whole(arguments.out / "starter.onnx") as path:
        export(net, path)
    for suffix, text in ((".json", json.dumps(card, indent=2) + "\n"), (".md", card_text(card))):
        with written_whole(arguments.out / f"starter{suffix}") as path:
            path.write_text(text, "utf-8")
    log.info("%s", json.dumps(figures, indent=2))


if __name__ == "__main__":
    main()
