"""What an open clip states of its streams: picture, sound, where its clock begins, how long it is.

Nothing is decoded. Lengths and starts are those of the container; what it is silent about is told
as such, or counted by going through its packets.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from fractions import Fraction

import av
from av.audio.codeccontext import AudioCodecContext
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.packet import Packet
from av.stream import Discard, Disposition, Stream
from av.video.stream import VideoStream

_RAW_SOUND = frozenset(("aac", "ac3", "eac3", "amr", "loas"))  # these state no length

_HIGHEST = {
    "pcm_u8": 127 / 128,
    "pcm_s8": 127 / 128,
    "pcm_alaw": 4032 / 4096,
    "pcm_mulaw": 8031 / 8192,
}


def picture_stream(container: InputContainer) -> VideoStream | None:
    """Find the stream of moving pictures that is the take's picture.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.

    Returns
    -------
    av.video.stream.VideoStream or None
        The first of `picture_streams`; None where there is none.
    """
    return next(iter(picture_streams(container)), None)


def picture_streams(container: InputContainer) -> list[VideoStream]:
    """Find all streams of moving pictures; cover art and thumbnails are none.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.

    Returns
    -------
    list of av.video.stream.VideoStream
        The pictures.
    """
    still = Disposition.attached_pic | Disposition.timed_thumbnails | Disposition.still_image
    return [
        stream
        for stream in container.streams.video
        if not stream.disposition & still and not container.format.name.endswith("_pipe")
    ]


def sound_streams(container: InputContainer) -> list[AudioStream]:
    """Find the streams of sound that can be decoded.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.

    Returns
    -------
    list of av.audio.stream.AudioStream
        Those that there is a decoder for, and that state their rate and channels; in order.
    """
    return [stream for stream in container.streams.audio if _is_decodable(stream)]


def _is_decodable(stream: AudioStream) -> bool:
    # Without a decoder there is no context, whatever the library's annotations say.
    context: AudioCodecContext | None = stream.codec_context
    return context is not None and context.sample_rate > 0 and context.channels > 0


def stores_floats(stream: AudioStream) -> bool:
    """Tell whether a sound stream is stored as plain floats.

    Parameters
    ----------
    stream : av.audio.stream.AudioStream
        One of `sound_streams`.

    Returns
    -------
    bool
        Whether its samples are floats in the file; lossy codecs decode to floats as well.
    """
    return stream.codec_context.name.startswith("pcm_f")


def highest_sample(stream: AudioStream) -> float:
    """Tell what the highest sample is that a sound stream can hold.

    Parameters
    ----------
    stream : av.audio.stream.AudioStream
        One of `sound_streams`.

    Returns
    -------
    float
        The highest one, full scale at 1: what is louder was clipped there.

    References
    ----------
    .. [1] ITU-T G.711, Pulse code modulation (PCM) of voice frequencies, 1988, tables 1a and 2a:
       the outermost values of the A-law and the µ-law are 4032 of 4096 and 8031 of 8192.
    """
    return _HIGHEST.get(stream.codec_context.name, 1.0)


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
        Seconds from the start of the take. Where the format states none, all packets are gone
        through, and none is left to read.
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
    ends = [
        (packet.pts + (packet.duration or 0)) * packet.time_base
        for packet in readable_packets(container)
        if packet.pts is not None
    ]
    return float(max([start, *ends]) - start)


def readable_packets(
    container: InputContainer, stream: Stream | None = None
) -> Iterator[Packet[Stream]]:
    """Go through the packets of a clip, as far as they can be read.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.
    stream : av.stream.Stream, optional
        The stream whose packets are wanted; all of them unless given.

    Yields
    ------
    av.packet.Packet
        The next one, from where the clip is read on.
    """
    with suppress(av.error.FFmpegError):
        yield from container.demux() if stream is None else container.demux(stream)


def drop_all_but(container: InputContainer, kept: list[int]) -> None:
    """Have all other streams skipped, unread where the container allows it.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.
    kept : list of int
        Indices of the streams that are wanted.
    """
    for stream in container.streams:
        stream.discard = Discard.default if stream.index in kept else Discard.all
