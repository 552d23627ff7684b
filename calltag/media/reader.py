"""The sound of a take, in blocks.

A take begins with its first picture, or, without a picture, with its first sample: second 0 of
every block and span is there, whatever the container's clock says. All channels of all sound
streams are read, in the order of the streams. Only sound is decoded, and where the container knows
where its sound lies (MOV, MP4, MXF, AVI), only sound is read from the disk.

Frames are gathered in C and turned into numbers some hundred thousand samples at a time: per-frame
work in Python would cost more than decoding.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from fractions import Fraction
from math import gcd, isnan, nan
from pathlib import Path
from typing import Any, Protocol

import av
import numpy as np
import numpy.typing as npt
import soxr
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.packet import Packet

from calltag.errors import InputError, MediaError
from calltag.media.opening import cut_short, drop_all_but, open_take, picture_stream
from calltag.media.probe import (
    decodable,
    states_no_length,
    stores_floats,
    take_duration_s,
    take_start_s,
)
from calltag.media.wav_file import announced_bytes
from calltag.records import EMPTY_TRACK, FloatArray, Span

_GATHER_SAMPLES = 65_536
"""Samples gathered before they are turned into numbers: a buffer that stays in the cache."""

_JITTER_S = 0.015
"""Timestamps may be this far off before it counts as a gap; one lost AAC frame is 21 ms."""

_STALL_S = 30.0
"""A stream that lies this far behind another has ended, or nearly; it is not waited for."""

_TELL_S = 0.5
"""Differences between the lengths of sound and picture are told from here on."""

_TOLD = 3
"""Places of one kind that are named; the rest is counted."""

_WARM_UP_S = 0.5
"""Decoded before a span, so that a decoder that looks back has what it needs."""

_NOT_SOUGHT = frozenset(("ogg",))
"""Formats whose times are not to be trusted after seeking; reading from the start is cheap."""

_LEAP_S = 60.0
"""A clock that jumps this far was set anew; no gap in a clip is as long."""

_QUALITY = "HQ"
"""soxr's: errors at -124 dB; VHQ costs half as much again, for what 32-bit floats cannot hold."""

_Piece = Sequence[npt.NDArray[Any]]
"""Samples of each channel, as they were decoded."""

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
        stretches, sound that ends before the picture. Of many stretches the first are named.
    broken : list of Span
        All stretches without sound that can be read, complete after the last block; in order, none
        overlapping another.
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
        self.broken: list[Span] = []

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
        self.broken.clear()
        with open_take(self.path) as container:
            streams = [stream for stream in container.streams.audio if decodable(stream)]
            if not streams:
                return
            rate_hz = self.rate_hz = self.rate_hz or streams[0].rate
            block_n = max(1, round(self.block_s * rate_hz))
            n_channels = sum(stream.codec_context.channels for stream in streams)
            canvas = _Canvas(n_channels, block_n)
            tracks = _tracks(container, streams, canvas, rate_hz)
            feeding = _Feeding(container, tracks)
            for _ in feeding:
                while _is_full(canvas, tracks, rate_hz):
                    yield canvas.take(tracks)
            if feeding.broken and not any(track.heard for track in tracks):
                raise MediaError(self.path, "has sound, but all of it is damaged; copy it again")
            end = max(track.end for track in tracks)
            while canvas.start < end:
                yield canvas.take(tracks, end)
            self.faults += _faults(container, tracks, feeding.broken_off)
            if lengths := announced_bytes(self.path):
                self.faults.append(cut_short(*lengths))
            self.broken += _broken(container, tracks, feeding.broken_off)


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

    Notes
    -----
    Decoders may draw noise: AC-3's dither, and what AAC codes as noise substitution (which few
    cameras use), come out a little otherwise at every decoding.
    """
    if not end_s > start_s:
        raise InputError(f"a span from {start_s:g} to {end_s:g} s has no length")
    with open_take(path) as container:
        streams = [stream for stream in container.streams.audio if decodable(stream)]
        if not streams:
            raise MediaError(path, "has no sound")
        rate_hz = rate_hz or streams[0].rate
        first, last = max(0, round(start_s * rate_hz)), max(0, round(end_s * rate_hz))
        n_channels = sum(stream.codec_context.channels for stream in streams)
        if last <= first:
            return np.zeros((n_channels, 0), np.float32), rate_hz
        canvas = _Canvas(n_channels, last - first, start=first)
        tracks = _tracks(container, streams, canvas, rate_hz, from_s=first / rate_hz)
        _seek(container, streams, first / rate_hz - _WARM_UP_S)
        feeding = _Feeding(container, tracks)
        for _ in feeding:
            if min(track.end for track in tracks) >= last:
                break
        if feeding.broken and not any(track.heard for track in tracks):
            raise MediaError(path, f"its sound cannot be read at {start_s:.1f} s; copy it again")
        return canvas.take(tracks, max(first, *(track.end for track in tracks))), rate_hz


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
                self._blocks.append(self._new())
            length = min(n - done, self.block_n - inside)
            yield slice(done, done + length), self._blocks[i][rows, inside : inside + length]
            done += length

    def silence(self, at: int, end: int, rows: slice) -> None:
        """Fill a stretch that nothing is written to."""
        for _, place in self.spans(at, end - at, rows):
            place[:] = 0.0

    def take(self, tracks: Sequence[_Track], end: int | None = None) -> FloatArray:
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


class _Sink(Protocol):
    """Takes pieces of one stream at their place, counted in the stream's own samples."""

    @property
    def end(self) -> int: ...

    def write(self, at: int, n: int, piece: _Piece, scale: float) -> None: ...

    def finish(self) -> None: ...


