"""What a clip says of itself: lengths, rates, start timecode, when it was recorded.

Only what is stated counts: nothing is decoded, and nothing is guessed where a clip is silent about
it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from calltag.errors import MediaError
from calltag.media.opening import open_take
from calltag.media.streams import (
    highest_sample,
    picture_duration_s,
    picture_stream,
    sound_streams,
    stores_floats,
    take_duration_s,
)
from calltag.media.timing.picture_rate import picture_rate
from calltag.media.timing.stated_start import start_timecode, tags_of, time_reference, when_recorded
from calltag.records.take import Take


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
        Start in samples since midnight (broadcast wave); None where none is stated, or one of two
        days or more, which no recording has.
    recorded : str or None
        When it was recorded, ISO 8601, as exact as stated.
    sample_rate_hz : int or None
        Rate of the first sound stream; None without sound.
    channels : int
        Channels over all sound streams.
    floats : bool
        Whether all its sound is stored as floats, which go above full scale unharmed.
    highest : float
        Highest sample that its sound can hold, full scale at 1; below 1 with eight bits.
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
    highest: float = 1.0
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
        sound = sound_streams(container)
        if picture is None and not sound:
            raise MediaError(
                path, "holds sound that cannot be decoded here; convert it to a usual format first"
            )
        duration_s = take_duration_s(container)
        fps, variable = picture_rate(container, picture) if picture is not None else (None, False)
        tags = tags_of(container)
        rate_hz = sound[0].rate if sound else None
        return MediaInfo(
            duration_s=duration_s,
            picture_s=picture_duration_s(container),
            fps=fps,
            variable_rate=variable,
            start_tc=start_timecode(container, path, None if variable else fps),
            time_reference=time_reference(tags, rate_hz),
            recorded=when_recorded(tags),
            sample_rate_hz=rate_hz,
            channels=sum(stream.codec_context.channels for stream in sound),
            floats=bool(sound) and all(stores_floats(stream) for stream in sound),
            highest=min(map(highest_sample, sound), default=1.0),
            width=picture.codec_context.width if picture is not None else 0,
            height=picture.codec_context.height if picture is not None else 0,
        )


def take_of(
    info: MediaInfo, *, path: str, rushes: str = "", digest: str = "", size_bytes: int = 0
) -> Take:
    """Make the record of a take of what its file says.

    Parameters
    ----------
    info : MediaInfo
        What was found.
    path, rushes, digest : str
        As in `Take`; a file that is in no log needs its path alone.
    size_bytes : int
        Size of the file.

    Returns
    -------
    Take
        The take, without levels.
    """
    return Take(
        path=path,
        rushes=rushes,
        digest=digest,
        size_bytes=size_bytes,
        duration_s=info.duration_s,
        picture_s=info.picture_s,
        fps=info.fps,
        variable_rate=info.variable_rate,
        start_tc=info.start_tc,
        time_reference=info.time_reference,
        recorded=info.recorded,
        sample_rate_hz=info.sample_rate_hz,
        channels=info.channels,
        width=info.width,
        height=info.height,
    )
