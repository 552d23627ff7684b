"""Samples of one sound stream, gathered until there are enough to be turned into numbers.

Frames are gathered in C and turned into numbers some ten thousand samples at a time: per-frame work
in Python would cost more than decoding.
"""

from __future__ import annotations

from typing import Any

import av
import numpy as np
import numpy.typing as npt
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream

from calltag.media.sound_blocks._canvas import Piece
from calltag.media.sound_blocks._flaws import Flaws
from calltag.media.streams import stores_floats

_TYPES = {
    "u8": (np.uint8, 2.0**-7),
    "s16": (np.int16, 2.0**-15),
    "s32": (np.int32, 2.0**-31),
    "flt": (np.float32, 1.0),
    "dbl": (np.float64, 1.0),
}


class Gathering:
    """A queue of samples that all have one form: type, channels and rate.

    The type is that of the first frame; channels and rate are those that the stream announced. A
    frame of another form is converted.

    Attributes
    ----------
    n_samples : int
        How many samples wait, of each channel.
    """

    def __init__(self, stream: AudioStream, flaws: Flaws) -> None:
        self._rate_hz = stream.rate
        self._n_channels = stream.codec_context.channels
        self._layout = stream.codec_context.layout.name
        self._stores_floats = stores_floats(stream)
        self._flaws = flaws
        self.n_samples = 0
        self._type = ""
        self._queue = av.AudioFifo()
        self._converters: dict[tuple[str, str, int], av.AudioResampler] = {}

    def add(self, frame: AudioFrame) -> int:
        """Queue a frame and tell how many samples it gave.

        A damaged one may claim what there is not, such as 41 channels: it raises FFmpegError.
        """
        if not self._type:
            self._settle_form(frame)
        # The queue checks type and rate, but not this, and would read what is not there.
        if frame.layout.nb_channels != self._n_channels:
            return self._convert(frame)
        try:
            self._queue.write(frame)
        except ValueError:
            return self._convert(frame)
        n = frame.samples
        self.n_samples += n
        return n

    def take(self) -> tuple[int, Piece, float]:
        """Empty the queue: number of samples, those of each channel, what brings them to ±1."""
        frame = self._queue.read(0)
        self.n_samples = 0
        if frame is None:
            return 0, [], 1.0
        n = frame.samples
        kind, scale = _TYPES[self._type.rstrip("p")]
        if self._type.endswith("p"):
            piece = [np.frombuffer(plane, kind, n) for plane in frame.planes]
        else:
            samples = np.frombuffer(frame.planes[0], kind, n * self._n_channels)
            piece = list(samples.reshape(n, self._n_channels).T)
        if self._stores_floats:
            piece = [self._possible(samples) for samples in piece]
        return n, piece, scale

    def _settle_form(self, frame: AudioFrame) -> None:
        """Settle the form of all samples: the queue takes that of what is put in first, silence.

        Silence has no times, and so the queue does not look at those of frames.
        """
        known = frame.format.name.rstrip("p") in _TYPES
        self._type = frame.format.name if known else "fltp"
        silence = av.AudioFrame(self._type, self._layout, samples=1)
        silence.sample_rate = self._rate_hz
        self._queue.write(silence)
        self._queue.read(1)

    def _convert(self, frame: AudioFrame) -> int:
        """Queue a frame of another form."""
        frame.pts = None
        given = (frame.format.name, frame.layout.name, frame.sample_rate)
        if given not in self._converters:
            self._converters[given] = av.AudioResampler(self._type, self._layout, self._rate_hz)
        try:
            converted = self._converters[given].resample(frame)
        except av.error.FFmpegError:
            del self._converters[given]
            raise
        for part in converted:
            part.pts = None
            self._queue.write(part)
        n = sum(part.samples for part in converted)
        self.n_samples += n
        return n

    def _possible(self, samples: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Put silence in the place of samples that are no numbers."""
        # A sum of squares is a number only where all are, and takes half the time to make.
        if np.isfinite(np.vdot(samples, samples)) or np.isfinite(samples).all():
            return samples
        self._flaws.impossible = True
        return np.nan_to_num(samples, posinf=0.0, neginf=0.0)