class _Rows:
    """Rows of the canvas that have the stream's own rate."""

    def __init__(self, canvas: _Canvas, rows: slice) -> None:
        self._canvas, self._rows = canvas, rows
        self.end = canvas.start

    def write(self, at: int, n: int, piece: _Piece, scale: float) -> None:
        self._canvas.silence(self.end, at, self._rows)
        for part, place in self._canvas.spans(at, n, self._rows):
            for samples, row in zip(piece, place, strict=True):
                _scale(samples[part], scale, row)
        self.end = max(self.end, at + n)

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
        self._n_channels = rows.stop - rows.start
        self._resampler = soxr.ResampleStream(
            rate_hz, to_hz, self._n_channels, dtype="float32", quality=_QUALITY
        )

    @property
    def end(self) -> int:
        return self._written

    def write(self, at: int, n: int, piece: _Piece, scale: float) -> None:
        while at > self._next:
            gap = min(at - self._next, _GATHER_SAMPLES)
            self._push(np.zeros((gap, self._n_channels), np.float32))
        late = self._next - at
        if late < n:
            numbers = np.empty((n - late, self._n_channels), np.float32)
            for samples, column in zip(piece, numbers.T, strict=True):
                _scale(samples[late:], scale, column)
            self._push(numbers)

    def finish(self) -> None:
        self._push(np.zeros((0, self._n_channels), np.float32), last=True)

    def _push(self, numbers: FloatArray, *, last: bool = False) -> None:
        self._next += len(numbers)
        out = self._resampler.resample_chunk(numbers, last=last).reshape(-1, self._n_channels).T
        for part, place in self._canvas.spans(self._written, out.shape[1], self._rows):
            place[:] = out[:, part]
        self._written += out.shape[1]


def _scale(samples: npt.NDArray[Any], scale: float, row: FloatArray) -> None:
    """Write samples of any type to a row, full scale at ±1."""
    if samples.dtype == np.uint8:
        np.subtract(samples, 128, out=row, casting="unsafe", dtype=np.float32)
        row *= np.float32(scale)
    elif scale == 1.0:
        row[:] = samples
    else:
        np.multiply(samples, np.float32(scale), out=row, casting="unsafe", dtype=np.float32)


