"""The sound of a take, in blocks.

A take begins with its first picture, or, without a picture, with its first sample: second 0 of
every block and span is there, whatever the container's clock says. All channels of all sound
streams are read, in the order of the streams. Only sound is decoded, and where the container knows
where its sound lies (MOV, MP4, MXF, AVI), only sound is read from the disk.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

import av
import numpy as np
from av.audio.stream import AudioStream
from av.container import InputContainer

from calltag.arrays import FloatArray
from calltag.errors import InputError, MediaError
from calltag.media.opening import open_take
from calltag.media.sound_blocks._canvas import (
    WARM_UP_S,
    Canvas,
    Listener,
    ResampledRows,
    Rows,
    Sink,
)
from calltag.media.sound_blocks._seeking import seek
from calltag.media.sound_blocks._track import Track
from calltag.media.sound_blocks.missing_sound import late_by_s, told_faults, without_sound
from calltag.media.streams import (
    drop_all_but,
    picture_duration_s,
    picture_stream,
    readable_packets,
    sound_streams,
    take_start_s,
)
from calltag.media.unreadable import cut_short, why_short
from calltag.media.wave_files.wav_file import announced_bytes
from calltag.records.span import Span
from calltag.records.take import Take

_STALL_S = 30.0
"""A stream that lies this far behind another has ended, or nearly; it is not waited for."""


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
    recorded : callable or None
        Is given each piece of a stream of another rate as it was recorded, before the block that it
        belongs to is read: the rows that it has there (a slice), its first sample, counted at its
        own rate from the beginning of the take, its samples of shape (n_channels, n_samples), and
        its rate.

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
        All stretches in which no stream has sound that can be read, complete after the last block;
        in order, none overlapping another.
    late : bool
        Whether the file's sound starts after its picture, known after the last block.
    joined_s : float or None
        Length of the sound where its clock begins anew, so that the length that the file states is
        that of a part; known after the last block, None elsewhere.
    """

    def __init__(
        self,
        path: Path,
        *,
        rate_hz: int | None = 48_000,
        block_s: float = 60.0,
        recorded: Listener | None = None,
    ) -> None:
        if rate_hz is not None and rate_hz <= 0:
            raise InputError(f"a sampling rate of {rate_hz} Hz makes no sense; give one above 0")
        if block_s <= 0:
            raise InputError(f"a block of {block_s} s makes no sense; give a length above 0")
        self.path = path
        self.rate_hz = rate_hz
        self.block_s = block_s
        self._recorded = recorded
        self.faults: list[str] = []
        self.broken: list[Span] = []
        self.late = False
        self.joined_s: float | None = None

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
            streams = sound_streams(container)
            if not streams:
                return
            rate_hz = self.rate_hz = self.rate_hz or streams[0].rate
            block_n = max(1, round(self.block_s * rate_hz))
            n_channels = sum(stream.codec_context.channels for stream in streams)
            canvas = Canvas(n_channels, block_n)
            tracks = _tracks(
                container, streams, canvas, rate_hz, path=self.path, recorded=self._recorded
            )
            feeding = _Feeding(container, tracks)
            for _ in feeding:
                while _is_full(canvas, tracks, rate_hz):
                    for track in tracks:
                        track.go_on(canvas.start + canvas.block_n)
                    yield canvas.take(tracks)
            if feeding.all_damaged:
                raise MediaError(self.path, "has sound, but all of it is damaged; copy it again")
            end = max(track.end for track in tracks)
            while canvas.start < end:
                yield canvas.take(tracks, end)
            self._note(container, tracks, feeding.broken_off)

    def _note(self, container: InputContainer, tracks: list[Track], broken_off: bool) -> None:
        """Note what is wrong with the sound, after all of it was read."""
        self.faults += told_faults(container, tracks, broken_off)
        if lengths := announced_bytes(self.path):
            self.faults.append(cut_short(*lengths))
        elif short := why_short(self.path):
            self.faults.append(short)
        self.broken += without_sound(container, tracks, broken_off)
        self.late = late_by_s(container, tracks) > 0
        anew = any(track.flaws.anew for track in tracks)
        self.joined_s = max(track.end_s for track in tracks) if anew else None


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


