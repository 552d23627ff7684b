"""What a clip says of itself: lengths, rates, start timecode, when it was recorded.

Only what is stated counts: nothing is decoded, and nothing is guessed where a clip is silent about
it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import chain
from pathlib import Path

import av
from av.audio.codeccontext import AudioCodecContext
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.video.stream import VideoStream

from calltag.errors import InputError, MediaError
from calltag.media.opening import drop_all_but, open_take, picture_stream
from calltag.media.rates import STANDARD_RATES, exact_rate, is_steady, snap_rate
from calltag.media.timecode import Rate, format_timecode, parse_timecode

_TIMECODE = re.compile(r"(\d\d:[0-5]\d:[0-5]\d)([:;.,])(\d{2,3})")
_WITH_SECONDS = re.compile(r".{11}\d\d:\d\d:\d\d")
_PICTURES_LOOKED_AT = 400
_FEWEST_PICTURES = 8
_REORDERED = 4
_PICTURES_OFF = 2  # by the end of a take of constant rate,
_RATE_OFF = 0.0005  # or this share of them: 59.94 and 60 lie twice as far apart
_BYTES_LOOKED_AT = 4_000_000
_ALWAYS_STEADY = frozenset(("avi", "dv", "mxf"))  # these store no time with a picture
_COUNTED_SINGLY = 30  # SMPTE ST 12-1 has a label for each frame up to this rate
_LABEL_BYTES = 4
_RAW_SOUND = frozenset(("aac", "ac3", "eac3", "amr", "loas"))
_REFERENCE_REACH_S = 2 * 86_400  # a start after midnight lies within a day, of a long shift in two
_REFERENCE_DIGITS = 20  # bext holds 64 bits


@dataclass(frozen=True, slots=True, kw_only=True)
class MediaInfo:
    """What a clip says of itself.

    Attributes
    ----------
    duration_s : float
        Length, from the first picture, or the first sample where there is no picture.
    picture_s : float or None
        Length of the picture; None without one, or where the format does not state it (Matroska).
    fps : Fraction or None
        Exact frame rate; None without a picture. For a high-speed take the rate that it plays at.
    variable_rate : bool
        Whether the picture has no constant frame rate; `fps` is its mean then.
    start_tc : str or None
        Start timecode as stated, ``;`` before the frames when drop-frame. Where the timecode track
        of a MOV or MP4 file counts pairs or fours of frames, it is the label that counts each.
    time_reference : int or None
        Start in samples since midnight (broadcast wave); None where what is stated is none, as it
        lies two days or more after it.
    recorded : str or None
        When it was recorded, ISO 8601, as exact as stated.
    sample_rate_hz : int or None
        Rate of the first sound stream; None without sound.
    channels : int
        Channels over all sound streams.
    floats : bool
        Whether all its sound is stored as floats, which go above full scale unharmed.
    width, height : int
        Size of the picture in pixels; 0 without one.
    """

    duration_s: float
    picture_s: float | None = None
    fps: Fraction | None = None
    variable_rate: bool = False
    start_tc: str | None = None
    time_reference: int | None = None
    recorded: str | None = None
    sample_rate_hz: int | None = None
    channels: int = 0
    floats: bool = False
    width: int = 0
    height: int = 0


def probe(path: Path) -> MediaInfo:
    """Read what a clip says of itself.

    Parameters
    ----------
    path : Path
        The clip.

    Returns
    -------
    MediaInfo
        What was found.

    Raises
    ------
    MediaError
        If the file cannot be read as a clip; the sentence says why and what to do.
    """
    with open_take(path) as container:
        picture = picture_stream(container)
        sound = [stream for stream in container.streams.audio if decodable(stream)]
        if picture is None and not sound:
            raise MediaError(
                path, "holds sound that cannot be decoded here; convert it to a usual format first"
            )
        duration_s = take_duration_s(container)
        fps, variable = _rate(container, picture) if picture is not None else (None, False)
        tags = _tags(container)
        rate_hz = sound[0].rate if sound else None
        start_tc = _start_tc(container, picture)
        if start_tc is not None and fps is not None and fps > _COUNTED_SINGLY and not variable:
            start_tc = _each_frame_counted(path, start_tc, snap_rate(fps))
        return MediaInfo(
            duration_s=duration_s,
            picture_s=picture_duration_s(container),
            fps=fps,
            variable_rate=variable,
            start_tc=start_tc,
            time_reference=_time_reference(tags, rate_hz),
            recorded=_recorded(tags),
            sample_rate_hz=rate_hz,
            channels=sum(stream.codec_context.channels for stream in sound),
            floats=bool(sound) and all(stores_floats(stream) for stream in sound),
            width=picture.codec_context.width if picture is not None else 0,
            height=picture.codec_context.height if picture is not None else 0,
        )


def decodable(stream: AudioStream) -> bool:
    """Tell whether there is a decoder for a sound stream, and it states rate and channels.

    Parameters
    ----------
    stream : av.audio.stream.AudioStream
        A stream of an open clip.

    Returns
    -------
    bool
        Whether its sound can be read.
    """
    # Without a decoder there is no context, whatever the library's annotations say.
    context: AudioCodecContext | None = stream.codec_context
    return context is not None and context.sample_rate > 0 and context.channels > 0


def stores_floats(stream: AudioStream) -> bool:
    """Tell whether a sound stream is stored as plain floats.

    Parameters
    ----------
    stream : av.audio.stream.AudioStream
        A stream of an open clip, one that `decodable` holds for.

    Returns
    -------
    bool
        Whether its samples are floats in the file; lossy codecs decode to floats as well.
    """
    return stream.codec_context.name.startswith("pcm_f")


def take_start_s(container: InputContainer) -> Fraction:
    """Find the moment, on the container's clock, that a take begins at.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.

    Returns
    -------
    Fraction
        Time of the first picture; without a picture, of the first sample of any sound stream.
    """
    picture = picture_stream(container)
    if picture is not None and picture.start_time is not None and picture.time_base:
        return picture.start_time * picture.time_base
    starts = [
        stream.start_time * stream.time_base
        for stream in container.streams.audio
        if stream.start_time is not None and stream.time_base
    ]
    return min(starts, default=Fraction(0))


def take_duration_s(container: InputContainer) -> float:
    """Find the length that a clip states, of picture or sound, whichever is longer.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.

    Returns
    -------
    float
        Seconds from the start of the take. For formats that state none all packets are gone
        through, and none are left to read.
    """
    start = take_start_s(container)
    picture = picture_stream(container)
    ends = [
        (stream.start_time or 0) * stream.time_base + stream.duration * stream.time_base
        for stream in (*container.streams.audio, *([picture] if picture is not None else []))
        if stream.duration and stream.time_base
    ]
    raw = states_no_length(container)
    if ends and not raw:
        return float(max(ends) - start)
    if container.duration and not raw:
        first = Fraction(container.start_time or 0, av.time_base)
        return float(Fraction(container.duration, av.time_base) + first - start)
    return _counted_s(container, start)


def picture_duration_s(container: InputContainer) -> float | None:
    """Find the length that a clip states of its picture.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.

    Returns
    -------
    float or None
        Seconds; None without a picture, or where the format does not state it (Matroska).
    """
    picture = picture_stream(container)
    if picture is None or not picture.duration or not picture.time_base:
        return None
    return float(picture.duration * picture.time_base)


def states_no_length(container: InputContainer) -> bool:
    """Tell whether a format states no length, so that a library's figure is a guess.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.

    Returns
    -------
    bool
        Whether it is a bare stream of sound.
    """
    return container.format.name in _RAW_SOUND


def _counted_s(container: InputContainer, start: Fraction) -> float:
    """Length by going through all packets, for streams that state none."""
    end = start
    try:
        for packet in container.demux():
            if packet.pts is not None:
                end = max(end, (packet.pts + (packet.duration or 0)) * packet.time_base)
    except av.error.FFmpegError:
        pass  # the end of what can be read is the end of the take
    return float(end - start)


def _rate(container: InputContainer, picture: VideoStream) -> tuple[Fraction | None, bool]:
    """Find the exact frame rate, and whether it varies."""
    stated = picture.average_rate or picture.guessed_rate or picture.base_rate
    tick = picture.time_base
    if not stated or not tick:
        return Fraction(stated) if stated else None, False
    ticks = _picture_ticks(container, picture)[1:]  # the first one may be held a little longer
    length_s = float((ticks[-1] - ticks[0]) * tick) if len(ticks) > _FEWEST_PICTURES else 0.0
    fps = exact_rate(Fraction(stated), tick_s=tick, duration_s=length_s)
    if not length_s or is_steady(ticks, fps, tick):
        return fps, False
    # Some formats state a rounded rate: 120 for 119.88.
    counted = Fraction(len(ticks) - 1) / ((ticks[-1] - ticks[0]) * tick)
    counted = exact_rate(counted, tick_s=tick, duration_s=length_s)
    if counted in STANDARD_RATES and is_steady(ticks, counted, tick) and _goes_on(picture, counted):
        return counted, False
    return fps, True


def _goes_on(picture: VideoStream, fps: Fraction) -> bool:
    """Whether an index, where it is complete, ends where this rate puts its last but one."""
    index, n = picture.index_entries, picture.frames
    if not _FEWEST_PICTURES < n <= len(index):
        return True
    ticks = index[n - 2].timestamp - index[1].timestamp
    off = abs(ticks * (picture.time_base or 0) * fps - (n - 3))
    return off <= max(_PICTURES_OFF, n * _RATE_OFF)


def _picture_ticks(container: InputContainer, picture: VideoStream) -> list[int]:
    """Times of the first pictures: from the index where it is complete, else from packets."""
    if container.format.name in _ALWAYS_STEADY:
        return []
    index = picture.index_entries
    if 0 < picture.frames <= len(index):
        return sorted(index[i].timestamp for i in range(min(len(index), _PICTURES_LOOKED_AT)))
    ticks = []
    read = 0
    try:
        for packet in container.demux(picture):
            read += packet.size
            if packet.pts is not None:
                ticks.append(packet.pts)
            if len(ticks) >= _PICTURES_LOOKED_AT or read > _BYTES_LOOKED_AT:
                break
    except av.error.FFmpegError:
        pass  # what was read until then has to do
    # Pictures are stored in the order of decoding: of the last, some are still to come.
    return sorted(ticks)[: max(0, len(ticks) - _REORDERED)]


def _tags(container: InputContainer) -> dict[str, str]:
    """All tags in lower case; those of the container win over those of the streams."""
    tags: dict[str, str] = {}
    for owner in (container, *container.streams):
        for key, value in owner.metadata.items():
            tags.setdefault(key.lower(), value.strip())
    return tags


def _start_tc(container: InputContainer, picture: VideoStream | None) -> str | None:
    first = [picture] if picture is not None else []
    owners: Iterator[object] = chain(first, container.streams, [container])
    for owner in owners:
        for key, value in owner.metadata.items():  # type: ignore[attr-defined]
            found = _TIMECODE.fullmatch(value.strip()) if key.lower() == "timecode" else None
            if found:
                return found[1] + (":" if found[2] == ":" else ";") + found[3]
    return None


def _each_frame_counted(path: Path, label: str, fps: Fraction) -> str:
    """The start at the picture's own rate, if a timecode track has one label for several frames.

    How it counts is told by its one sample, the number of the first label (QuickTime File Format,
    "Timecode media").
    """
    number = _first_label(path)
    for step in (1, 2, 4):
        try:
            first, rate = parse_timecode(label, fps / step)
        except InputError:
            continue
        if first == number:
            return format_timecode(first * step, Rate(fps, rate.drop))
    return label


def _first_label(path: Path) -> int | None:
    with open_take(path) as container:
        for stream in container.streams.data:
            if "timecode" not in stream.metadata:
                continue
            drop_all_but(container, [stream.index])
            with suppress(av.error.FFmpegError):
                for packet in container.demux(stream):
                    if packet.size == _LABEL_BYTES:
                        return int.from_bytes(bytes(packet), "big")
    return None


def _time_reference(tags: dict[str, str], rate_hz: int | None) -> int | None:
    """Samples since midnight (EBU Tech 3285), if the number can be that at the sound's rate."""
    stated = tags.get("time_reference", "")
    if rate_hz is None or not stated.isdecimal() or len(stated) > _REFERENCE_DIGITS:
        return None
    reference = int(stated)
    return reference if reference < _REFERENCE_REACH_S * rate_hz else None


def _recorded(tags: dict[str, str]) -> str | None:
    # bext states day and time apart; the reader hands them on as date and creation_time.
    day, time = tags.get("date", ""), tags.get("creation_time", "")
    local = next((value for key, value in tags.items() if key.endswith("creationdate")), "")
    candidates = [f"{day}T{time}", local, time]
    candidates += [tags.get(key, "") for key in ("date_recorded", "tdrc", "icrd", "date")]
    return next(filter(None, map(_iso, candidates)), None)


def _iso(text: str) -> str | None:
    """Normalise a date, with or without time, to ISO 8601; None where it is no sensible one."""
    text = re.sub(r"^(\d{4})[:/](\d\d)[:/](\d\d)", r"\1-\2-\3", text.strip())
    if re.fullmatch(r"\d{4}(-\d\d)?", text):  # a year or a month is all that some tags say
        return text if int(text[:4]) > 1990 else None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    if moment.year <= 1990 or not re.match(r"\d{4}-\d\d-\d\d", text):
        return None
    if len(text) == 10:
        return text
    exact = "seconds" if _WITH_SECONDS.match(text) else "minutes"
    return moment.isoformat(timespec=exact).replace("+00:00", "Z")
