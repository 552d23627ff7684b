"""Packets of one sound stream, decoded."""

from __future__ import annotations

from typing import Any

import av
from av.audio.codeccontext import AudioCodecContext
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.packet import Packet


class Decoder:
    """Decodes the packets of one stream: by the stream's own decoder, until that is misled."""

    def __init__(self, stream: AudioStream) -> None:
        self._own = self._decoder = stream.codec_context
        self._own.thread_count = 1
        # As announced: a damaged frame changes what the stream's own decoder says.
        self._rate_hz, self._layout = self._own.sample_rate, self._own.layout.name

    def decode(self, packet: Packet[AudioStream]) -> list[AudioFrame]:
        """Decode one packet, or the rest for an empty one; a damaged one raises FFmpegError."""
        try:
            return self._decoder.decode(packet)
        except av.error.EOFError:
            return []

    def forget(self) -> None:
        """Go on with a decoder that knows only what the stream stated at its beginning."""
        decoder: Any = AudioCodecContext.create(self._own.codec.name, "r")  # typed as of any kind
        decoder.extradata = self._own.extradata
        decoder.sample_rate, decoder.layout = self._rate_hz, self._layout
        decoder.thread_count = 1
        self._decoder = decoder
