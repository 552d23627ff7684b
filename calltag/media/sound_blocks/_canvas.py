"""Where the sound of a take is put together: blocks, and the rows of them that a stream fills."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import gcd
from typing import Any, Protocol, TypeAlias

import numpy as np
import numpy.typing as npt
import soxr

from calltag.arrays import FloatArray

GATHER_SAMPLES = 65_536
"""Samples gathered before they are turned into numbers: a buffer that stays in the cache."""

WARM_UP_S = 0.5
"""Decoded before a span, so that a decoder that looks back has what it needs."""

_SILENT_SAMPLES = 1024  # so many at a time follow on a stream that is not waited for

_QUALITY = "HQ"
"""soxr's: errors at -124 dB; VHQ costs half as much again, for what 32-bit floats cannot hold."""

Piece = Sequence[npt.NDArray[Any]]
"""Samples of each channel, as they were decoded."""

Listener: TypeAlias = Callable[[slice, int, FloatArray, int], None]
"""Is given sound as it was recorded: its rows in the blocks, its first sample, counted at its own
rate from the beginning of the take, its samples of shape (n_channels, n_samples) with full scale at
±1, and its rate."""


class Filling(Protocol):
    """One stream that fills rows of the canvas."""

    rows: slice

    @property
    def end(self) -> int:
        """Where what was written ends, in samples of the canvas."""
        ...


class Canvas:
    """Where the tracks write their rows: the present block and those begun after it."""

    def __init__(self, n_channels: int, block_n: int, start: int = 0) -> None:
        self.n_channels = n_channels
        self.block_n = block_n
        self.start = start
        self._blocks: list[FloatArray] = []

    def spans(self, at: int, n: int, rows: slice) -> Iterator[tuple[slice, FloatArray]]:
        """Cut a stretch at the blocks' borders: part of the stretch, and where it belongs."""
        done = max(0, self.start - at)
        while done < n:
            i, inside = divmod(at + done - self.start, self.block_n)
            while len(self._blocks) <= i:
                self._blocks.append(self._new())
            length = min(n - done, self.block_n - inside)
            yield slice(done, done + length), self._blocks[i][rows, inside : inside + length]
            done += length

    def silence(self, at: int, end: int, rows: slice) -> None:
        """Fill a stretch that nothing is written to."""
        for _, place in self.spans(at, end - at, rows):
            place[:] = 0.0

    def take(self, tracks: Sequence[Filling], end: int | None = None) -> FloatArray:
        """Hand out the present block, cut off at `end`, and go on to the next."""
        full = self.start + self.block_n
        last = full if end is None else min(full, end)
        for track in tracks:
            self.silence(track.end, last, track.rows)
        block = self._blocks.pop(0) if self._blocks else self._new()
        n = last - self.start
        self.start = full
        return block if n == self.block_n else block[:, :n].copy()

    def _new(self) -> FloatArray:
        # Not zeroed: every row is written to, if only with silence.
        return np.empty((self.n_channels, self.block_n), np.float32)


class Sink(Protocol):
    """Takes pieces of one stream at their place, counted in the stream's own samples."""

    @property
    def end(self) -> int:
        """Where what was written ends, in samples of the canvas."""
        ...

    def write(self, at: int, n: int, piece: Piece, scale: float) -> None:
        """Write n samples that begin at one of the stream's; `scale` brings them to ±1."""
        ...

    def fill(self, end: int) -> None:
        """Write what is held back, and silence at least up to a sample of the canvas."""
        ...

    def finish(self) -> None:
        """Write what is left; nothing comes after it."""
        ...


class Rows:
    """Rows of the canvas that have the stream's own rate."""

    def __init__(self, canvas: Canvas, rows: slice) -> None:
        self._canvas, self._rows = canvas, rows
        self.end = canvas.start

    def write(self, at: int, n: int, piece: Piece, scale: float) -> None:
        self._canvas.silence(self.end, at, self._rows)
        for part, place in self._canvas.spans(at, n, self._rows):
            for samples, row in zip(piece, place, strict=True):
                _scale(samples[part], scale, row)
        self.end = max(self.end, at + n)

    def fill(self, end: int) -> None:
        self._canvas.silence(self.end, end, self._rows)
        self.end = max(self.end, end)

    def finish(self) -> None:
        pass


class ResampledRows:
    """Rows of the canvas that have another rate than the stream."""

    def __init__(
        self,
        canvas: Canvas,
        rows: slice,
        rate_hz: int,
        to_hz: int,
        from_s: float,
        recorded: Listener | None = None,
    ) -> None:
        self._canvas, self._rows = canvas, rows
        self._rate_hz, self._recorded = rate_hz, recorded
        # Begin where samples of both rates coincide, so that a span has the samples of the whole.
        step = rate_hz // gcd(rate_hz, to_hz)
        self._next = max(0, int((from_s - WARM_UP_S) * rate_hz) // step * step)
        self.end = self._next * to_hz // rate_hz
        self._n_channels = rows.stop - rows.start
        self._resampler = soxr.ResampleStream(
            rate_hz, to_hz, self._n_channels, dtype="float32", quality=_QUALITY
        )

    def write(self, at: int, n: int, piece: Piece, scale: float) -> None:
        while at > self._next:
            gap = min(at - self._next, GATHER_SAMPLES)
            self._push(np.zeros((gap, self._n_channels), np.float32))
        early = self._next - at  # what lies before a span, or in what is filled, is left out
        if early >= n:
            return
        numbers = np.empty((n - early, self._n_channels), np.float32)
        for samples, column in zip(piece, numbers.T, strict=True):
            _scale(samples[early:], scale, column)
        if self._recorded is not None:
            self._recorded(self._rows, self._next, numbers.T, self._rate_hz)
        self._push(numbers)

    def fill(self, end: int) -> None:
        while self.end < end:
            self._push(np.zeros((_SILENT_SAMPLES, self._n_channels), np.float32))

    def finish(self) -> None:
        self._push(np.zeros((0, self._n_channels), np.float32), last=True)

    def _push(self, numbers: FloatArray, *, last: bool = False) -> None:
        self._next += len(numbers)
        out = self._resampler.resample_chunk(numbers, last=last).reshape(-1, self._n_channels).T
        for part, place in self._canvas.spans(self.end, out.shape[1], self._rows):
            place[:] = out[:, part]
        self.end += out.shape[1]


def _scale(samples: npt.NDArray[Any], scale: float, row: FloatArray) -> None:
    """Write samples of any type to a row, full scale at ±1."""
    if samples.dtype == np.uint8:
        np.subtract(samples, 128, out=row, casting="unsafe", dtype=np.float32)
        row *= np.float32(scale)
    elif scale == 1.0:
        row[:] = samples
    else:
        np.multiply(samples, np.float32(scale), out=row, casting="unsafe", dtype=np.float32)
