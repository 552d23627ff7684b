"""Rebuild the starter model: ``python -m calltag.learn.starter RECORDINGS``."""

from __future__ import annotations

import argparse
import json
import logging
import platform
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import torch

from calltag import __version__
from calltag.files import written_whole
from calltag.learn.hearing import Hearing, closer_model
from calltag.learn.second_look import SecondLook
from calltag.learn.starter.bank import real_pieces, synthetic_pieces
from calltag.learn.starter.calibrate import SceneHeard, fit, hear, right
from calltag.learn.starter.card import card_text
from calltag.learn.starter.compose import Bank
from calltag.learn.starter.judge import judge
from calltag.learn.starter.net import Net, export
from calltag.learn.starter.recordings import Recording, load_recordings
from calltag.learn.starter.scenes import (
    Scene,
    make_scenes,
    recordings_alone,
    short_takes,
)
from calltag.learn.starter.synth_calls import Rng
from calltag.learn.starter.training import train
from calltag.sound.features import FEATURE_VERSION
from calltag.sound.spectrum import HOP, MEL_HIGH_HZ, MEL_LOW_HZ, N_FFT, N_MELS, RATE_HZ

log = logging.getLogger("calltag.learn.starter")

SHORT_TAKES = 3
"""Short takes that are cut out of each scene: some are over before it is known what is usual."""


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m calltag.learn.starter", description=__doc__)
    parser.add_argument("recordings", type=Path, help="folder that the paths in SOURCES start from")
    parser.add_argument("--sources", type=Path, default=Path("models/sources.csv"))
    parser.add_argument("--out", type=Path, default=Path("models"))
    parser.add_argument(
        "--leave-out",
        nargs="+",
        default=["fold 1", "fold 2", "fold 3"],
        metavar="GROUP",
        help="groups that networks are trained without, each in turn, to teach the second look",
    )
    parser.add_argument("--steps", type=int, default=1800, help="training steps without a group")
    parser.add_argument("--phrases", type=int, default=3400, help="invented phrases of calls")
    parser.add_argument("--scenes", type=int, default=16, help="scenes per background and level")
    parser.add_argument("--seed", type=int, default=2)
    return parser.parse_args()


Told = list[tuple[SceneHeard, Scene]]
"""Scenes, and what networks heard in each that had not heard its recordings."""


class _Nets(NamedTuple):
    """The networks of a starter model."""

    first: Net
    closer: Net

    def write(self, path: Path) -> None:
        """Write them as ONNX files."""
        for net, target in ((self.first, path), (self.closer, closer_model(path))):
            with written_whole(target) as partial:
                export(net, partial)


class _Part(NamedTuple):
    """What networks tell of a group that was kept from them."""

    long: Told
    short: Told


def _trained(bank: Bank, *, steps: int, seed: int) -> _Nets:
    first, closer = (train(bank, steps=steps, seed=seed, along=along) for along in (False, True))
    return _Nets(first, closer)


def _left_out(nets: _Nets, recordings: list[Recording], rng: Rng, per_kind: int) -> _Part:
    """Let networks listen to scenes of recordings that they have not heard."""
    with tempfile.TemporaryDirectory() as folder:
        model = Path(folder) / "starter.onnx"
        nets.write(model)
        model.with_suffix(".json").write_text("{}", "utf-8")
        hearing = Hearing(model)
    mute = np.zeros(0, np.float32)  # the sound is not needed any more

    def told(scenes: list[Scene]) -> Told:
        return [(hear(hearing, one.samples), replace(one, samples=mute)) for one in scenes]

    scenes = make_scenes(rng, recordings, per_kind)
    short = short_takes(rng, scenes, SHORT_TAKES) + recordings_alone(recordings)
    return _Part(told(scenes), told(short))


def _taught(parts: list[_Part]) -> SecondLook:
    heard, scenes = zip(*[one for part in parts for one in part.long + part.short], strict=True)
    return fit(np.concatenate([what.evidence for what in heard]), right(heard, scenes))


def _figures(parts: list[_Part]) -> dict[str, Any]:
    """Judge the long scenes of each part by a second look that the other parts taught."""
    if len(parts) == 1:
        parts = [_Part(parts[0].long[first::2], parts[0].short[first::2]) for first in (0, 1)]
    heard, scenes = zip(*[one for part in parts for one in part.long], strict=True)
    sureness = []
    for i, part in enumerate(parts):
        second_look = _taught(parts[:i] + parts[i + 1 :])
        sureness += [second_look.probability(what.evidence) for what, _ in part.long]
    return judge(heard, scenes, sureness)


def main() -> None:
    """Train, teach the second look, judge, and write model and card."""
    arguments = _arguments()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    recordings = load_recordings(arguments.sources, arguments.recordings)
    rng = np.random.default_rng(arguments.seed)
    log.info("%d recordings; making the bank of sounds", len(recordings))
    pieces = real_pieces(rng, recordings, variants=5)
    pieces += synthetic_pieces(rng, phrases=arguments.phrases, noises=arguments.phrases // 30)

    parts = []
    for i, group in enumerate(arguments.leave_out):
        log.info("training without %s", group)
        without = Bank([piece for piece in pieces if piece.group != group])
        nets = _trained(without, steps=arguments.steps, seed=arguments.seed)
        own = [recording for recording in recordings if recording.group == group]
        draw = np.random.default_rng([arguments.seed, i + 1])
        parts.append(_left_out(nets, own, draw, arguments.scenes))
    log.info("training with everything")
    nets = _trained(Bank(pieces), steps=arguments.steps * 4 // 3, seed=arguments.seed + 1)
    card = _card(arguments, parts, n_recordings=len(recordings))
    arguments.out.mkdir(parents=True, exist_ok=True)
    nets.write(arguments.out / "starter.onnx")
    _taught(parts).write(arguments.out / "starter.npz")
    for suffix, text in ((".json", json.dumps(card, indent=2) + "\n"), (".md", card_text(card))):
        with written_whole(arguments.out / f"starter{suffix}") as path:
            path.write_text(text, "utf-8")
    log.info("%s", json.dumps(card["figures"], indent=2))


def _card(
    arguments: argparse.Namespace, parts: list[_Part], *, n_recordings: int
) -> dict[str, Any]:
    """What the model says of itself: how it was made, and how well it does."""
    n_finds = sum(len(what.finds) for part in parts for what, _ in part.long + part.short)
    return {
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
            "recordings": n_recordings,
            "torch": torch.__version__,
            "python": platform.python_version(),
        },
        "left_out": arguments.leave_out,
        "second_look": {"finds": n_finds, "networks": len(parts)},
        "figures": _figures(parts),
    }


if __name__ == "__main__":
    main()
