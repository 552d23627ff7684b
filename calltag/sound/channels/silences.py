"""Digital silence in the channels of a take that comes in blocks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from calltag.arrays import FloatArray
from calltag.sound.channels.dropouts import DROPOUT_S, sounds, zero_runs

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
    runs : list of sequence of tuple of int
        In the last block, by channel: first sample and the one after the last of each run of zeros
        that may be a dropout, or touches an end of the block.
    """

    def __init__(self, rate_hz: int) -> None:
        self.runs: list[Sequence[tuple[int, int]]] = []
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

    def add(
        self, block: FloatArray, recorded: Mapping[int, Sequence[tuple[int, int]]] | None = None
    ) -> None:
        """Take in the next block.

        Parameters
        ----------
        block : np.ndarray, shape (n_channels, n_samples), float32
            The block; it follows on the one before.
        recorded : mapping of int to sequence of tuple of int, optional
            `runs` of channels that were recorded at another rate, as they were recorded there.
        """
        if not self._begun:
            self._begun = [None] * len(block)
            self._sounded = [False] * len(block)
        self._find_dropouts(block, recorded or {})
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

    def _find_dropouts(
        self, block: FloatArray, recorded: Mapping[int, Sequence[tuple[int, int]]]
    ) -> None:
        """Note stretches of digital silence that have sound on both sides."""
        least = round(DROPOUT_S * self.rate_hz)
        self.runs = [
            recorded[c] if c in recorded else list(zero_runs(row, least))
            for c, row in enumerate(block)
        ]
        for c, row in enumerate(block):
            if self._begun[c] is not None and not (self.runs[c] and self.runs[c][0][0] == 0):
                self._end_silence(c, self._at, sounds(row[:least]), least)
            for start, end in self.runs[c]:
                self._follow(c, row, (start, end), least)
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


class RecordedSilences:
    """Finds digital silence in channels as they were recorded, at another rate than the blocks.

    A change of rate rings for some milliseconds on both sides of every edge: in the blocks silence
    begins too late, ends too early, and is lost where it is short.

    Parameters
    ----------
    rate_hz : int
        Sampling rate of the blocks.

    Examples
    --------
    >>> sound = np.full((1, 96_000), 0.1, np.float32)
    >>> sound[:, 9600:11_520] = 0
    >>> silences = RecordedSilences(48_000)
    >>> silences.add(slice(0, 1), 0, sound, 96_000)
    >>> silences.within(0, 48_000)
    {0: [(4800, 5760)]}
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._rates_hz: dict[int, int] = {}
        self._ends: dict[int, int] = {}
        self._runs: dict[int, list[tuple[int, int]]] = {}

    def add(self, rows: slice, at: int, samples: FloatArray, rate_hz: int) -> None:
        """Take in sound as it was recorded; where nothing was, there is silence.

        Parameters
        ----------
        rows : slice
            The channels of the blocks that it is of.
        at : int
            Its first sample, counted at its own rate from the beginning of the take.
        samples : np.ndarray, shape (n_channels, n_samples), float32
            The sound.
        rate_hz : int
            Its sampling rate.
        """
        least = round(DROPOUT_S * rate_hz)
        for c, row in zip(range(rows.start, rows.stop), samples, strict=True):
            self._rates_hz[c] = rate_hz
            ended, self._ends[c] = self._ends.get(c, 0), at + len(row)
            known = self._runs.setdefault(c, [])
            new = [(ended, at)] if at > ended else []
            new += [(at + a, at + b) for a, b in zero_runs(np.ascontiguousarray(row), least)]
            for start, end in new:
                if known and known[-1][1] == start:
                    known[-1] = (known[-1][0], end)
                else:
                    known.append((start, end))

    def within(self, first: int, n_samples: int) -> dict[int, list[tuple[int, int]]]:
        """Tell of the next block where it is silent.

        Parameters
        ----------
        first, n_samples : int
            Its first sample, and its length.

        Returns
        -------
        dict of int to list of tuple of int
            By channel, of those that were recorded so: as `Silences.runs`.
        """
        return {c: list(self._of(c, first, n_samples)) for c in self._runs}

    def _of(self, channel: int, first: int, n_samples: int) -> Iterator[tuple[int, int]]:
        """Runs of one channel in samples of a block; what lies before it is forgotten."""
        scale = self._rate_hz / self._rates_hz[channel]
        ended = self._ends[channel]
        known = self._runs[channel] = [
            (a, b) for a, b in self._runs[channel] if b == ended or b * scale > first
        ]
        runs = [(round(a * scale), round(b * scale)) for a, b in known]
        last, after = round(ended * scale), first + n_samples
        if last < after:  # nothing was recorded from there on
            if runs and runs[-1][1] == last:
                runs[-1] = (runs[-1][0], after)
            elif last < after - 1:  # one sample is but rounding
                runs.append((last, after))
        for start, end in runs:
            a, b = max(0, start - first), min(n_samples, end - first)
            if b > a and (b - a >= DROPOUT_S * self._rate_hz or a == 0 or b == n_samples):
                yield a, b