class _Track:
    """One sound stream: decodes its packets and writes the samples to their place."""

    def __init__(
        self,
        stream: AudioStream,
        sink: _Sink,
        rows: slice,
        start_s: Fraction,
        *,
        picture_s: float,
        sought: bool,
    ) -> None:
        stream.codec_context.thread_count = 1
        self.stream = stream
        self.rows = rows
        self.damage: list[Span] = []
        self.missing: list[Span] = []
        self.leaps: list[float] = []
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
        self._position = self._written = 0
        self._due = nan  # the next frame's time in samples; unknown at first and after damage
        self._fifo = av.AudioFifo()
        self._held: AudioFrame | None = None
        self._form = ""
        self._sought = sought  # the first frame may lie anywhere
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
            frames = packet.decode()
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
        return self._position - self._written >= _GATHER_SAMPLES

    def write(self) -> None:
        """Write what has been gathered."""
        frame = self._fifo.read(0)
        if frame is None:
            return
        n = frame.samples
        kind, scale = _TYPES[self._form.rstrip("p")]
        piece: _Piece
        if self._form.endswith("p"):
            piece = [np.frombuffer(plane, kind, n) for plane in frame.planes]
        else:
            samples = np.frombuffer(frame.planes[0], kind, n * self._n_channels)
            piece = list(samples.reshape(n, self._n_channels).T)
        if stores_floats(self.stream):
            piece = [self._possible(samples) for samples in piece]
        self._sink.write(self._position - n, n, piece, scale)
        self._written = self._position

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
        leaps = abs(position - self._position) > _LEAP_S * self._rate_hz
        late = not self.heard and 0 < position < self._picture_end
        if leaps and not late and not self._sought:
            self._origin += position - self._position
            if self.heard:
                self.leaps.append(before_s)
        else:
            self._position = self._on_grid(position, n)
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
        """Find the sample that a coarse clock means: frames of one length lie at its multiples."""
        frame = round(self._grid + round((position - self._grid) / n) * n) if n else position
        return round(frame if abs(frame - position) <= self._per_tick else position)

    def _note_damage(self, packet: Packet[AudioStream]) -> None:
        self._release()
        self._due = nan
        start_s = self.end_s
        if packet.pts is not None and self.heard:
            start_s = (packet.pts * self._per_tick - self._origin) / self._rate_hz
        length_s = float((packet.duration or 0) * (packet.time_base or 0))
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
        for converted in self._converters[given].resample(frame):
            converted.pts = None
            self._fifo.write(converted)
            self._position += converted.samples
            self._due += converted.samples

    def _possible(self, samples: npt.NDArray[Any]) -> npt.NDArray[Any]:
        if np.isfinite(samples).all():
            return samples
        self.impossible = True
        return np.nan_to_num(samples, posinf=0.0, neginf=0.0)


class _Feeding:
    """Goes through the packets of all tracks, and stops each time that samples were written."""

    def __init__(self, container: InputContainer, tracks: list[_Track]) -> None:
        self._container, self._tracks = container, tracks
        self.broken_off = False

    @property
    def broken(self) -> bool:
        """Whether there was anything that could not be read."""
        return self.broken_off or any(track.damage for track in self._tracks)

    def __iter__(self) -> Iterator[None]:
        tracks = {track.stream.index: track for track in self._tracks}
        drop_all_but(self._container, list(tracks))
        try:
            for packet in self._container.demux(tuple(track.stream for track in self._tracks)):
                track = tracks[packet.stream.index]
                if track.feed(packet):
                    track.write()
                    yield
        except av.error.FFmpegError:
            self.broken_off = True
        for track in self._tracks:
            track.finish()
        yield


def _tracks(
    container: InputContainer,
    streams: list[AudioStream],
    canvas: _Canvas,
    rate_hz: int,
    from_s: float | None = None,
) -> list[_Track]:
    start_s = take_start_s(container)
    picture_s = _picture_s(container)
    tracks = []
    row = 0
    for stream in streams:
        rows = slice(row, row + stream.codec_context.channels)
        row = rows.stop
        sink: _Sink = (
            _Rows(canvas, rows)
            if stream.rate == rate_hz
            else _ResampledRows(canvas, rows, stream.rate, rate_hz, from_s or 0.0)
        )
        tracks.append(
            _Track(stream, sink, rows, start_s, picture_s=picture_s, sought=from_s is not None)
        )
    return tracks


def _picture_s(container: InputContainer) -> float:
    """Length that is stated of the picture, or of a file with one; 0 where none is."""
    picture = picture_stream(container)
    if picture is None:
        return 0.0
    if picture.duration and picture.time_base:
        return float(picture.duration * picture.time_base)
    return (container.duration or 0) / av.time_base


