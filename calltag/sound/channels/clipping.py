"""Peaks and clipped samples of a take that comes in blocks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from scipy.linalg.blas import isamax

from calltag.arrays import FloatArray
from calltag.sound.runs import runs

_FULL = 0.999
"""From this part of the highest sample on, a sample is at full scale."""

_CLIP_RUN = 3


class PeakMeter:
    """The highest sample of a take, and how many samples of each channel are clipped.

    Parameters
    ----------
    rate_hz : int
        Sampling rate of the blocks.
    floats : bool
        Whether the file holds floats, which go above full scale unharmed: then only flat tops are
        clipped, in others all that is above it.
    highest : float
        Highest sample that the file can hold, full scale at 1.

    Attributes
    ----------
    peak : float
        The highest sample of any channel so far, as it was recorded, full scale at 1.
    clipped : np.ndarray, shape (n_channels,), int64
        Samples in runs at full scale so far, as they were recorded; empty before the first block.

    Examples
    --------
    >>> meter = PeakMeter(48_000)
    >>> meter.add(np.array([[0.5, 1.0, 1.0, 1.0, 0.25]], np.float32)).tolist(), meter.peak
    ([3], 1.0)
    """

    def __init__(self, rate_hz: int, *, floats: bool = False, highest: float = 1.0) -> None:
        self.peak = 0.0
        self.clipped = np.zeros(0, np.int64)
        self._rate_hz = rate_hz
        self._floats = floats
        self._highest = highest
        self._recorded: dict[int, int] = {}  # clipped samples of channels of another rate,
        self._untold: dict[int, float] = {}  # and those, at the blocks' rate, that no block told of

    def note_recorded(self, rows: slice, samples: FloatArray, rate_hz: int) -> None:
        """Take in sound as it was recorded, at another rate than that of the blocks.

        Neither flat tops nor peaks survive a change of rate: so channels that are heard so are
        measured here alone, piece by piece, and not in the blocks.

        Parameters
        ----------
        rows : slice
            The channels of the next block that it is of.
        samples : np.ndarray, shape (n_channels, n_samples), float32
            The sound.
        rate_hz : int
            Its sampling rate.
        """
        for c, row in zip(range(rows.start, rows.stop), samples, strict=True):
            peak, clipped = self._measured(np.ascontiguousarray(row), rate_hz)
            self.peak = max(self.peak, peak)
            self._recorded[c] = self._recorded.get(c, 0) + clipped
            self._untold[c] = self._untold.get(c, 0.0) + clipped * self._rate_hz / rate_hz

    def add(self, block: FloatArray) -> npt.NDArray[np.int64]:
        """Take in the next block; samples are counted where its peak is at full scale.

        Parameters
        ----------
        block : np.ndarray, shape (n_channels, n_samples), float32
            The block.

        Returns
        -------
        np.ndarray, shape (n_channels,), int64
            How many samples of it are clipped; of another rate, as many as last so long.
        """
        clipped = np.zeros(len(block), np.int64)
        for c, row in enumerate(block):
            if c in self._untold:
                clipped[c] = round(self._untold[c])
                self._untold[c] -= clipped[c]
            else:
                peak, clipped[c] = self._measured(row, self._rate_hz)
                self.peak = max(self.peak, peak)
        self.clipped = self.clipped + clipped if len(self.clipped) else clipped.copy()
        for c, recorded in self._recorded.items():
            self.clipped[c] = recorded
        return clipped

    def _measured(self, row: FloatArray, rate_hz: int) -> tuple[float, int]:
        """Highest sample of one channel, and how many are clipped."""
        highest = 0.0
        hot: list[int] = []  # seconds that reach full scale
        for start in range(0, len(row), rate_hz):
            second = row[start : start + rate_hz]
            peak = abs(float(second[isamax(second)]))
            highest = max(highest, peak)
            if peak >= _FULL * self._highest:
                hot.append(start)
        return highest, sum(
            _count_clipped(row[start:end], floats=self._floats, highest=self._highest)
            for start, end in _joined(hot, rate_hz)
        )


def _joined(starts: list[int], length: int) -> Iterator[tuple[int, int]]:
    """Join stretches of one length that follow on each other."""
    begun: int | None = None
    for i, start in enumerate(starts):
        begun = start if begun is None else begun
        if i + 1 == len(starts) or starts[i + 1] != start + length:
            yield begun, start + length
            begun = None


def _count_clipped(row: FloatArray, *, floats: bool, highest: float) -> int:
    """Count samples in runs of three and more that are equal at full scale, or over it.

    A codec, or another sampling rate, makes peaks above full scale of what was clipped there.
    """
    high = np.abs(row)
    hot = high >= _FULL * highest
    over = high >= highest
    linked = hot[1:] & (row[1:] == row[:-1])
    if not floats:
        linked |= over[1:] & over[:-1] & (row[1:] * row[:-1] > 0)
    lengths = (after - first + 1 for first, after in runs(linked))
    return sum(length for length in lengths if length >= _CLIP_RUN)
