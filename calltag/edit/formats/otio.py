"""OpenTimelineIO: one timeline, each take a clip with its markers.

Takes with a picture follow one another on a video track, takes of sound alone on an audio track.
Times are source timecode: a clip's available range begins at the take's start timecode, and markers
count from there. Past midnight frames go on counting. A take with a speed has a linear time warp;
its source range and its markers are then in frames as played, which is how OpenTimelineIO's own
conversion to the track reads them, and the frame of the take is kept with the marker's metadata.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path, PurePosixPath, PureWindowsPath
from types import MappingProxyType
from typing import Any

import opentimelineio as otio
from opentimelineio.opentime import RationalTime, TimeRange

from calltag.edit.formats import WriteOptions
from calltag.edit.markers import Placed, TakeMarkers, place
from calltag.edit.retime import place_played, played_frame
from calltag.errors import InputError
from calltag.files import write_texts
from calltag.media.timing.clock import common_rate
from calltag.media.timing.timecode import Rate, parse_start
from calltag.records.found import Call
from calltag.records.marker import Marker
from calltag.records.take import Take
from calltag.spelling import one_line

NAME = "otio"
SUFFIX = ".otio"
PER_TAKE = False
OWN_START = True

_COLORS = {
    "call": otio.schema.MarkerColor.GREEN,
    "usable": otio.schema.MarkerColor.CYAN,
    "noise": otio.schema.MarkerColor.RED,
}


def write(take_markers: Sequence[TakeMarkers], out: Path, options: WriteOptions) -> list[Path]:
    """Write markers as an OpenTimelineIO timeline.

    Parameters
    ----------
    take_markers : sequence of TakeMarkers
        Takes and their markers.
    out : Path
        The file.
    options : WriteOptions
        Title and start of the timeline.

    Returns
    -------
    list of Path
        The file written.

    Raises
    ------
    InputError
        If there is no take, or the file exists already or cannot be written.
    """
    if not take_markers:
        raise InputError(f"{out.name}: there is no take to put on a timeline")
    tracks = []
    for name, kind, picture in (
        ("picture", otio.schema.TrackKind.Video, True),
        ("sound", otio.schema.TrackKind.Audio, False),
    ):
        clips = [
            make_clip(one, kind, with_markers=True)
            for one in take_markers
            if one.take.has_picture is picture
        ]
        if clips:
            tracks.append(otio.schema.Track(name=name, kind=kind, children=clips))
    return write_timeline(tracks, timeline_rate(take_markers), out, options)


def timeline_rate(take_markers: Sequence[TakeMarkers]) -> Rate:
    """Find the rate that a timeline of some takes counts at.

    Parameters
    ----------
    take_markers : sequence of TakeMarkers
        Takes and their markers, at least one.

    Returns
    -------
    Rate
        That of most of the takes with a picture; without any, that of the sound.
    """
    if any(one.take.fps is not None for one in take_markers):
        return common_rate(one.take for one in take_markers)
    return take_markers[0].rate


def write_timeline(
    tracks: Sequence[Any],
    rate: Rate,
    out: Path,
    options: WriteOptions,
    *,
    beside: Mapping[Path, Path] = MappingProxyType({}),
) -> list[Path]:
    """Write tracks as a timeline.

    Parameters
    ----------
    tracks : sequence of otio.schema.Track
        The tracks, pictures first.
    rate : Rate
        What the timeline counts at.
    out : Path
        The file.
    options : WriteOptions
        Title and start of the timeline.
    beside : mapping of Path to Path
        What is written with it, or neither: see `calltag.files.written_together`.

    Returns
    -------
    list of Path
        The file of the timeline.

    Raises
    ------
    InputError
        If the file exists already or cannot be written.
    """
    timeline = otio.schema.Timeline(
        name=one_line(options.title or out.stem),
        global_start_time=_time(parse_start(options.record_start, rate), rate),
    )
    timeline.tracks.extend(tracks)
    text = otio.adapters.write_to_string(timeline, "otio_json")
    return write_texts({out: text + "\n"}, replace=options.replace, beside=beside)


def make_clip(
    take_markers: TakeMarkers,
    kind: str,
    stretch: tuple[int, int] | None = None,
    *,
    with_markers: bool = False,
) -> Any:
    """Make a clip of a take, or of a stretch of it.

    Parameters
    ----------
    take_markers : TakeMarkers
        The take, its markers and its speed.
    kind : str
        The track's (`otio.schema.TrackKind`): the picture may end before the sound, and of it no
        more is available than there is.
    stretch : tuple of int and int, optional
        Its first frame and the first after it, counted from the take's first.
    with_markers : bool
        Whether to set the take's markers on the clip; what is heard after the clip is marked on its
        last frame.

    Returns
    -------
    otio.schema.Clip
        The clip, linked to the take's file.
    """
    take, clock, speed = take_markers.take, take_markers.clock, take_markers.speed
    start = clock.start_frame
    pictures = kind == otio.schema.TrackKind.Video
    available = clock.n_pictures if pictures else clock.n_frames
    first, end = stretch or (0, available)
    reference = otio.schema.ExternalReference(
        target_url=_address(take),
        available_range=_range(start, available, clock.rate),
    )
    reference.name = Path(take.path).name
    clip = otio.schema.Clip(name=one_line(Path(take.path).name), media_reference=reference)
    clip.metadata["calltag"] = {"take": take.path, "rate": str(clock.rate.fps)}
    if take_markers.notes:
        clip.metadata["calltag"]["notes"] = list(take_markers.notes)
    if take_markers.conformed_from is not None:
        clip.metadata["calltag"]["filmed_at"] = str(take_markers.conformed_from.fps)
    if speed != 1:
        clip.metadata["calltag"]["speed"] = str(speed)
        clip.effects.append(otio.schema.LinearTimeWarp(time_scalar=float(speed)))
        length = played_frame(end - first, speed)
    else:
        length = end - first
    clip.source_range = _range(start + first, length, clock.rate)
    if with_markers:
        placed = zip(place(take_markers), place_played(take_markers), strict=True)
        last = played_frame(end, speed) - 1
        for own, shown in placed:
            inside = Placed(shown.marker, min(shown.first, last), min(shown.end, last + 1))
            clip.markers.append(_marker(take_markers, own, inside))
    return clip


def make_gap(n_frames: int, rate: Rate) -> Any:
    """Make a stretch of nothing.

    Parameters
    ----------
    n_frames : int
        Its length.
    rate : Rate
        What it counts at.

    Returns
    -------
    otio.schema.Gap
        The gap.
    """
    return otio.schema.Gap(source_range=_range(0, n_frames, rate))


def _address(take: Take) -> str:
    """The address of a take's file, also where the log was written on another system."""
    source = take.found_at or take
    paths = (kind(source.rushes, source.path) for kind in (Path, PureWindowsPath, PurePosixPath))
    whole = next((path for path in paths if path.is_absolute()), take.file.absolute())
    return whole.as_uri()


