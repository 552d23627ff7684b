"""Loudness of all channels of a take, of which one is listened to.

The spectrum of the chosen channel is at hand. Channels that are that one at another level, as one
microphone on two tracks is, count by that level; of those that hold something else, as one full of
wind does, spectra are taken too, one in each tenth of a second: logging costs 3 % more by it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.sound.channels.channel_seconds import SILENT_POWER
from calltag.sound.loudness.meters import SpectrumLoudness, spectrum_weights
from calltag.sound.spectrum import FRAMES_PER_S, HOP, N_FFT, framed_power

_COPY = 0.999  # squared correlation from which on channels differ in level alone
# Samples apart: low frequencies, which change more slowly, fall out of differences; and so do
# multiples of 3 kHz with the first lag, which the second one keeps.
_LAGS = (16, 5)
_EVERY, _PIECE = 4800, 600  # samples: an eighth of each tenth of a second, at 48 kHz
_HOP = FRAMES_PER_S // 10 * HOP  # a step of the loudness


class TakeLoudness(SpectrumLoudness):
    """Integrated loudness and loudness range of all channels of a take that comes in blocks.

    Examples
    --------
    The second channel holds another tone, and so the loudness is 3 LU above that of one.

    >>> from calltag.sound.spectrum import power_spectrum
    >>> phase = 2 * np.pi * np.arange(20 * 48_000) / 48_000
    >>> block = 0.1 * np.sin(phase * [[997], [1003]]).astype(np.float32)
    >>> one, both = TakeLoudness(), TakeLoudness()
    >>> for meter, tracks in (one, block[:1]), (both, block):
    ...     meter.hear(tracks, 0, tracks[0])
    ...     meter.add(power_spectrum(tracks[0]), meter.gain)
    >>> round(both.integrated_lufs() - one.integrated_lufs(), 1)
    3.0
    """

    def __init__(self) -> None:
        super().__init__()
        self.gain = 1.0
        self._tail: FloatArray | None = None
        self._ahead = 0  # samples to come before the next frame
        self._beside: list[FloatArray] = []

    def hear(self, block: FloatArray, chosen: int, samples: FloatArray) -> None:
        """Listen to the channels beside the chosen one, and set `gain` for the block's frames.

        Parameters
        ----------
        block : np.ndarray, shape (n_channels, n_samples), float32
            The next block.
        chosen : int
            Index of the channel whose spectrum is at hand.
        samples : np.ndarray, shape (n_samples,), float32
            What was chosen of the block: that channel, or, where it was changed within the block,
            some of several.
        """
        if self._tail is None:
            self._tail = np.zeros((len(block), N_FFT // 2), np.float32)
        if np.shares_memory(samples, block):
            self.gain, others = beside(block, chosen)
        else:
            self.gain, others = 0.0, list(range(len(block)))
        rest = block[:, self._ahead :]
        self._ahead = max(0, self._ahead - block.shape[1])
        n_samples = self._tail.shape[1] + rest.shape[1]
        n_frames = max(0, 1 + (n_samples - N_FFT) // _HOP)
        weighted = np.zeros(n_frames, np.float32)
        for c in others:
            weighted += framed_power(rest[c], _HOP, self._tail[c]) @ spectrum_weights()
        self._beside.append(weighted)
        left = n_samples - n_frames * _HOP
        self._ahead += max(0, -left)
        tail = np.concatenate([self._tail, rest[:, max(0, rest.shape[1] - N_FFT) :]], axis=1)
        self._tail = tail[:, tail.shape[1] - max(0, left) :]

    def _step_energies(self) -> DoubleArray:
        energies = super()._step_energies().copy()
        frames = np.concatenate([*self._beside, np.zeros(1)])
        steps = (frames[:-1] + frames[1:]) / 2  # each stands for the time up to the next
        n = min(len(energies), len(steps))
        energies[:n] += steps[:n]
        return energies


def beside(block: npt.NDArray[Any], chosen: int) -> tuple[float, list[int]]:
    """Tell how the other channels of a block count beside a chosen one.

    Taken on an eighth of the samples and above the low frequencies, which the K-weighting leaves
    out too.

    Parameters
    ----------
    block : np.ndarray, shape (n_channels, n_samples), float
        Samples.
    chosen : int
        Index of the chosen channel.

    Returns
    -------
    gain : float
        Energy of the chosen channel and those that differ from it in level alone, over that of the
        chosen one: at least 1.
    others : list of int
        Channels that hold something else; silent ones are left out.
    """
    channels, n_samples = block.shape
    pieces = block[:, : n_samples // _EVERY * _EVERY].reshape(channels, -1, _EVERY)[:, :, :_PIECE]
    if not pieces.size:
        pieces = block[:, None]
    power = np.vecdot(pieces, pieces).sum(axis=1) / max(1, pieces[0].size)
    copy = np.ones(channels, bool)
    for lag in _LAGS:
        bent = pieces[:, :, lag:] - pieces[:, :, :-lag]
        energy = np.vecdot(bent, bent).sum(axis=1)
        likeness = np.vecdot(bent, bent[chosen]).sum(axis=1) ** 2
        copy &= (energy > 0) & (energy[chosen] > 0) & (likeness > _COPY * energy * energy[chosen])
        if copy.sum() <= 1:  # none but the chosen one itself
            break
    gain = 1.0
    others = []
    for c in range(channels):
        if c == chosen or power[c] < SILENT_POWER:
            continue
        if copy[c]:
            gain += float(energy[c] / energy[chosen])
        else:
            others.append(c)
    return gain, others
