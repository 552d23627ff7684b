"""What lining up needs to know of a take's sound: its outline, and the sound itself, evened out.

The outline says how each band rises and falls, a hundred times a second, against its own quiet
level: it finds roughly where two takes agree, even if they are hours long. The evened sound tells
the place to a fraction of a millisecond: at every moment, each frequency counts by how far it
stands above its own noise, loud ones little more than others [1]_. Neither knows how loud the take
is.

The evened sound is kept as 10 000 complex numbers a second, each part one byte, which is what the
band from 200 Hz to 10.2 kHz needs: 72 MB an hour.

References
----------
.. [1] C. H. Knapp and G. C. Carter, "The generalized correlation method for estimation of time
   delay", IEEE Transactions on Acoustics, Speech, and Signal Processing 24(4), 1976, pp. 320-327:
   weights before a correlation, among them those that follow from the ratio of signal to noise.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import scipy.fft
from scipy.ndimage import uniform_filter1d

from calltag.arrays import FloatArray
from calltag.errors import MediaError
from calltag.media.sound_blocks.reader import SoundReader
from calltag.sound.channels.choosing import Chooser
from calltag.sound.spectrum import FRAMES_PER_S, RATE_HZ, mel_centres_hz, mel_power, power_frames

EVEN_RATE_HZ = 10_000
"""Complex numbers a second of the evened sound: its bandwidth."""

LOW_HZ = 200
"""Lower edge of the evened sound; below it are wind and handling."""

N_BANDS = 20
"""Bands of the outline."""

_OUTLINE_HZ = (250.0, 11_000.0)
_HALF = 5.0  # power, in mean powers of noise, that keeps half its amplitude
_LOUDER = 0.15  # amplitude grows with this power of power: 3 dB for a sound 20 dB louder
_LOUDEST = 1e6  # in mean powers of noise; digital silence has none
_STEPS = 16.0  # of a byte to amplitude 1
_FLOOR_S = 5.0  # the quiet level of a band is found in pieces of this length
_QUIET = 0.2  # share of a piece that is quieter than that level
_STANDS_OUT = 2.0  # power, in quiet levels, from which on the outline grows with its logarithm
_SLOW_S = 1.0  # changes slower than this are left out: they are weather, not events
_MOST = 3.0  # in deviations; a bang counts no more than a call

Complex = npt.NDArray[np.complex64]


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """What lining up needs to know of a take's sound.

    Attributes
    ----------
    outline : np.ndarray, shape (n_frames, N_BANDS), float32
        Rise and fall of each band, `FRAMES_PER_S` frames a second.
    even : np.ndarray, shape (n, 2), int8
        Real and imaginary part of the evened sound, `EVEN_RATE_HZ` a second.
    """

    outline: FloatArray
    even: npt.NDArray[np.int8]

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.even) / EVEN_RATE_HZ

    def sound(self, first: int, end: int) -> Complex:
        """Return a stretch of the evened sound.

        Parameters
        ----------
        first, end : int
            Its first number and the first after it; what lies outside the take is zero.

        Returns
        -------
        np.ndarray, shape (end - first,), complex64
            The evened sound.
        """
        out = np.zeros(end - first, np.complex64)
        inside = self.even[max(first, 0) : max(end, 0)].astype(np.float32)
        start = max(-first, 0)
        out[start : start + len(inside)] = inside.view(np.complex64)[:, 0]
        return out


def trace_take(path: Path) -> Trace:
    """Go through the sound of a take.

    Parameters
    ----------
    path : Path
        The take.

    Returns
    -------
    Trace
        Of the channel that is best to listen to.

    Raises
    ------
    MediaError
        If the file cannot be read, or has no sound.
    """
    chooser = Chooser(RATE_HZ)
    trace = trace_blocks(chooser.choose(block) for block in SoundReader(path, rate_hz=RATE_HZ))
    if not len(trace.even):
        raise MediaError(path, "has no sound, so it cannot be lined up by sound; use its timecode")
    return trace


def trace_blocks(blocks: Iterable[FloatArray]) -> Trace:
    """Go through a sound that comes in blocks.

    Parameters
    ----------
    blocks : iterable of np.ndarray, shape (n_samples,), float32
        Consecutive stretches of one channel at 48 kHz.

    Returns
    -------
    Trace
        Of the whole.
    """
    evener = _Evener()
    bands = [mel_power(power) @ _pooling() for power in power_frames(evener.listen(blocks))]
    levels = np.concatenate(bands) if bands else np.zeros((0, N_BANDS), np.float32)
    even = evener.finish()
    return Trace(_outline(levels[: -(-len(even) * FRAMES_PER_S // EVEN_RATE_HZ)]), even)


def _pooling() -> FloatArray:
    """Weights from mel bands to bands of the outline."""
    centres_hz = mel_centres_hz()
    low, high = _OUTLINE_HZ
    inside = np.flatnonzero((centres_hz >= low) & (centres_hz < high))
    weights = np.zeros((len(centres_hz), N_BANDS), np.float32)
    for band, members in enumerate(np.array_split(inside, N_BANDS)):
        weights[members, band] = 1.0
    return weights


def _outline(power: FloatArray) -> FloatArray:
    """Events of each band against its quiet level, of deviation 1 over the take."""
    n = len(power)
    if n == 0:
        return power
    power = power + np.float32(1e-11)
    edges = np.linspace(0, n, max(1, round(n / (_FLOOR_S * FRAMES_PER_S))) + 1).astype(int)
    quiet = np.log([np.quantile(power[a:b], _QUIET, axis=0) for a, b in pairwise(edges.tolist())])
    centres = (edges[1:] + edges[:-1]) / 2
    outline = np.empty_like(power)
    for band in range(power.shape[1]):
        floor = np.exp(np.interp(np.arange(n), centres, quiet[:, band]))
        events = np.log1p(power[:, band] / (_STANDS_OUT * floor))
        events -= uniform_filter1d(events, round(_SLOW_S * FRAMES_PER_S), mode="nearest")
        deviation = float(np.sqrt(np.mean(events**2)))
        outline[:, band] = np.clip(events / max(deviation, 1e-3), -_MOST, _MOST)
    return outline


class _Evener:
    """Evens out a sound in frames of a tenth of a second that overlap by half."""

    _N, _HOP = RATE_HZ // 10, RATE_HZ // 20
    _BIN_HZ = 10
    _OUT, _OUT_HOP = EVEN_RATE_HZ // 10, EVEN_RATE_HZ // 20
    _PIECE = 200  # frames, ten seconds, whose noise is taken to be the same
    _FEWEST = 20
    _SMOOTH = 9  # bins that noise is averaged over

    def __init__(self) -> None:
        self._window = _half_sine(self._N)
        self._fade = _half_sine(self._OUT)
        self._waiting = np.zeros(self._HOP, np.float32)  # the first frame is centred on the start
        self._tail = np.zeros(self._OUT_HOP, np.complex64)
        self._noise: FloatArray | None = None
        self._even = bytearray()  # grows in place, so that a long take is not held twice
        self._n = 0

    def listen(self, blocks: Iterable[FloatArray]) -> Iterator[FloatArray]:
        """Hand blocks on, and take note of them."""
        for block in blocks:
            self._waiting = np.concatenate([self._waiting, block])
            self._n += len(block)
            while len(self._waiting) >= (self._PIECE + 1) * self._HOP:
                self._take(self._PIECE)
            yield block

    def finish(self) -> npt.NDArray[np.int8]:
        """Return the evened sound, in bytes."""
        n_frames = -(-len(self._waiting) // self._HOP)
        self._waiting = np.concatenate([self._waiting, np.zeros(self._N, np.float32)])
        self._take(n_frames)
        even = np.frombuffer(self._even, np.int8).reshape(-1, 2)
        # What comes of the half frame before the start is left out.
        return even[self._OUT_HOP :][: self._n * EVEN_RATE_HZ // RATE_HZ]

    def _take(self, n_frames: int) -> None:
        """Even out the next frames."""
        frames = np.lib.stride_tricks.sliding_window_view(self._waiting, self._N)
        frames = frames[: n_frames * self._HOP : self._HOP]
        self._waiting = self._waiting[n_frames * self._HOP :]
        low = LOW_HZ // self._BIN_HZ
        spectrum = scipy.fft.rfft(frames * self._window, axis=1)[:, low : low + self._OUT]
        power = np.square(spectrum.real) + np.square(spectrum.imag) + np.float32(1e-12)
        if self._noise is None or n_frames >= self._FEWEST:
            # Of noise, that share of the powers lies below -ln(1 - share) of their mean.
            level = np.quantile(power, _QUIET, axis=0) / -np.log1p(-_QUIET)
            self._noise = uniform_filter1d(level, self._SMOOTH).astype(np.float32)
        ratio = np.minimum(power / self._noise, np.float32(_LOUDEST))
        spectrum *= ratio**_LOUDER * ratio / (ratio + np.float32(_HALF)) / np.sqrt(power)
        pieces = scipy.fft.ifft(spectrum, axis=1, norm="ortho") * self._fade
        first, second = pieces[:, : self._OUT_HOP], pieces[:, self._OUT_HOP :]
        done = first + np.concatenate([self._tail[None], second[:-1]])
        self._tail = second[-1]
        parts = np.stack([done.real, done.imag], axis=-1).reshape(-1, 2)
        self._even += np.clip(np.round(_STEPS * parts), -127, 127).astype(np.int8).tobytes()


def _half_sine(n: int) -> FloatArray:
    """Window that, used before and after, makes frames overlapping by half sum to one."""
    return np.sin(np.pi * (np.arange(n) + 0.5) / n).astype(np.float32)
