"""Digital silence in the channels of a take that comes in blocks."""

from __future__ import annotations

from collections.abc import Mapping

from calltag.arrays import FloatArray
from calltag.sound.dropouts import DROPOUT_S, ZERO, sounds, zero_runs

DEAD_S = 0.5
"""Silence of all channels that is shorter is not told, and that of one is no reason to leave it."""


class Silences:
    """Finds where channels are silent, over the borders of blocks.

    Parameters
    ----------
    rate_hz : int
        Sampling rate of the blocks.

    Attributes
    ----------
    rate_hz : int
        Sampling rate of the blocks.
    runs : list of list of tuple of int
        In the last block, by channel: first sample and the one after the last of each run of zeros
        that may be a dropout, or touches an end of the block.
    """

    def __init__(self, rate_hz: int) -> None:
        self.runs: list[list[tuple[int, int]]] = []
        self.rate_hz = rate_hz
        self._at = 0
        self._begun: list[tuple[int, bool] | None] = []
        self._sounded: list[bool] = []
        self._dropouts: dict[tuple[int, int], list[int]] = {}
        self._mute: list[tuple[int, int]] = []

    @property
    def n_samples(self) -> int:
        """Samples of each channel so far."""
        return self._at

    @property
    def dropouts(self) -> Mapping[tuple[int, int], list[int]]:
        """Channels, from 0, of each silence with sound on both sides: its first sample, its end."""
        return self._dropouts

    def add(self, block: FloatArray) -> None:
        """Take in the next block.

        Parameters
        ----------
        block : np.ndarray, shape (n_channels, n_samples), float32
            The block; it follows on the one before.
        """
        if not self._begun:
            self._begun = [None] * len(block)
            self._sounded = [False] * len(block)
        self._find_dropouts(block)
        self._find_mute(block.shape[1])
        self._at += block.shape[1]

    def begun_at(self, channel: int) -> int | None:
        """Tell since when a channel is silent.

        Parameters
        ----------
        channel : int
            Counted from 0.

        Returns
        -------
        int or None
            First sample of the silence that it ends with; None where it ends with sound.
        """
        begun = self._begun[channel]
        return None if begun is None else begun[0]

    def mute(self) -> list[tuple[int, int]]:
        """Tell where every channel was silent, for long enough to be told.

        Returns
        -------
        list of tuple of int
            First sample of each stretch, and the first after it, in order.
        """
        return [(a, b) for a, b in self._mute if b - a >= DEAD_S * self.rate_hz]

    def _find_dropouts(self, block: FloatArray) -> None:
        """Note stretches of digital silence that have sound on both sides."""
        least = round(DROPOUT_S * self.rate_hz)
        self.runs = [list(zero_runs(row, least)) for row in block]
        for c, row in enumerate(block):
            for start, end in self.runs[c]:
                self._follow(c, row, (start, end), least)
            begun = self._begun[c]
            if begun is not None and begun[0] < self._at and abs(float(row[0])) > ZERO:
                self._end_silence(c, self._at, sounds(row[:least]), least)
            self._sounded[c] = sounds(row[-least:])

    def _follow(self, channel: int, row: FloatArray, run: tuple[int, int], least: int) -> None:
        """Note that a silence begins in a block, goes on from the one before, or ends in it."""
        start, end = run
        if start or self._begun[channel] is None:
            sounded = sounds(row[max(0, start - least) : start])
            if start < least:
                sounded |= self._sounded[channel]
            self._begun[channel] = (self._at + start, sounded)
        if end < len(row):
            self._end_silence(channel, self._at + end, sounds(row[end : end + least]), least)

    def _find_mute(self, n: int) -> None:
        """Note where every channel of a block of `n` samples is silent, joined over its borders."""
        least = DEAD_S * self.rate_hz
        common = [(0, n)]
        for row in self.runs:
            long = [(a, b) for a, b in row if b - a >= least or a == 0 or b == n]
            common = [(max(a, c), min(b, d)) for a, b in common for c, d in long if a < d and c < b]
        for start, end in ((self._at + a, self._at + b) for a, b in common):
            if self._mute and self._mute[-1][1] == start:
                self._mute[-1] = (self._mute[-1][0], end)
            else:
                self._mute.append((start, end))

    def _end_silence(self, channel: int, end: int, sounding: bool, least: int) -> None:
        begun = self._begun[channel]
        self._begun[channel] = None
        if begun is not None and begun[1] and sounding and end - begun[0] >= least:
            self._dropouts.setdefault((begun[0], end), []).append(channel)
