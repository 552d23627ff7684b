"""Teach the network of `networks.voice`; needs torch, which the extra ``train`` brings."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt
import torch
from torch import Tensor, nn

from calltag.learn.networks import network
from calltag.learn.networks.voice import LONGEST_STEPS, STEPS_AFTER, STEPS_AT_ONCE
from calltag.sound.features import N_VOICE
from calltag.sound.spectrum import N_MELS

log = logging.getLogger(__name__)

STEPS = 2500

CALLS_OF_EACH = 6
"""Calls of a type that it learns from at a time."""

_MAPS = (16, 32, 48)
_N_MOMENTS = 64
_N_HIDDEN = 96
_TYPES_AT_ONCE = 32
_EXAMPLES = (1, 2, 4)  # of those calls make the type's centre
# What calls of invented types have in common is only nearly what real ones have, so the network is
# held to rough features of it: many hidden units drop out, and what it sees is blurred.
_DROPPED = 0.2
_BLUR = 0.1
_DECAY = 0.02
_SEED = 0
_PACE = 3e-3
# More types than are invented: all calls of one higher or lower, slower or faster, or backwards.
_SHIFT_BANDS = 8
_BACKWARDS = 0.5
_PACED = 0.3
_PACE_SPREAD = 0.5  # natural logarithm


class VoiceNet(nn.Module):
    """Finds to numbers that tell their types apart.

    Layers of ever coarser steps and bands, then one that puts all bands together. Of what that
    finds in a call's moments the mean, the highest and the spread count, how the last differ from
    the first, and those between from all.
    """

    def __init__(self) -> None:
        super().__init__()
        few, some, many = _MAPS
        self.body = nn.Sequential(
            *_layer(2, few, (1, 2)),
            *_layer(few, some, (2, 2)),
            *_layer(some, many, (2, 2)),
            *_layer(many, many, (1, 1)),
        )
        self.squeeze = nn.Sequential(
            nn.Conv2d(many, _N_MOMENTS, (1, N_MELS // 8), bias=False),
            nn.BatchNorm2d(_N_MOMENTS),
            nn.ReLU(),
        )
        self.head = nn.Sequential(
            nn.Dropout(_DROPPED),
            nn.Linear(5 * _N_MOMENTS + 1, _N_HIDDEN),
            nn.ReLU(),
            nn.Dropout(_DROPPED),
            nn.Linear(_N_HIDDEN, N_VOICE),
        )

    def forward(self, x: Tensor, steps: Tensor) -> Tensor:
        """Describe finds, with silence after them.

        Parameters
        ----------
        x : torch.Tensor, shape (n, 2, n_steps, N_MELS)
            The finds; `n_steps` is a multiple of `STEPS_AT_ONCE`.
        steps : torch.Tensor, shape (n,)
            How many steps each of them has without the silence.

        Returns
        -------
        torch.Tensor, shape (n, N_VOICE)
            Their numbers.
        """
        moments = self.squeeze(self.body(x))[..., 0]
        at = torch.arange(moments.shape[2], device=x.device)
        there = (at[None] * STEPS_AT_ONCE < steps[:, None])[:, None].to(x.dtype)
        n = there.sum(2)
        mean = (moments * there).sum(2) / n
        highest = (moments * there).amax(2)
        apart = (moments - mean[:, :, None]) * there
        spread = (apart.square().sum(2) / n + 1e-4).sqrt()
        through = (at + 0.5) / n  # from 0, where the find begins, to 1
        early, late = (1 - through) * there[:, 0], through * there[:, 0]
        middle = 4 * early * late
        first, last, between = (
            (moments * weight[:, None]).sum(2) / weight.sum(1, keepdim=True)
            for weight in (early, late, middle)
        )
        length = torch.log2(steps)[:, None] - 4
        pooled = [mean, highest, spread, last - first, between - mean, length]
        numbers: Tensor = self.head(torch.cat(pooled, 1))
        return numbers


def _layer(inward: int, outward: int, stride: tuple[int, int]) -> list[nn.Module]:
    return [
        nn.Conv2d(inward, outward, 3, stride, 1, bias=False),
        nn.BatchNorm2d(outward),
        nn.ReLU(),
    ]


def teach_voice(
    patches: Sequence[npt.NDArray[np.floating]],
    codes: npt.NDArray[np.intp],
    *,
    steps: int = STEPS,
) -> VoiceNet:
    """Learn numbers that tell call types apart.

    Parameters
    ----------
    patches : sequence of np.ndarray, each of shape (2, n_steps, N_MELS)
        Calls, as `calltag.learn.networks.voice.patch` shows them.
    codes : np.ndarray, shape (n,), int
        Type of each, from 0; types of fewer than `CALLS_OF_EACH` are not used.
    steps : int
        Training steps.

    Returns
    -------
    VoiceNet
        The network, ready to be asked; the same calls give the same, on one machine.
    """
    torch.manual_seed(_SEED)
    rng = np.random.default_rng(_SEED)
    order = np.argsort(codes, kind="stable")
    types = np.split(order, np.cumsum(np.bincount(codes))[:-1])
    types = [calls for calls in types if len(calls) >= CALLS_OF_EACH]
    net = VoiceNet()
    sharpness = nn.Parameter(torch.tensor(0.0))
    optimiser = torch.optim.AdamW([*net.parameters(), sharpness], lr=_PACE, weight_decay=_DECAY)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, _PACE, total_steps=steps)
    net.train()
    known = 0.0
    for step in range(steps):
        some = rng.choice(len(types), min(_TYPES_AT_ONCE, len(types)), replace=False)
        calls = [
            torch.tensor(np.asarray(patches[i], np.float32))
            for type_ in some
            for i in rng.choice(types[type_], CALLS_OF_EACH, replace=False)
        ]
        changed = [
            one
            for first in range(0, len(calls), CALLS_OF_EACH)
            for one in _another_type(rng, calls[first : first + CALLS_OF_EACH])
        ]
        places = net(*_together(changed)).reshape(len(some), CALLS_OF_EACH, N_VOICE)
        n_examples = int(rng.choice(_EXAMPLES))
        centres = places[:, :n_examples].mean(1)
        others = places[:, n_examples:].reshape(-1, N_VOICE)
        own = torch.arange(len(some)).repeat_interleave(CALLS_OF_EACH - n_examples)
        closeness = -torch.cdist(others, centres).square() * torch.exp(sharpness) / N_VOICE
        loss = nn.functional.cross_entropy(closeness, own)
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        schedule.step()
        known += float((closeness.argmax(1) == own).float().mean())
        if step % 250 == 249:
            log.info("step %d: %.0f %% nearest to their own type", step + 1, known / 2.5)
            known = 0.0
    return net.eval()


def _another_type(rng: np.random.Generator, calls: list[Tensor]) -> list[Tensor]:
    """Change all calls of a type alike, so that they are calls of another."""
    bands = int(rng.integers(-_SHIFT_BANDS, _SHIFT_BANDS + 1))
    backwards = rng.random() < _BACKWARDS
    paced = rng.random() < _PACED
    factor = float(np.exp(rng.uniform(-_PACE_SPREAD, _PACE_SPREAD))) if paced else 1.0
    return [_changed(call, bands, factor, backwards=backwards) for call in calls]


def _changed(call: Tensor, bands: int, factor: float, *, backwards: bool) -> Tensor:
    """Move a call by so many bands, stretch it, and turn it round; the outermost band goes on."""
    if bands:
        edge = call[..., :1] if bands > 0 else call[..., -1:]
        beyond = edge.expand(*call.shape[:2], abs(bands))
        call = (
            torch.cat([beyond, call[..., :-bands]], 2)
            if bands > 0
            else torch.cat([call[..., -bands:], beyond], 2)
        )
    if factor != 1:
        n = int(np.clip(round(call.shape[1] * factor), 2, LONGEST_STEPS))
        call = nn.functional.interpolate(call.permute(0, 2, 1), size=n, mode="linear")
        call = call.permute(0, 2, 1)
    return call.flip(1) if backwards else call


def _together(calls: Sequence[Tensor]) -> tuple[Tensor, Tensor]:
    """Calls in one array, a little blurred, with silence after them, and the length of each."""
    steps = torch.tensor([call.shape[1] for call in calls])
    longest = int(steps.max()) + STEPS_AFTER
    x = torch.zeros(len(calls), 2, longest + -longest % STEPS_AT_ONCE, N_MELS)
    for i, call in enumerate(calls):
        x[i, :, : call.shape[1]] = call
    return x + _BLUR * torch.randn_like(x), steps.float()


def export(net: VoiceNet, path: Path) -> None:
    """Write a network as an ONNX file.

    Parameters
    ----------
    net : VoiceNet
        A taught network.
    path : Path
        The file.
    """
    given = {
        "patch": torch.zeros(1, 2, LONGEST_STEPS, N_MELS),
        "steps": torch.tensor([float(LONGEST_STEPS)]),
    }
    lengths = {"patch": {2: "steps_with_silence"}}
    network.export(net, path, given, ["numbers"], of_any_length=lengths)
