"""Training the starter model's networks, on scenes that are composed while it goes on."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator

import numpy as np
import torch
from torch import Tensor, nn
from torch.utils.data import DataLoader, IterableDataset, get_worker_info

from calltag.learn.networks.starter_model import model_input
from calltag.learn.starter.compose import SCENE_FRAMES, Bank, compose
from calltag.learn.starter.net import Net
from calltag.sound.features import N_EMBEDDING
from calltag.sound.floor import noise_floor_db

log = logging.getLogger(__name__)

SCENES_AT_ONCE = 16
"""Scenes in a training step."""

_PACE = 3e-3
_KINDS_COUNT = 0.5
_SORTS_COUNT = 2.0  # there are many, most of them silent, so that each counts little


class _Scenes(IterableDataset[tuple[Tensor, ...]]):
    """Scenes without end; each loading process draws its own."""

    def __init__(self, bank: Bank, seed: int, n_frames: int) -> None:
        self._bank, self._seed, self._n_frames = bank, seed, n_frames

    def __iter__(self) -> Iterator[tuple[Tensor, ...]]:
        worker = get_worker_info()
        rng = np.random.default_rng([self._seed, worker.id if worker else 0])
        while True:
            level_db, *targets = compose(rng, self._bank, n_frames=self._n_frames)
            x = model_input(level_db, noise_floor_db(level_db))
            yield tuple(torch.from_numpy(part) for part in (x, *targets))


def train(
    bank: Bank,
    *,
    steps: int,
    scenes_at_once: int = SCENES_AT_ONCE,
    n_frames: int = SCENE_FRAMES,
    seed: int = 0,
    along: bool = False,
) -> Net:
    """Train a network.

    Beside calls and kinds of noise it learns to tell sorts (a rotor and a saw are both machines),
    by a head that is not kept: what it hears is the better for it.

    Parameters
    ----------
    bank : Bank
        What scenes are composed from.
    steps : int
        Training steps.
    scenes_at_once : int
        Scenes in each.
    n_frames : int
        Length of such a scene.
    seed : int
        Seed of everything random.
    along : bool
        Which design, see `Net`.

    Returns
    -------
    Net
        The trained network, ready to evaluate.
    """
    torch.manual_seed(seed)
    net = Net(along=along).train().to(memory_format=torch.channels_last)
    sort_head = nn.Linear(N_EMBEDDING, len(bank.sorts))
    parameters = [*net.parameters(), *sort_head.parameters()]
    optimiser = torch.optim.AdamW(parameters, lr=_PACE, weight_decay=1e-3)
    schedule = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, _PACE, total_steps=steps, pct_start=0.1
    )
    bce = nn.functional.binary_cross_entropy_with_logits
    mean_loss, started = 0.0, time.monotonic()
    scenes = DataLoader(
        _Scenes(bank, seed, n_frames), scenes_at_once, num_workers=1, prefetch_factor=4
    )
    for step, (x, call, kinds, sorts, weight) in zip(range(steps), scenes, strict=False):
        call_odds, kind_odds, embedding = net(x.to(memory_format=torch.channels_last))
        sort_odds = sort_head(net.drop(embedding))
        loss = bce(call_odds, call, weight=weight) + _KINDS_COUNT * bce(kind_odds, kinds)
        loss = loss + _SORTS_COUNT * bce(sort_odds, sorts)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(parameters, 2.0)
        optimiser.step()
        schedule.step()
        mean_loss = 0.98 * mean_loss + 0.02 * float(loss.detach()) if step else float(loss.detach())
        if step % 50 == 49:
            log.info("step %d: loss %.4f, %.0f s", step + 1, mean_loss, time.monotonic() - started)
    return net.eval()