def read_logged(
    take: Take, start_s: float, end_s: float, *, rate_hz: int | None = None
) -> tuple[FloatArray, int]:
    """Read a stretch of the sound of one of many takes, as `read_span` does.

    Parameters
    ----------
    take : Take
        The take.
    start_s, end_s : float
        The stretch; what lies outside the take is left out.
    rate_hz : int, optional
        Sampling rate wanted; that of the first sound stream unless given.

    Returns
    -------
    samples : np.ndarray, shape (n_channels, n_samples), float32
        The sound.
    rate_hz : int
        Its sampling rate.

    Raises
    ------
    InputError
        If the stretch has no length.
    MediaError
        If the file cannot be read, or has no sound; it names the take as the log does.
    """
    try:
        return read_span(take.file, start_s, end_s, rate_hz=rate_hz)
    except MediaError as error:
        raise MediaError(error.path, error.reason, take.path) from None


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
        streams = sound_streams(container)
        if not streams:
            raise MediaError(path, "has no sound; use the sound of another recorder")
        rate_hz = rate_hz or streams[0].rate
        first, last = max(0, round(start_s * rate_hz)), max(0, round(end_s * rate_hz))
        n_channels = sum(stream.codec_context.channels for stream in streams)
        if last <= first:
            return np.zeros((n_channels, 0), np.float32), rate_hz
        canvas = Canvas(n_channels, last - first, start=first)
        tracks = _tracks(container, streams, canvas, rate_hz, from_s=first / rate_hz, path=path)
        seek(container, path, first / rate_hz - WARM_UP_S)
        feeding = _Feeding(container, tracks)
        for _ in feeding:
            if min(track.end for track in tracks) >= last:
                break
        if feeding.all_damaged:
            raise MediaError(path, f"its sound cannot be read at {start_s:.1f} s; copy it again")
        return canvas.take(tracks, max(first, *(track.end for track in tracks))), rate_hz


class _Feeding:
    """Goes through the packets of all tracks, and stops each time that samples were written."""

    def __init__(self, container: InputContainer, tracks: list[Track]) -> None:
        self._container, self._tracks = container, tracks
        self.broken_off = False

    @property
    def all_damaged(self) -> bool:
        """Whether nothing was heard so far, because something could not be read."""
        if any(track.heard for track in self._tracks):
            return False
        return self.broken_off or any(track.flaws.damage for track in self._tracks)

    def __iter__(self) -> Iterator[None]:
        by_index = {track.stream.index: track for track in self._tracks}
        drop_all_but(self._container, list(by_index))
        try:
            for packet in self._container.demux(tuple(track.stream for track in self._tracks)):
                track = by_index[packet.stream.index]
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
    canvas: Canvas,
    rate_hz: int,
    from_s: float | None = None,
    *,
    path: Path,
    recorded: Listener | None = None,
) -> list[Track]:
    """Make a track of each stream, each with rows of its own; `from_s` is where a span begins."""
    start_s = take_start_s(container)
    picture_s = _picture_s(container)
    tracks = []
    row = 0
    for stream in streams:
        rows = slice(row, row + stream.codec_context.channels)
        row = rows.stop
        sink: Sink = (
            Rows(canvas, rows)
            if stream.rate == rate_hz
            else ResampledRows(canvas, rows, stream.rate, rate_hz, from_s or 0.0, recorded)
        )
        tracks.append(
            Track(
                stream,
                sink,
                rows,
                start_s,
                picture_s=picture_s,
                pictured_between=partial(_pictured_between, path),
                sought=from_s is not None,
            )
        )
    return tracks


def _picture_s(container: InputContainer) -> float:
    """Length that is stated of the picture, or else of the file; 0 where there is no picture."""
    if picture_stream(container) is None:
        return 0.0
    return picture_duration_s(container) or (container.duration or 0) / av.time_base


def _pictured_between(path: Path, start_s: float, end_s: float) -> bool:
    """Tell whether a take has pictures in the middle of a stretch without sound."""
    with open_take(path) as container:
        picture = picture_stream(container)
        if picture is None or not picture.time_base:
            return False
        first_s, tick_s = float(take_start_s(container)), float(picture.time_base)
        drop_all_but(container, [picture.index])
        try:
            container.seek(round((first_s + (start_s + end_s) / 2) / tick_s), stream=picture)
        except av.error.FFmpegError:
            return False
        packets = readable_packets(container, picture)
        shown = next((packet.pts for packet in packets if packet.pts is not None), None)
        return shown is not None and start_s < shown * tick_s - first_s < end_s


def _is_full(canvas: Canvas, tracks: list[Track], rate_hz: int) -> bool:
    """Tell whether the present block is full, in all tracks that have not stopped."""
    full = canvas.start + canvas.block_n
    ends = [track.end for track in tracks]
    return min(ends) >= full or max(ends) >= full + _STALL_S * rate_hz
