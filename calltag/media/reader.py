"""The sound of a take, in blocks.

A take begins with its first picture, or, without a picture, with its first sample: second 0 of
every block and span is there, whatever the container's clock says. All channels of all sound
streams are read, in the order of the streams. Only sound is decoded, and where the container knows
where its sound lies (MOV, MP4, MXF, AVI), only sound is read from the disk.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from fractions import Fraction
from functools import partial
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
from av.audio.stream import AudioStream
from av.container import InputContainer

from calltag.errors import InputError, MediaError
from calltag.media._canvas import WARM_UP_S, Canvas, ResampledRows, Rows, Sink
from calltag.media._track import Track
from calltag.media.opening import cut_short, drop_all_but, open_take, picture_stream, why_short
from calltag.media.probe import (
    decodable,
    picture_duration_s,
    states_no_length,
    take_duration_s,
    take_start_s,
)
from calltag.media.wav_file import announced_bytes
from calltag.records import EMPTY_TRACK, FloatArray, Span
from calltag.words import channels_named, first_few

_STALL_S = 30.0
"""A stream that lies this far behind another has ended, or nearly; it is not waited for."""

_TELL_S = 0.5
"""Differences between the lengths of sound and picture are told from here on."""

_TOLD = 3
"""Places of one kind that are named; the rest is counted."""

_NOT_SOUGHT = frozenset(("ogg",))
"""Formats whose times are not to be trusted after seeking; reading from the start is cheap."""

_LOOKS = 64
"""Places of a file at which its clock is looked at."""


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
        All stretches in which no stream has sound that can be read, complete after the last block;
        in order, none overlapping another.
    late : bool
        Whether the file's sound starts after its picture, known after the last block.
    joined_s : float or None
        Length of the sound where its clock begins anew, so that the length that the file states is
        that of a part; known after the last block, None elsewhere.
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
            streams = [stream for stream in container.streams.audio if decodable(stream)]
            if not streams:
                return
            rate_hz = self.rate_hz = self.rate_hz or streams[0].rate
            block_n = max(1, round(self.block_s * rate_hz))
            n_channels = sum(stream.codec_context.channels for stream in streams)
            canvas = Canvas(n_channels, block_n)
            tracks = _tracks(container, streams, canvas, rate_hz, path=self.path)
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
            self.late = _late_s(container, tracks) > _TELL_S
            anew = any(track.anew for track in tracks)
            self.joined_s = max(track.end_s for track in tracks) if anew else None
            if lengths := announced_bytes(self.path):
                self.faults.append(cut_short(*lengths))
            elif short := why_short(self.path):
                self.faults.append(short)
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
        canvas = Canvas(n_channels, last - first, start=first)
        tracks = _tracks(container, streams, canvas, rate_hz, from_s=first / rate_hz, path=path)
        if not _clock_goes_back(container, streams[0]):
            _seek(container, streams, first / rate_hz - WARM_UP_S)
        feeding = _Feeding(container, tracks)
        for _ in feeding:
            if min(track.end for track in tracks) >= last:
                break
        if feeding.broken and not any(track.heard for track in tracks):
            raise MediaError(path, f"its sound cannot be read at {start_s:.1f} s; copy it again")
        return canvas.take(tracks, max(first, *(track.end for track in tracks))), rate_hz


class _Feeding:
    """Goes through the packets of all tracks, and stops each time that samples were written."""

    def __init__(self, container: InputContainer, tracks: list[Track]) -> None:
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
    canvas: Canvas,
    rate_hz: int,
    from_s: float | None = None,
    *,
    path: Path,
) -> list[Track]:
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
            else ResampledRows(canvas, rows, stream.rate, rate_hz, from_s or 0.0)
        )
        tracks.append(
            Track(
                stream,
                sink,
                rows,
                start_s,
                picture_s=picture_s,
                pictured=partial(_pictured, path),
                sought=from_s is not None,
            )
        )
    return tracks


def _picture_s(container: InputContainer) -> float:
    """Length that is stated of the picture, or of a file with one; 0 where none is."""
    if picture_stream(container) is None:
        return 0.0
    return picture_duration_s(container) or (container.duration or 0) / av.time_base


def _pictured(path: Path, start_s: float, end_s: float) -> bool:
    """Tell whether a take has pictures in the middle of a stretch without sound."""
    with open_take(path) as container:
        picture = picture_stream(container)
        if picture is None or not picture.time_base:
            return False
        first_s, tick_s = float(take_start_s(container)), float(picture.time_base)
        drop_all_but(container, [picture.index])
        with suppress(av.error.FFmpegError):
            container.seek(round((first_s + (start_s + end_s) / 2) / tick_s), stream=picture)
            for packet in container.demux(picture):
                if packet.pts is not None:
                    return start_s < packet.pts * tick_s - first_s < end_s
    return False


def _is_full(canvas: Canvas, tracks: list[Track], rate_hz: int) -> bool:
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


def _clock_goes_back(container: InputContainer, stream: AudioStream) -> bool:
    """Tell whether a format that has no index holds clips joined end to end, by looking into it.

    A time is then found in one of them or another. Clips that make up less than 1/`_LOOKS` of the
    file may be overlooked.
    """
    if container.format.name != "mpegts":
        return False
    times = []
    with suppress(av.error.FFmpegError):
        for look in range(_LOOKS):
            container.seek(container.size * look // _LOOKS, unsupported_byte_offset=True)
            packets = container.demux(stream)
            times.append(next((packet.pts for packet in packets if packet.pts is not None), None))
    container.seek(0, unsupported_byte_offset=True)
    known = [time for time in times if time is not None]
    return any(later < earlier for earlier, later in pairwise(known))


def _faults(container: InputContainer, tracks: list[Track], broken_off: bool) -> Iterator[str]:
    lost = len(container.streams.audio) - len(tracks)
    if lost:
        yield f"{lost} of its {lost + len(tracks)} sound streams cannot be decoded here"
    if not any(track.heard for track in tracks):
        yield EMPTY_TRACK
        return
    yield from _places("damaged", [(track, track.damage) for track in tracks if track.heard])
    yield from _places("missing", [(track, track.missing) for track in tracks if track.heard])
    for leap_s in sorted({round(leap_s, 1) for track in tracks for leap_s in track.leaps})[:_TOLD]:
        yield f"its clock jumps at {leap_s:.1f} s; sound is taken to go on"
    anew = sorted({round(anew_s, 1) for track in tracks for anew_s in track.anew})
    if anew:
        places = first_few([f"{anew_s:.1f} s" for anew_s in anew], _TOLD)
        yield (
            f"its clock begins anew at {places}, as where clips are joined end to end: sound is "
            "taken to go on; log the clips one by one, so that their times hold"
        )
    if any(track.impossible for track in tracks):
        yield "some samples are no numbers; they were taken for silence"
    end_s = max(track.end_s for track in tracks)
    if broken_off:
        yield f"the file cannot be read beyond {end_s:.1f} s"
    if (late_s := _late_s(container, tracks)) > _TELL_S:
        yield f"sound starts {late_s:.1f} s after the picture"
    if not any(track.leaps or track.anew for track in tracks):
        short_s = _short_s(container, end_s)
        if short_s > _TELL_S:
            yield f"sound ends at {end_s:.1f} s, {short_s:.1f} s before the end of the take"


def _broken(container: InputContainer, tracks: list[Track], broken_off: bool) -> list[Span]:
    """All stretches without sound in any stream; those of a single one its channels show."""
    if not any(track.heard for track in tracks):
        return []
    spans = _in_no_track([track for track in tracks if track.heard])
    if (late_s := _late_s(container, tracks)) > _TELL_S:
        spans.append(Span(0.0, late_s))
    end_s = max(track.end_s for track in tracks)
    short_s = _short_s(container, end_s)
    if broken_off or (short_s > _TELL_S and not any(track.leaps or track.anew for track in tracks)):
        spans.append(Span(end_s, end_s + max(0.0, short_s)))
    return [span for span in joined(spans) if span.length_s > 0]


def _in_no_track(tracks: list[Track]) -> list[Span]:
    """Stretches that no track has sound in, up to the end of the longest."""
    first, *others = tracks
    silent = joined([*first.damage, *first.missing])
    if not others:
        return silent
    end_s = max(track.end_s for track in tracks)
    silent = [Span(0.0, end_s)]
    for track in tracks:
        ends = Span(0.0, track.first / track.stream.rate), Span(track.end_s, end_s)
        here = joined([*track.damage, *track.missing, *ends])
        silent = [
            Span(max(a.start_s, b.start_s), min(a.end_s, b.end_s))
            for a in silent
            for b in here
            if a.start_s < b.end_s and b.start_s < a.end_s
        ]
    return silent


def _late_s(container: InputContainer, tracks: list[Track]) -> float:
    """By how much sound starts after the picture."""
    if picture_stream(container) is None:
        return 0.0
    return min((track.first / track.stream.rate for track in tracks if track.heard), default=0.0)


def _short_s(container: InputContainer, end_s: float) -> float:
    """By how much sound ends before the take, where the file states that."""
    return 0.0 if states_no_length(container) else take_duration_s(container) - end_s


def _places(what: str, found: list[tuple[Track, list[Span]]]) -> Iterator[str]:
    """Name the first few stretches, and whose they are where not every track has them."""
    places: list[tuple[Span, list[slice]]] = []
    for track, spans in found:
        for span in joined(spans):
            at = next((i for i, (place, _) in enumerate(places) if _alike(place, span)), None)
            if at is None:
                places.append((span, [track.rows]))
            else:
                place, those = places[at]
                places[at] = joined([place, span])[0], [*those, track.rows]
    places.sort(key=lambda place: place[0])
    for (start_s, end_s), those in places[:_TOLD]:
        channels = [row + 1 for rows in those for row in range(rows.start, rows.stop)]
        whose = "sound" if len(those) == len(found) else f"sound of {channels_named(channels)}"
        yield f"{whose} is {what} between {start_s:.2f} and {end_s:.2f} s"
    if len(places) > _TOLD:
        yield f"sound is {what} in {len(places) - _TOLD} more places"


def _alike(one: Span, other: Span) -> bool:
    return all(abs(a - b) < _TELL_S for a, b in zip(one, other, strict=True))


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
