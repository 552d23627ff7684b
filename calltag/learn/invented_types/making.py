"""Invent, measure, learn, and write the network of voices and the numbers of kinship."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.errors import InputError
from calltag.files import check_place, written_together
from calltag.learn.call_types.kinship import PRIOR
from calltag.learn.invented_types.covariances import learn_kinship, with_voices, write
from calltag.learn.invented_types.heard import N_BACKGROUNDS, Measured, invent
from calltag.learn.invented_types.voice_lessons import CALLS_OF_EACH, STEPS, export, teach_voice
from calltag.learn.networks.voice import NETWORK, Voice

log = logging.getLogger(__name__)

_AT_A_TIME = 250  # types that share their backgrounds


class Size(NamedTuple):
    """How much is made; what ships was made with the defaults.

    Attributes
    ----------
    types : int
        Call types that are invented.
    kept : int
        Those of them that the network of voices does not learn from: for what it makes of new ones.
    each : int
        Calls of each type.
    steps : int
        Training steps.
    n_backgrounds : int
        Stretches of each kind of background that some types share.
    """

    types: int = 6500
    kept: int = 1000
    each: int = 12
    steps: int = STEPS
    n_backgrounds: int = N_BACKGROUNDS

    def check(self) -> None:
        """Make sure that there is enough to learn from.

        Raises
        ------
        InputError
            If there is not.
        """
        if self.each < CALLS_OF_EACH:
            raise InputError(
                f"{self.each} calls of each type are too few: the network learns from"
                f" {CALLS_OF_EACH} at a time"
            )
        if not 2 <= self.kept <= self.types - 2:
            raise InputError(
                f"{self.kept} of {self.types} types kept from the network: two at least must be,"
                " and two be left to learn from"
            )
        if self.steps < 1:
            raise InputError("the network learns nothing without a training step")


def make(folder: Path, *, size: Size, seed: int) -> None:
    """Make ``voice.onnx`` and ``kinship.npz`` in a folder.

    They belong together, so both are put in place when both are complete, and none before.

    Parameters
    ----------
    folder : Path
        Where they go.
    size : Size
        How much goes into them.
    seed : int
        Seed of what is invented; that of training is always the same.

    Raises
    ------
    InputError
        If the size is too small, or the files cannot be written.
    """
    size.check()
    places = [folder / NETWORK.name, folder / PRIOR.name]
    for place in places:
        check_place(place)
    calls, codes = _invented(size, seed)
    n_taught = int((codes < size.types - size.kept).sum())
    patches = [call.patch for call in calls[:n_taught]]
    net = teach_voice(patches, codes[:n_taught], steps=size.steps)
    with written_together(places) as (network, numbers):
        export(net, network)
        rows = with_voices(calls[n_taught:], Voice(network))
        _, kept_codes = np.unique(codes[n_taught:], return_inverse=True)
        write(numbers, learn_kinship(rows, kept_codes))
    log.info("%d calls, written to %s and %s", len(calls), *places)


def _invented(size: Size, seed: int) -> tuple[list[Measured], npt.NDArray[np.intp]]:
    """All calls in order of type, and the type of each."""
    calls: list[Measured] = []
    codes = []
    for first in range(0, size.types, _AT_A_TIME):
        more, own = invent(
            np.random.default_rng(seed + first // _AT_A_TIME),
            types=min(_AT_A_TIME, size.types - first),
            each=size.each,
            n_backgrounds=size.n_backgrounds,
        )
        calls += more
        codes.append(first + own)
        log.info("%d types invented", min(first + _AT_A_TIME, size.types))
    return calls, np.concatenate(codes)
