"""The starter model: two networks of different designs, which err at different moments.

The first tells odds of calls and noise kinds all the time, and describes each moment for the call
types. The second follows each band through time before it mixes them; it is asked where the first
is in doubt, and the odds of both are averaged (`calltag.learn.networks.starter_model`).
"""

from __future__ import annotations

from pathlib import Path

import torch
from torch import Tensor, nn

from calltag.learn.networks import network
from calltag.records.label import NOISE_KINDS
from calltag.sound.features import N_EMBEDDING
from calltag.sound.spectrum import N_MELS


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


class _Along(nn.Module):
    """Follows each band through time, with its neighbours, alike in all of them."""

    def __init__(self, channels: int, dilation: int) -> None:
        super().__init__()
        self.layers = nn.Sequential(
            nn.Conv2d(
                channels,
                channels,
                (5, 3),
                padding=(2 * dilation, 1),
                dilation=(dilation, 1),
                groups=channels,
            ),
            nn.BatchNorm2d(channels),
            nn.ReLU(),
            nn.Conv2d(channels, channels, 1),
            nn.BatchNorm2d(channels),
        )

    def forward(self, x: Tensor) -> Tensor:
        """Add what comes before and after."""
        return torch.relu(x + self.layers(x))


def _conv(inward: int, outward: int, kernel: tuple[int, int], stride: tuple[int, int]) -> nn.Module:
    padding = (kernel[0] // 2, kernel[1] // 2)
    return nn.Sequential(
        nn.Conv2d(inward, outward, kernel, stride, padding), nn.BatchNorm2d(outward), nn.ReLU()
    )


class Net(nn.Module):
    """Mel levels to log-odds of call and noise kinds, every second frame.

    Parameters
    ----------
    along : bool
        Whether each band is followed through time before all are mixed, and the loudest of them
        is told beside them.
    """

    def __init__(self, *, along: bool = False) -> None:
        super().__init__()
        self._along = along
        self.front = nn.Sequential(
            _conv(2, 16, (5, 5), (2, 2)),
            _conv(16, 24, (3, 3), (1, 2)),
            _conv(24, 32, (3, 3), (1, 2)),
            *[_Along(32, dilation) for dilation in (1, 2, 4, 8) if along],
        )
        n_bands = N_MELS // 8 + along
        self.squeeze = nn.Sequential(
            nn.Conv1d(32 * n_bands, N_EMBEDDING, 1), nn.BatchNorm1d(N_EMBEDDING), nn.ReLU()
        )
        self.context = nn.Sequential(*[_Context(N_EMBEDDING, d) for d in (1, 2, 4, 8, 16, 1)])
        self.drop = nn.Dropout(0.1)
        self.head = nn.Conv1d(N_EMBEDDING, 1 + len(NOISE_KINDS), 1)

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        """Compute log-odds of call, of noise kinds, and the embedding."""
        maps = self.front(x)  # batch, maps, steps, bands
        flat = maps.permute(0, 1, 3, 2).flatten(1, 2)
        if self._along:
            flat = torch.cat([flat, maps.amax(dim=3)], dim=1)
        embedding = self.context(self.squeeze(flat))
        odds = self.head(self.drop(embedding))
        return odds[:, 0], odds[:, 1:].transpose(1, 2), embedding.transpose(1, 2)


def export(net: Net, path: Path) -> None:
    """Write the network as an ONNX file.

    Parameters
    ----------
    net : Net
        A trained network.
    path : Path
        The file.
    """
    lengths = {
        "level": {2: "frames"},
        "call": {1: "steps"},
        "kinds": {1: "steps"},
        "embedding": {1: "steps"},
    }
    given = {"level": torch.zeros(1, 2, 200, N_MELS)}
    network.export(net, path, given, ["call", "kinds", "embedding"], of_any_length=lengths)