def _marker(take_markers: TakeMarkers, own: Placed, shown: Placed) -> Any:
    marker, clock = own.marker, take_markers.clock
    made = otio.schema.Marker(
        name=one_line(marker.name),
        comment=one_line(marker.comment),
        color=_COLORS.get(marker.kind, otio.schema.MarkerColor.YELLOW),
        marked_range=_range(clock.start_frame + shown.first, shown.end - shown.first, clock.rate),
    )
    made.metadata["calltag"] = {**_facts(marker), "first_frame": own.first, "end_frame": own.end}
    return made


def _facts(marker: Marker) -> dict[str, Any]:
    facts: dict[str, Any] = {"kind": marker.kind, "label": marker.name}
    if marker.confidence is not None:
        facts["confidence"] = round(marker.confidence, 3)
    if isinstance(call := marker.call, Call):
        facts["label"] = call.label
        for name in ("snr_db", "level_dbfs", "low_hz", "high_hz"):
            if math.isfinite(value := getattr(call, name)):
                facts[name] = round(float(value), 1)
        if call.noise:
            facts["noise"] = list(call.noise)
    return facts


def _time(frame: int, rate: Rate) -> RationalTime:
    return RationalTime(frame, float(rate.fps))


def _range(first: int, length: int, rate: Rate) -> TimeRange:
    return TimeRange(_time(first, rate), _time(length, rate))
