"""Train, teach the second look, judge, and write the starter model with its card."""

from __future__ import annotations

import json
import logging
import platform
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import torch

from calltag import __version__
from calltag.errors import InputError
from calltag.files import check_place, written_together
from calltag.learn.finding.second_look import SecondLook
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import StarterModel
from calltag.learn.starter.bank import real_pieces, synthetic_pieces
from calltag.learn.starter.calibrate import SceneHeard, fit, hear, right
from calltag.learn.starter.card import card_text
from calltag.learn.starter.compose import Bank
from calltag.learn.starter.judge import judge
from calltag.learn.starter.net import Net, export
from calltag.learn.starter.recordings import Recording
from calltag.learn.starter.scenes import (
    SCENE_S,
    SHORT_S,
    Scene,
    make_scenes,
    recordings_alone,
    short_takes,
)
from calltag.learn.starter.synth_calls import Rng
from calltag.learn.starter.training import train
from calltag.sound.features import FEATURE_VERSION
from calltag.sound.spectrum import HOP, MEL_HIGH_HZ, MEL_LOW_HZ, N_FFT, N_MELS, RATE_HZ

log = logging.getLogger(__name__)

MODEL = "starter.onnx"

_LEARNT_MORE = 0.3
"""Log-odds by which finds of networks that learnt from everything are likelier calls than those of
networks that groups were kept from; by noise and animals that neither has heard."""


class Size(NamedTuple):
    """How much is made; what ships was made with the defaults.

    Attributes
    ----------
    steps : int
        Training steps of a network that a group is kept from; those that ship have a third more.
    phrases : int
        Invented phrases of calls; there is a stretch of each kind of noise for every thirty.
    variants : int
        Versions of each recording, at several speeds.
    scenes : int
        Scenes to judge by for each background and level, without each group.
    scene_s : int
        Length of each.
    short_takes : int
        Short takes that are cut out of each: some are over before it is known what is usual.
    """

    steps: int = 1800
    phrases: int = 3400
    variants: int = 5
    scenes: int = 16
    scene_s: int = SCENE_S
    short_takes: int = 3

    def check(self) -> None:
        """Make sure that there is something to learn from.

        Raises
        ------
        InputError
            If there is not.
        """
        if min(self) < 1:
            raise InputError(f"of everything at least one is needed, and here is less: {self}")
        if self.scene_s < SHORT_S[1]:
            raise InputError(f"scenes of {self.scene_s} s are shorter than the short takes in them")


Told = list[tuple[SceneHeard, Scene]]
"""Scenes, and what networks heard in each that had not heard its recordings."""


class Nets(NamedTuple):
    """The networks of a starter model."""

    first: Net
    closer: Net

    def write(self, first: Path, closer: Path) -> None:
        """Write them as ONNX files.

        Parameters
        ----------
        first, closer : Path
            The file of each.
        """
        export(self.first, first)
        export(self.closer, closer)


class _Part(NamedTuple):
    """What networks tell of a group that was kept from them."""

    long: Told
    short: Told


def _trained(bank: Bank, *, steps: int, seed: int) -> Nets:
    first, closer = (train(bank, steps=steps, seed=seed, along=along) for along in (False, True))
    return Nets(first, closer)


def _left_out(nets: Nets, recordings: list[Recording], rng: Rng, size: Size) -> _Part:
    """Let networks listen to scenes of recordings that they have not heard."""
    with tempfile.TemporaryDirectory() as folder:
        files = StarterFiles.of(Path(folder) / MODEL)
        nets.write(files.model, files.closer)
        files.card.write_text("{}", "utf-8")
        hearing = StarterModel(files.model)
    mute = np.zeros(0, np.float32)  # the sound is not needed any more

    def told(scenes: list[Scene]) -> Told:
        return [(hear(hearing, one.samples), replace(one, samples=mute)) for one in scenes]

    scenes = make_scenes(rng, recordings, size.scenes, length_s=size.scene_s)
    short = short_takes(rng, scenes, size.short_takes) + recordings_alone(recordings)
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


@dataclass(frozen=True, slots=True)
class Starter:
    """A starter model.

    Attributes
    ----------
    nets : Nets
        Its networks.
    second_look : SecondLook
        What says how sure its finds are.
    card : dict
        What it says of itself.
    """

    nets: Nets
    second_look: SecondLook
    card: dict[str, Any]

    def write(self, folder: Path) -> None:
        """Write the files of the model and its card.

        Parameters
        ----------
        folder : Path
            Where they go; what is there stays until all are complete.
        """
        with written_together(_places(folder)) as (first, closer, second_look, card, text):
            self.nets.write(first, closer)
            self.second_look.write(second_look)
            card.write_text(json.dumps(self.card, indent=2) + "\n", "utf-8")
            text.write_text(card_text(self.card), "utf-8")


def _places(folder: Path) -> list[Path]:
    files = StarterFiles.of(folder / MODEL)
    return [files.model, files.closer, files.second_look, files.card, files.text]


def make(
    recordings: Sequence[Recording],
    folder: Path,
    *,
    leave_out: Sequence[str],
    size: Size,
    seed: int,
) -> Starter:
    """Make a starter model and write it.

    Parameters
    ----------
    recordings : sequence of Recording
        What it learns from, beside what is invented.
    folder : Path
        Where its files go, all or none.
    leave_out : sequence of str
        Groups of recordings, one or more, that networks are trained without, each in turn, to teach
        the second look.
    size : Size
        How much is made.
    seed : int
        Seed of everything random.

    Returns
    -------
    Starter
        The model.

    Raises
    ------
    InputError
        If the size is too small, no recording is of one of the groups, the networks find nothing to
        teach the second look with, or the files cannot be written.
    """
    size.check()
    unknown = sorted(set(leave_out) - {recording.group for recording in recordings})
    if unknown:
        raise InputError(f"to leave out: no recording is of group {unknown[0]!r}")
    for place in _places(folder):
        check_place(place)
    rng = np.random.default_rng(seed)
    log.info("%d recordings; making the bank of sounds", len(recordings))
    pieces = real_pieces(rng, recordings, variants=size.variants)
    noises = max(1, size.phrases // 30)
    pieces += synthetic_pieces(rng, phrases=size.phrases, noises=noises)

    parts = []
    for i, group in enumerate(leave_out):
        log.info("training without %s", group)
        without = Bank([piece for piece in pieces if piece.group != group])
        nets = _trained(without, steps=size.steps, seed=seed)
        own = [recording for recording in recordings if recording.group == group]
        parts.append(_left_out(nets, own, np.random.default_rng([seed, i + 1]), size))
    second_look = _taught(parts)
    card = _card(parts, n_recordings=len(recordings), leave_out=leave_out, size=size, seed=seed)
    log.info("training with everything")
    nets = _trained(Bank(pieces), steps=size.steps * 4 // 3, seed=seed + 1)
    starter = Starter(nets, second_look.surer(_LEARNT_MORE), card)
    starter.write(folder)
    return starter


def _card(
    parts: list[_Part], *, n_recordings: int, leave_out: Sequence[str], size: Size, seed: int
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
            "steps": size.steps,
            "seed": seed,
            "phrases": size.phrases,
            "recordings": n_recordings,
            "torch": torch.__version__,
            "python": platform.python_version(),
        },
        "left_out": list(leave_out),
        "second_look": {"finds": n_finds, "networks": len(parts)},
        "figures": _figures(parts),
    }
