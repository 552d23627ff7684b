"""One sound stream of a take: its packets decoded, its samples written to their place.

A frame passes through three hands: `_decoding` makes it of a packet, `_placing` tells by its time
where it belongs, `_gathering` queues its samples, which are written now and then.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import av
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.packet import Packet

from calltag.media.sound_blocks._canvas import GATHER_SAMPLES, Sink
from calltag.media.sound_blocks._decoding import Decoder
from calltag.media.sound_blocks._flaws import Flaws
from calltag.media.sound_blocks._gathering import Gathering
from calltag.media.sound_blocks._placing import Placing


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
        pictured_between: Callable[[float, float], bool],
        sought: bool,
    ) -> None:
        self.stream = stream
        self.rows = rows
        self.flaws = Flaws()
        self._sink = sink
        self._decoder = Decoder(stream)
        self._placing = Placing(
            stream,
            start_s,
            self.flaws,
            picture_s=picture_s,
            pictured_between=pictured_between,
            sought=sought,
        )
        self._gathering = Gathering(stream, self.flaws)
        self._held: AudioFrame | None = None

    @property
    def heard(self) -> bool:
        """Whether any of it could be decoded."""
        return self._placing.heard

    @property
    def begin_s(self) -> float:
        """Where what was decoded begins."""
        return self._placing.begin_s

    @property
    def end_s(self) -> float:
        """Where what was decoded ends."""
        return self._placing.end_s

    @property
    def end(self) -> int:
        """Where what was written ends, in samples of the canvas."""
        return self._sink.end

    def feed(self, packet: Packet[AudioStream]) -> bool:
        """Decode one packet, or the rest for an empty one; tell whether it is time to write."""
        try:
            frames = self._decoder.decode(packet)
        except av.error.FFmpegError:
            self._release()
            self._placing.lose_packet(packet)
            return False
        for frame in frames:
            if self._held is None and self._placing.follows(frame):
                self._gather(frame)  # nearly all go this way: it must be short
            else:
                self._weigh(frame)
        return self._gathering.n_samples >= GATHER_SAMPLES

    def write(self) -> None:
        """Write what has been gathered."""
        n, piece, scale = self._gathering.take()
        if n:
            self._sink.write(self._placing.position - n, n, piece, scale)

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

    def _weigh(self, frame: AudioFrame) -> None:
        """Queue a frame that seems not to follow on the one before, or hold it.

        One such frame proves nothing: in Ogg the first of a page can be stamped wrongly. So it is
        held until the next one tells whether there is a gap.
        """
        held, self._held = self._held, None
        if held is not None:
            if self._placing.agree(held, frame):
                self._gather_apart(held)
            else:
                self._gather(held)
        if self._placing.follows(frame):
            self._gather(frame)
        elif self._placing.adrift:
            self._gather_apart(frame)
        else:
            self._held = frame

    def _release(self) -> None:
        """Queue a held frame where it says it belongs."""
        if self._held is not None:
            held, self._held = self._held, None
            self._gather_apart(held)

    def _gather_apart(self, frame: AudioFrame) -> None:
        """Queue a frame where its time says that it belongs."""
        self.write()
        self._placing.move(frame)
        self._gather(frame)

    def _gather(self, frame: AudioFrame) -> None:
        """Queue a frame behind the ones before."""
        try:
            n = self._gathering.add(frame)
        except av.error.FFmpegError:
            self._placing.lose_frame(frame.samples)
            self._decoder.forget()  # it believes what the frame claims from there on
        else:
            self._placing.go_on(n)
