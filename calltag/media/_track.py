"""One sound stream of a take: its packets decoded, its samples written to their place.

Frames are gathered in C and turned into numbers some hundred thousand samples at a time: per-frame
work in Python would cost more than decoding.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import isnan, nan
from typing import Any

import av
import numpy as np
import numpy.typing as npt
from av.audio.codeccontext import AudioCodecContext
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.packet import Packet

from calltag.media._canvas import GATHER_SAMPLES, Piece, Sink
from calltag.media.streams import stores_floats
from calltag.records.span import Span

_JITTER_S = 0.015
"""Timestamps may be this far off before it counts as a gap; one lost AAC frame is 21 ms."""

_LEAP_S = 60.0
"""A clock that jumps this far was set anew, unless the picture goes on in between."""

BACK_S = 1.0
"""A clock that goes back this far begins anew: another clip was joined to the first."""

_TYPES = {
    "u8": (np.uint8, 2.0**-7),
    "s16": (np.int16, 2.0**-15),
    "s32": (np.int32, 2.0**-31),
    "flt": (np.float32, 1.0),
    "dbl": (np.float64, 1.0),
}


class Track:
    """One sound stream: decodes its packets and writes the samples to their place."""

    def __init__(
        self,
        stream: AudioStream,
        sink: Sink,
        rows: slice,
        start_s: Fraction,
        *,
        picture_s: float,
        pictured: Callable[[float, float], bool],
        sought: bool,
    ) -> None:
        stream.codec_context.thread_count = 1
        self.stream = stream
        self.rows = rows
        self.damage: list[Span] = []
        self.missing: list[Span] = []
        self.leaps: list[float] = []
        self.anew: list[float] = []
        self.impossible = False
        self.heard = False
        self.first = 0
        self._sink = sink
        self._rate_hz = stream.rate
        self._n_channels = stream.codec_context.channels
        self._layout = stream.codec_context.layout.name
        self._per_tick = float((stream.time_base or 0) * stream.rate)
        self._origin = float(start_s * stream.rate)
        self._grid = (stream.start_time or 0) * self._per_tick - self._origin
        self._slack = max(2 * self._per_tick, _JITTER_S * stream.rate)
        self._picture_end = picture_s * stream.rate
        self._pictured = pictured
        self._position = self._written = 0
        self._due = nan  # the next frame's time in samples; unknown at first and after damage
        self._fifo = av.AudioFifo()
        self._held: AudioFrame | None = None
        self._form = ""
        self._sought = sought  # the first frame may lie anywhere
        self._decoder: AudioCodecContext | None = None  # a decoder in place of one that was misled
        self._converters: dict[tuple[str, str, int], av.AudioResampler] = {}

    @property
    def end(self) -> int:
        """Where what was written ends, in samples of the canvas."""
        return self._sink.end

    @property
    def end_s(self) -> float:
        """Where what was decoded ends."""
        return self._position / self._rate_hz

    def feed(self, packet: Packet[AudioStream]) -> bool:
        """Decode one packet, or the rest for an empty one; tell whether it is time to write."""
        try:
            frames = packet.decode() if self._decoder is None else self._decoder.decode(packet)
        except av.error.EOFError:
            return False
        except av.error.FFmpegError:
            self._note_damage(packet)
            return False
        for frame in frames:
            pts = frame.pts
            off = 0.0 if pts is None else pts * self._per_tick - self._due
            if -self._slack <= off <= self._slack and self._held is None:
                self._gather(frame)
            else:
                self._place(frame)
        return self._position - self._written >= GATHER_SAMPLES

    def write(self) -> None:
        """Write what has been gathered."""
        frame = self._fifo.read(0)
        if frame is None:
            return
        n = frame.samples
        kind, scale = _TYPES[self._form.rstrip("p")]
        piece: Piece
        if self._form.endswith("p"):
            piece = [np.frombuffer(plane, kind, n) for plane in frame.planes]
        else:
            samples = np.frombuffer(frame.planes[0], kind, n * self._n_channels)
            piece = list(samples.reshape(n, self._n_channels).T)
        if stores_floats(self.stream):
            piece = [self._possible(samples) for samples in piece]
        self._sink.write(self._position - n, n, piece, scale)
        self._written = self._position

    def go_on(self, end: int) -> None:
        """Write all that is there, and silence up to a sample of the canvas: it has stopped."""
        if self.end < end:
            self.write()
            self._sink.fill(end)

    def finish(self) -> None:
        """Write what is left; nothing comes after it."""
        self._release()
        self.write()
        self._sink.finish()

    def _gather(self, frame: AudioFrame) -> None:
        """Queue a frame behind the ones before."""
        if not self._form:
            self._begin(frame)
        frame.pts = None  # or the queue would check it
        # The queue checks form and rate, but not this, and would read what is not there.
        if frame.layout.nb_channels != self._n_channels:
            self._convert(frame)
            return
        try:
            self._fifo.write(frame)
        except ValueError:
            self._convert(frame)
            return
        n = frame.samples
        self._position += n
        self._due += n

    def _place(self, frame: AudioFrame) -> None:
        """Queue a frame that seems not to follow on the one before.

        One such frame proves nothing: in Ogg the first of a page can be stamped wrongly. So it is
        held until the next one tells whether there is a gap.
        """
        held, self._held = self._held, None
        if held is not None:
            follows = self._at(held) + held.samples
            if frame.pts is not None and abs(self._at(frame) - follows) <= self._slack:
                self._move(self._at(held), held.samples)
            self._gather(held)
        if frame.pts is None:
            self._gather(frame)
        elif isnan(self._due):
            self._move(self._at(frame), frame.samples)
            self._gather(frame)
        elif abs(self._at(frame) - self._position) <= self._slack:
            self._gather(frame)
        else:
            self._held = frame

    def _release(self) -> None:
        """Queue a held frame where it says it belongs."""
        if self._held is not None:
            held, self._held = self._held, None
            self._move(self._at(held), held.samples)
            self._gather(held)

    def _at(self, frame: AudioFrame) -> float:
        return (frame.pts or 0) * self._per_tick - self._origin

    def _move(self, position: float, n: int) -> None:
        """Go on at another place than where the samples so far end."""
        self.write()
        before_s = self.end_s
        back = self.heard and self._position - position > BACK_S * self._rate_hz
        leaps = abs(position - self._position) > _LEAP_S * self._rate_hz
        late = not self.heard and 0 < position < self._picture_end
        anew = (back or leaps) and not late and not self._sought
        if anew and self.heard and not back:
            anew = not self._pictured(before_s, position / self._rate_hz)
        if not anew:
            self._position = self._on_grid(position, n)
        else:
            self._origin += position - self._position
            if self.heard:
                (self.anew if back else self.leaps).append(before_s)
        self._written = self._position
        self._due = self._position + self._origin
        if not self.heard:
            self.first = self._position
        elif self.end_s > max(0.0, before_s):
            if self.damage and self.damage[-1].end_s >= before_s:
                self.damage[-1] = Span(self.damage[-1].start_s, self.end_s)
            else:
                self.missing.append(Span(max(0.0, before_s), self.end_s))
        self.heard = True
        self._sought = False

    def _on_grid(self, position: float, n: int) -> int:
        """Find the sample that a coarse clock means: frames of one length lie at its multiples.

        A clock that counts samples means what it says: sought, plain samples begin anywhere.
        """
        if self._per_tick <= 1:
            return round(position)
        frame = round(self._grid + round((position - self._grid) / n) * n) if n else position
        return round(frame if abs(frame - position) <= self._per_tick else position)

    def _note_damage(self, packet: Packet[AudioStream]) -> None:
        self._release()
        start_s = self.end_s
        if packet.pts is not None and self.heard:
            start_s = (packet.pts * self._per_tick - self._origin) / self._rate_hz
        length_s = float((packet.duration or 0) * (packet.time_base or 0))
        self._note_lost(start_s, length_s)

    def _note_lost(self, start_s: float, length_s: float) -> None:
        """Note that there is no sound; the next frame belongs where its own time says."""
        self._due = nan
        self.damage.append(Span(max(0.0, start_s), max(0.0, start_s + length_s)))

    def _begin(self, frame: AudioFrame) -> None:
        """Settle the form of the samples, by a silent frame of that form in the queue."""
        self.heard = True
        known = frame.format.name.rstrip("p") in _TYPES
        self._form = frame.format.name if known else "fltp"
        first = av.AudioFrame(self._form, self._layout, samples=1)
        first.sample_rate = self._rate_hz
        self._fifo.write(first)
        self._fifo.read(1)

    def _convert(self, frame: AudioFrame) -> None:
        """Bring a frame that differs from what the stream announced to that form."""
        given = (frame.format.name, frame.layout.name, frame.sample_rate)
        if given not in self._converters:
            self._converters[given] = av.AudioResampler(self._form, self._layout, self._rate_hz)
        try:
            frames = self._converters[given].resample(frame)
        except av.error.FFmpegError:  # a damaged one may claim what there is not: 41 channels,
            del self._converters[given]
            self._note_lost(self.end_s, frame.samples / self._rate_hz)
            self._decoder = self._fresh_decoder()  # and the decoder believes it from there on
            return
        for converted in frames:
            converted.pts = None
            self._fifo.write(converted)
            self._position += converted.samples
            self._due += converted.samples

    def _fresh_decoder(self) -> AudioCodecContext:
        """Make a decoder that knows of the stream what was stated at its beginning."""
        used = self.stream.codec_context
        decoder: Any = AudioCodecContext.create(used.codec.name, "r")  # typed as of any kind
        decoder.extradata = used.extradata
        decoder.sample_rate, decoder.layout = self._rate_hz, self._layout
        decoder.thread_count = 1
        return decoder

    def _possible(self, samples: npt.NDArray[Any]) -> npt.NDArray[Any]:
        if np.isfinite(samples).all():
            return samples
        self.impossible = True
        return np.nan_to_num(samples, posinf=0.0, neginf=0.0)
