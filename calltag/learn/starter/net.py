"""The starter model's network, and its training."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.utils.data import DataLoader, IterableDataset, get_worker_info

from calltag.learn.hearing import N_EMBEDDING, model_input
from calltag.learn.starter.compose import Bank, compose
from calltag.records import NOISE_KINDS
from calltag.sound.floor import noise_floor_db
from calltag.sound.spectrum import N_MELS

log = logging.getLogger(__name__)


_PACE = 3e-3
_KINDS_COUNT = 0.5
_SORTS_COUNT = 2.0  # there are many, most of them silent, so that each counts little


class _Context(nn.Module):
    """Looks further back and ahead, channel by channel, then mixes the channels."""

    def __init__(self, channels: int, dilation: int) -> None:
        super().__init__()
        self.layers = nn.Sequential(
            nn.Conv1d(
                channels, channels, 5, padding=2 * dilation, dilation=dilation, groups=channels
            ),
            nn.BatchNorm1d(channels),
            nn.ReLU(),
            nn.Conv1d(channels, channels, 1),
            nn.BatchNorm1d(channels),
        )

    def forward(self, x: Tensor) -> Tensor:
        """Add what the context says."""
        return torch.relu(x + self.layers(x))


def _conv(inward: int, outward: int, kernel: tuple[int, int], stride: tuple[int, int]) -> nn.Module:
    padding = (kernel[0] // 2, kernel[1] // 2)
    return nn.Sequential(
        nn.Conv2d(inward, outward, kernel, stride, padding), nn.BatchNorm2d(outward), nn.ReLU()
    )


class Net(nn.Module):
    """Mel levels to log-odds of call and noise kinds, every second frame."""

    def __init__(self) -> None:
        super().__init__()
        self.front = nn.Sequential(
            _conv(2, 16, (5, 5), (2, 2)),
            _conv(16, 24, (3, 3), (1, 2)),
            _conv(24, 32, (3, 3), (1, 2)),
        )
        self.squeeze = nn.Sequential(
            nn.Conv1d(32 * N_MELS // 8, N_EMBEDDING, 1), nn.BatchNorm1d(N_EMBEDDING), nn.ReLU()
        )
        self.context = nn.Sequential(*[_Context(N_EMBEDDING, d) for d in (1, 2, 4, 8, 16, 1)])
        self.drop = nn.Dropout(0.1)
        self.head = nn.Conv1d(N_EMBEDDING, 1 + len(NOISE_KINDS), 1)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        """Compute log-odds of call, of noise kinds, and the embedding."""
        maps = self.front(x)  # batch, channels, steps, bands
        flat = maps.permute(0, 1, 3, 2).flatten(1, 2)
        embedding = self.context(self.squeeze(flat))
        odds = self.head(self.drop(embedding))
        return odds[:, 0], odds[:, 1:].transpose(1, 2), embedding.transpose(1, 2)


class _Scenes(IterableDataset[tuple[Tensor, ...]]):
    """Scenes without end; each loading process draws its own."""

    def __init__(self, bank: Bank, seed: int) -> None:
        self._bank, self._seed = bank, seed

    def __iter__(self) -> Iterator[tuple[Tensor, ...]]:
        worker = get_worker_info()
        rng = np.random.default_rng([self._seed, worker.id if worker else 0])
        while True:
            level_db, *targets = compose(rng, self._bank)
            x = model_input(level_db, noise_floor_db(level_db))
            yield tuple(torch.from_numpy(part) for part in (x, *targets))


def train(bank: Bank, *, steps: int, batch: int = 16, seed: int = 0) -> Net:
    """Train a network.

    Beside calls and kinds of noise it learns to tell sorts (a rotor and a saw are both machines),
    by a head that is not kept: what it hears is the better for it.

    Parameters
    ----------
    bank : Bank
        What scenes are composed from.
    steps : int
        Training steps.
    batch : int
        Scenes in each.
    seed : int
        Seed of everything random.

    Returns
    -------
    Net
        The trained network, ready to evaluate.
    """
    torch.manual_seed(seed)
    net = Net().train().to(memory_format=torch.channels_last)
    sort_head = nn.Linear(N_EMBEDDING, len(bank.sorts))
    parameters = [*net.parameters(), *sort_head.parameters()]
    optimiser = torch.optim.AdamW(parameters, lr=_PACE, weight_decay=1e-3)
    schedule = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, _PACE, total_steps=steps, pct_start=0.1
    )
    bce = nn.functional.binary_cross_entropy_with_logits
    mean_loss, started = 0.0, time.monotonic()
    scenes = DataLoader(_Scenes(bank, seed), batch, num_workers=1, prefetch_factor=4)
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


def export(net: Net, path: Path) -> None:
    """Write the network as an ONNX file.

    Parameters
    ----------
    net : Net
        A trained network.
    path : Path
        The file.
    """
    torch.onnx.export(
        net,
        (torch.zeros(1, 2, 200, N_MELS),),
        str(path),
        input_names=["level"],
        output_names=["call", "kinds", "embedding"],
        dynamic_axes={
            "level": {2: "frames"},
            "call": {1: "steps"},
            "kinds": {1: "steps"},
            "embedding": {1: "steps"},
        },
        opset_version=17,
        dynamo=False,
    )
