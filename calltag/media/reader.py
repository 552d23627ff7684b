"""The sound of a take, in blocks.

A take begins with its first picture, or, without a picture, with its first sample: second 0 of
every block and span is there, whatever the container's clock says. All channels of all sound
streams are read, in the order of the streams. Only sound is decoded, and where the container knows
where its sound lies (MOV, MP4, MXF, AVI), only sound is read from the disk.

Frames are gathered in C and turned into numbers some hundred thousand samples at a time: per-frame
work in Python would cost more than decoding.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from fractions import Fraction
from math import gcd
from pathlib import Path
from typing import Protocol

import av
import numpy as np
import soxr
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.packet import Packet

from calltag.errors import InputError, MediaError
from calltag.media.opening import drop_all_but, open_take, picture_stream
from calltag.media.probe import decodable, take_start_s
from calltag.records import FloatArray, Span

_GATHER_SAMPLES = 131_072
"""Samples gathered before they are turned into numbers: a buffer that stays in the cache."""

_JITTER_S = 0.015
"""Timestamps may be this far off before it counts as a gap; one lost AAC frame is 21 ms."""

_STALL_S = 30.0
"""A stream that lies this far behind another has ended, or nearly; it is not waited for."""

_TELL_S = 0.5
"""Differences between the lengths of sound and picture are told from here on."""

_WARM_UP_S = 0.5
"""Decoded before a span, so that a decoder that looks back has what it needs."""

_QUALITY = "HQ"

_TYPES = {
    "u8": (np.uint8, 2.0**-7),
    "s16": (np.int16, 2.0**-15),
    "s32": (np.int32, 2.0**-31),
    "flt": (np.float32, 1.0),
    "dbl": (np.float64, 1.0),
}


class SoundReader:
    """Reads the sound of one take in blocks, and notes what is wrong with it.

    Iterate over it, once or several times; afterwards `faults` tells what was noticed on the way.

    Parameters
    ----------
    path : Path
        The take.
    rate_hz : int or None
        Sampling rate of the blocks; None for that of the first sound stream.
    block_s : float
        Length of a block in seconds; the last one is shorter.

    Attributes
    ----------
    path : Path
        The take.
    rate_hz : int or None
        Sampling rate of the blocks; where None was given, known from the first block on.
    faults : list of str
        What was noticed, in plain words, complete after the last block: damaged or missing
        stretches, sound that ends before the picture.
    """

    def __init__(self, path: Path, *, rate_hz: int | None = 48_000, block_s: float = 60.0) -> None:
        if rate_hz is not None and rate_hz <= 0:
            raise InputError(f"a sampling rate of {rate_hz} Hz makes no sense; give one above 0")
        if block_s <= 0:
            raise InputError(f"a block of {block_s} s makes no sense; give a length above 0")
        self.path = path
        self.rate_hz = rate_hz
        self.block_s = block_s
        self.faults: list[str] = []

    def __iter__(self) -> Iterator[FloatArray]:
        """Go through the take.

        Yields
        ------
        np.ndarray, shape (n_channels, n_samples), float32
            The next block, full scale at ±1; nothing for a take without sound.

        Raises
        ------
        MediaError
            If the file cannot be opened, or nothing of its sound can be decoded.
        """
        self.faults.clear()
        with open_take(self.path) as container:
            streams = [stream for stream in container.streams.audio if decodable(stream)]
            if not streams:
                return
            rate_hz = self.rate_hz = self.rate_hz or streams[0].rate
            block_n = max(1, round(self.block_s * rate_hz))
            canvas = _Canvas(sum(stream.codec_context.channels for stream in streams), block_n)
            tracks = _tracks(container, streams, canvas, rate_hz)
            feeding = _Feeding(container, tracks)
            for _ in feeding:
                while _ready(tracks, canvas, rate_hz):
                    yield canvas.take()
            if not any(track.heard for track in tracks):
                if any(track.damage for track in tracks) or feeding.broken:
                    raise MediaError(
                        self.path, "has sound, but all of it is damaged; copy it again"
                    )
                self.faults.append("its sound track is empty")
                return
            end = max(track.end for track in tracks)
            while canvas.start < end:
                yield canvas.take(end)
            self.faults += _faults(container, tracks, feeding.broken)


def read_blocks(
    path: Path, *, rate_hz: int | None = 48_000, block_s: float = 60.0
) -> Iterator[FloatArray]:
    """Read the sound of a take in blocks.

    Parameters
    ----------
    path : Path
        The take.
    rate_hz : int or None
        Sampling rate of the blocks; None for that of the first sound stream.
    block_s : float
        Length of a block in seconds; the last one is shorter.

    Yields
    ------
    np.ndarray, shape (n_channels, n_samples), float32
        The next block, full scale at ±1; nothing for a take without sound.

    Raises
    ------
    MediaError
        If the file cannot be opened, or nothing of its sound can be decoded.

    See Also
    --------
    SoundReader : The same, with what is wrong with the sound.
    """
    yield from SoundReader(path, rate_hz=rate_hz, block_s=block_s)


def read_span(
    path: Path, start_s: float, end_s: float, *, rate_hz: int | None = None
) -> tuple[FloatArray, int]:
    """Read a stretch of a take's sound without reading what comes before it.

    Parameters
    ----------
    path : Path
        The take.
    start_s, end_s : float
        The stretch; what lies outside the take is left out.
    rate_hz : int, optional
        Sampling rate wanted; that of the first sound stream unless given.

    Returns
    -------
    samples : np.ndarray, shape (n_channels, n_samples), float32
        The sound; the same samples that `read_blocks` gives there at the same rate.
    rate_hz : int
        Its sampling rate.

    Raises
    ------
    InputError
        If the stretch has no length.
    MediaError
        If the file cannot be read, or has no sound.
    """
    if not end_s > start_s:
        raise InputError(f"a span from {start_s:g} to {end_s:g} s has no length")
    with open_take(path) as container:
        streams = [stream for stream in container.streams.audio if decodable(stream)]
        if not streams:
            raise MediaError(path, "has no sound")
        rate_hz = rate_hz or streams[0].rate
        first, last = max(0, round(start_s * rate_hz)), max(0, round(end_s * rate_hz))
        canvas = _Canvas(
            sum(stream.codec_context.channels for stream in streams), last - first, start=first
        )
        tracks = _tracks(container, streams, canvas, rate_hz, from_s=first / rate_hz)
        _seek(container, streams, first / rate_hz - _WARM_UP_S)
        for _ in _Feeding(container, tracks):
            if min(track.end for track in tracks) >= last:
                break
        end = max(track.end for track in tracks)
        return canvas.take(max(first, end)), rate_hz


class _Canvas:
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
                self._blocks.append(np.zeros((self.n_channels, self.block_n), np.float32))
            length = min(n - done, self.block_n - inside)
            yield slice(done, done + length), self._blocks[i][rows, inside : inside + length]
            done += length

    def take(self, end: int | None = None) -> FloatArray:
        """Hand out the present block, cut off at `end`, and go on to the next."""
        block = (
            self._blocks.pop(0)
            if self._blocks
            else np.zeros((self.n_channels, self.block_n), np.float32)
        )
        n = self.block_n if end is None else min(self.block_n, end - self.start)
        self.start += self.block_n
        return block if n == self.block_n else block[:, :n].copy()


class _Sink(Protocol):
    """Takes pieces of one stream at their place, counted in the stream's own samples."""

    @property
    def end(self) -> int: ...

    def write(self, at: int, piece: np.ndarray, scale: float) -> None: ...

    def finish(self) -> None: ...