def _is_full(canvas: _Canvas, tracks: list[_Track], rate_hz: int) -> bool:
    """Tell whether the present block is full, in all tracks that have not stopped."""
    full = canvas.start + canvas.block_n
    ends = [track.end for track in tracks]
    return min(ends) >= full or max(ends) >= full + _STALL_S * rate_hz


def _seek(container: InputContainer, streams: list[AudioStream], to_s: float) -> None:
    if to_s <= 0:
        return
    stream = streams[0]
    ticks = int((Fraction(to_s) + take_start_s(container)) / (stream.time_base or 1))
    if container.format.name in _NOT_SOUGHT:
        return
    with suppress(av.error.FFmpegError):  # without an index it is read from the start
        container.seek(ticks, stream=stream)


def _faults(container: InputContainer, tracks: list[_Track], broken_off: bool) -> Iterator[str]:
    lost = len(container.streams.audio) - len(tracks)
    if lost:
        yield f"{lost} of its {lost + len(tracks)} sound streams cannot be decoded here"
    if not any(track.heard for track in tracks):
        yield EMPTY_TRACK
        return
    yield from _places("damaged", [span for track in tracks for span in track.damage])
    yield from _places("missing", [span for track in tracks for span in track.missing])
    for leap_s in sorted({round(leap_s, 1) for track in tracks for leap_s in track.leaps})[:_TOLD]:
        yield f"its clock jumps at {leap_s:.1f} s; sound is taken to go on"
    if any(track.impossible for track in tracks):
        yield "some samples are no numbers; they were taken for silence"
    end_s = max(track.end_s for track in tracks)
    if broken_off:
        yield f"the file cannot be read beyond {end_s:.1f} s"
    if (late_s := _late_s(container, tracks)) > _TELL_S:
        yield f"sound starts {late_s:.1f} s after the picture"
    if not any(track.leaps for track in tracks):
        short_s = _short_s(container, end_s)
        if short_s > _TELL_S:
            yield f"sound ends at {end_s:.1f} s, {short_s:.1f} s before the end of the take"


def _broken(container: InputContainer, tracks: list[_Track], broken_off: bool) -> list[Span]:
    """All stretches without sound that `_faults` tells of."""
    if not any(track.heard for track in tracks):
        return []
    spans = [span for track in tracks for span in (*track.damage, *track.missing)]
    if (late_s := _late_s(container, tracks)) > _TELL_S:
        spans.append(Span(0.0, late_s))
    end_s = max(track.end_s for track in tracks)
    short_s = _short_s(container, end_s)
    if broken_off or (short_s > _TELL_S and not any(track.leaps for track in tracks)):
        spans.append(Span(end_s, end_s + max(0.0, short_s)))
    return [span for span in joined(spans) if span.length_s > 0]


def _late_s(container: InputContainer, tracks: list[_Track]) -> float:
    """By how much sound starts after the picture."""
    if picture_stream(container) is None:
        return 0.0
    return min(track.first / track.stream.rate for track in tracks if track.heard)


def _short_s(container: InputContainer, end_s: float) -> float:
    """By how much sound ends before the take, where the file states that."""
    return 0.0 if states_no_length(container) else take_duration_s(container) - end_s


def _places(what: str, spans: list[Span]) -> Iterator[str]:
    """Name the first few stretches."""
    places = joined(spans)
    for span in places[:_TOLD]:
        yield f"sound is {what} between {span.start_s:.2f} and {span.end_s:.2f} s"
    if len(places) > _TOLD:
        yield f"sound is {what} in {len(places) - _TOLD} more places"


def joined(spans: Iterable[Span]) -> list[Span]:
    """Put stretches in order, joined where they are all but one.

    Parameters
    ----------
    spans : iterable of Span
        In any order.

    Returns
    -------
    list of Span
        Half a second or more from each other.
    """
    whole: list[Span] = []
    for span in sorted(spans):
        if whole and span.start_s - whole[-1].end_s < _TELL_S:
            whole[-1] = Span(whole[-1].start_s, max(whole[-1].end_s, span.end_s))
        else:
            whole.append(span)
    return whole