class _Rows:
    """Rows of the canvas that have the stream's own rate."""

    def __init__(self, canvas: _Canvas, rows: slice) -> None:
        self._canvas, self._rows = canvas, rows
        self.end = 0

    def write(self, at: int, piece: np.ndarray, scale: float) -> None:
        for part, place in self._canvas.spans(at, piece.shape[1], self._rows):
            _scaled(piece[:, part], scale, place)
        self.end = at + piece.shape[1]

    def finish(self) -> None:
        pass


class _ResampledRows:
    """Rows of the canvas that have another rate than the stream."""

    def __init__(
        self, canvas: _Canvas, rows: slice, rate_hz: int, to_hz: int, from_s: float
    ) -> None:
        self._canvas, self._rows = canvas, rows
        # Begin where samples of both rates coincide, so that a span has the samples of the whole.
        step = rate_hz // gcd(rate_hz, to_hz)
        self._next = max(0, int((from_s - _WARM_UP_S) * rate_hz) // step * step)
        self._written = self._next * to_hz // rate_hz
        self._ratio = Fraction(to_hz, rate_hz)
        self._n_channels = rows.stop - rows.start
        self._resampler = soxr.ResampleStream(
            rate_hz, to_hz, self._n_channels, dtype="float32", quality=_QUALITY
        )

    @property
    def end(self) -> int:
        return round(self._next * self._ratio)

    def write(self, at: int, piece: np.ndarray, scale: float) -> None:
        while at > self._next:
            n = min(at - self._next, _GATHER_SAMPLES)
            self._push(np.zeros((n, self._n_channels), np.float32))
        late = self._next - at
        if late < piece.shape[1]:
            numbers = np.empty((piece.shape[1] - late, self._n_channels), np.float32)
            _scaled(piece[:, late:], scale, numbers.T)
            self._push(numbers)

    def finish(self) -> None:
        self._push(np.zeros((0, self._n_channels), np.float32), last=True)

    def _push(self, numbers: FloatArray, *, last: bool = False) -> None:
        self._next += len(numbers)
        out = self._resampler.resample_chunk(numbers, last=last).reshape(-1, self._n_channels).T
        for part, place in self._canvas.spans(self._written, out.shape[1], self._rows):
            place[:] = out[:, part]
        self._written += out.shape[1]


def _scaled(piece: np.ndarray, scale: float, place: FloatArray) -> None:
    if piece.dtype == np.uint8:
        np.subtract(piece, 128, out=place, casting="unsafe", dtype=np.float32)
        place *= np.float32(scale)
    elif scale == 1.0:
        place[:] = piece
    else:
        np.multiply(piece, np.float32(scale), out=place, casting="unsafe", dtype=np.float32)


class _Track:
    """One sound stream: decodes its packets and writes the samples to their place."""

    def __init__(self, stream: AudioStream, sink: _Sink, start_s: Fraction) -> None:
        context = stream.codec_context
        context.thread_count = 1
        self.stream = stream
        self.damage: list[Span] = []
        self.missing: list[Span] = []
        self.heard = False
        self.first = 0
        self._sink = sink
        self._rate_hz = stream.rate
        self._n_channels = context.channels
        self._per_tick = float((stream.time_base or 0) * stream.rate)
        self._origin = float(start_s * stream.rate)
        self._jitter = max(2 * self._per_tick, _JITTER_S * stream.rate)
        self._slack = self._jitter
        self._position = 0.0
        self._broken = False
        self._fifo = av.AudioFifo()
        self._waiting = 0
        self._format = ""
        self._converter: av.AudioResampler | None = None

    @property
    def end(self) -> int:
        """Where what was written ends, in samples of the canvas."""
        return self._sink.end

    @property
    def end_s(self) -> float:
        """Where what was decoded ends."""
        return self._position / self._rate_hz

    def feed(self, packet: Packet[AudioStream]) -> None:
        """Decode one packet; an empty one ends the stream."""
        try:
            frames = packet.decode()
        except av.error.FFmpegError:
            self._broken = True
            self._slack = self._per_tick
            return
        for frame in frames:
            pts = frame.pts
            if pts is not None:
                off = pts * self._per_tick - self._origin - self._position
                if not -self._slack <= off <= self._slack or not self.heard:
                    self._move(off)
                frame.pts = None
            self._slack = self._jitter
            if (
                frame.format.name != self._format
                or frame.layout.nb_channels != self._n_channels
                or frame.sample_rate != self._rate_hz
            ):
                for converted in self._converted(frame):
                    self._gather(converted)
            else:
                self._gather(frame)

    def finish(self) -> None:
        """Write what is left."""
        self._write()
        self._sink.finish()

    def _gather(self, frame: AudioFrame) -> None:
        n = frame.samples
        self._fifo.write(frame)
        self._waiting += n
        self._position += n
        if self._waiting >= _GATHER_SAMPLES:
            self._write()

    def _move(self, off: float) -> None:
        """Go on `off` samples later, or earlier, than where the samples so far end."""
        self._write()
        before = self.end_s
        self._position += round(off)
        if not self.heard:
            self.heard = True
            self.first = round(self._position)
            before = 0.0
        if self.end_s > before:
            (self.damage if self._broken else self.missing).append(Span(before, self.end_s))
        self._broken = False

    def _write(self) -> None:
        if not self._waiting:
            return
        frame = self._fifo.read(0)
        n, self._waiting = self._waiting, 0
        kind, scale = _TYPES[self._format.rstrip("p")]
        if frame.format.is_planar:
            piece = np.stack([np.frombuffer(plane, kind, n) for plane in frame.planes])
        else:
            piece = np.frombuffer(frame.planes[0], kind, n * self._n_channels)
            piece = piece.reshape(n, self._n_channels).T
        self._sink.write(round(self._position) - n, piece, scale)

    def _converted(self, frame: AudioFrame) -> list[AudioFrame]:
        """Bring a frame that differs from the others to their form."""
        if not self._format and frame.format.name.rstrip("p") in _TYPES:
            self._format = frame.format.name
            if frame.layout.nb_channels == self._n_channels and frame.sample_rate == self._rate_hz:
                return [frame]
        self._format = self._format or "fltp"
        if self._converter is None:
            self._converter = av.AudioResampler(
                self._format, self.stream.layout.name, self._rate_hz
            )
        return list(self._converter.resample(frame))


class _Feeding:
    """Goes through the packets of all tracks; notes whether reading broke off."""

    def __init__(self, container: InputContainer, tracks: list[_Track]) -> None:
        self._container, self._tracks = container, tracks
        self.broken = False

    def __iter__(self) -> Iterator[None]:
        tracks = {track.stream.index: track for track in self._tracks}
        drop_all_but(self._container, list(tracks))
        packets = self._container.demux(tuple(track.stream for track in self._tracks))
        try:
            for packet in packets:
                tracks[packet.stream.index].feed(packet)
                yield
        except av.error.FFmpegError:
            self.broken = True
        for track in self._tracks:
            track.finish()
        yield


def _tracks(
    container: InputContainer,
    streams: list[AudioStream],
    canvas: _Canvas,
    rate_hz: int,
    from_s: float = 0.0,
) -> list[_Track]:
    start_s = take_start_s(container)
    tracks = []
    row = 0
    for stream in streams:
        rows = slice(row, row + stream.codec_context.channels)
        row = rows.stop
        sink: _Sink = (
            _Rows(canvas, rows)
            if stream.rate == rate_hz
            else _ResampledRows(canvas, rows, stream.rate, rate_hz, from_s)
        )
        tracks.append(_Track(stream, sink, start_s))
    return tracks


def _ready(tracks: list[_Track], canvas: _Canvas, rate_hz: int) -> bool:
    """Tell whether the present block is full, in all tracks that have not stopped."""
    full = canvas.start + canvas.block_n
    ends = [track.end for track in tracks]
    return min(ends) >= full or max(ends) >= full + _STALL_S * rate_hz


def _seek(container: InputContainer, streams: list[AudioStream], to_s: float) -> None:
    if to_s <= 0:
        return
    stream = streams[0]
    ticks = int((Fraction(to_s) + take_start_s(container)) / (stream.time_base or 1))
    with suppress(av.error.FFmpegError):  # without an index it is read from the start
        container.seek(ticks, stream=stream)


def _faults(container: InputContainer, tracks: list[_Track], broken: bool) -> list[str]:
    faults = []
    end_s = max(track.end_s for track in tracks)
    for what, spans in (
        ("damaged", [span for track in tracks for span in track.damage]),
        ("missing", [span for track in tracks for span in track.missing if span.start_s > 0]),
    ):
        places = [f"{a:.1f} and {b:.1f} s" for a, b in sorted(set(spans))]
        if places:
            more = f" and in {len(places) - 3} more places" if len(places) > 3 else ""
            faults.append(f"sound is {what} between {', '.join(places[:3])}{more}")
    if broken:
        faults.append(f"the file cannot be read beyond {end_s:.1f} s")
    picture = picture_stream(container)
    if picture is not None:
        late_s = min(track.first / track.stream.rate for track in tracks if track.heard)
        if late_s > _TELL_S:
            faults.append(f"sound starts {late_s:.1f} s after the picture")
        if picture.duration and picture.time_base:
            short_s = float(picture.duration * picture.time_base) - end_s
            if short_s > _TELL_S:
                faults.append(f"sound ends {short_s:.1f} s before the picture")
    return faults
