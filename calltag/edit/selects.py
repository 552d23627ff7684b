"""The best calls, one after another, as a timeline or an edit list.

Calls are ranked by what they are worth (`calltag.edit.worth`). Of calls that overlap, in a take or
a copy of it, the best is taken. Each comes with handles, as far as its take goes, picture and sound
from the same frames.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from operator import itemgetter
from pathlib import Path
from types import MappingProxyType

import opentimelineio as otio

from calltag.edit.formats import WriteOptions
from calltag.edit.formats import edl as edl_format
from calltag.edit.formats import otio as otio_format
from calltag.edit.markers import TakeMarkers, check_handles, from_log
from calltag.edit.worth import worth
from calltag.errors import InputError
from calltag.media.copies import same_take
from calltag.media.timing.clock import DEFAULT_RATE
from calltag.media.timing.timecode import Rate, frame_to_seconds, nearest_frame
from calltag.records.found import Call, TakeLog


@dataclass(frozen=True, slots=True, kw_only=True)
class Select:
    """A call chosen for the edit.

    Attributes
    ----------
    source : TakeMarkers
        Its take, with a marker on the call.
    call : Call
        The call.
    first, end : int
        The stretch with its handles: first frame and the first after it, counted from the take's
        first.
    """

    source: TakeMarkers
    call: Call
    first: int
    end: int

    @property
    def start_s(self) -> Fraction:
        """Where it begins, in seconds from the take's first frame, exact."""
        return frame_to_seconds(self.first, self.source.clock.rate.fps)

    @property
    def length_s(self) -> Fraction:
        """Length in seconds, exact."""
        return frame_to_seconds(self.end - self.first, self.source.clock.rate.fps)


def choose(
    take_logs: Iterable[TakeLog],
    *,
    best: int,
    handles_s: float = 0.0,
    rate: Rate = DEFAULT_RATE,
) -> list[Select]:
    """Choose the best calls.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes; all calls are chosen from.
    best : int
        How many to choose, at most.
    handles_s : float
        Seconds to keep before and after each call.
    rate : Rate
        How to count takes that have no rate of their own.

    Returns
    -------
    list of Select
        Best first.

    Raises
    ------
    InputError
        If `best` is not above zero or `handles_s` below it.
    """
    if best < 1:
        raise InputError(f"best {best}: choose one call or more")
    check_handles(handles_s)
    ranked = []
    for take_log in take_logs:
        marked = from_log(take_log, rate=rate)
        for marker in marked.markers:
            if (call := marker.call) is not None:
                order = (-worth(take_log, call), take_log.take.path, marker.start_s)
                ranked.append((order, marked, marker, call))
    chosen: list[Select] = []
    for _, marked, marker, call in sorted(ranked, key=itemgetter(0)):
        if len(chosen) == best:
            break
        if any(_overlap(select, marked, call) for select in chosen):
            continue
        one = TakeMarkers(take=marked.take, markers=(marker,), rate=marked.rate, notes=marked.notes)
        first, end = one.clock.frames(
            max(0.0, marker.start_s - handles_s), marker.end_s + handles_s
        )
        chosen.append(Select(source=one, call=call, first=first, end=end))
    return chosen


def write_selects(
    selects: Sequence[Select],
    out: Path,
    options: WriteOptions,
    *,
    gap_s: float = 0.0,
    beside: Mapping[Path, Path] = MappingProxyType({}),
) -> list[Path]:
    """Write selects as a timeline or as edit lists.

    Parameters
    ----------
    selects : sequence of Select
        The calls, in order.
    out : Path
        The file: ``.otio`` for a timeline, ``.edl`` for edit lists.
    options : WriteOptions
        Title and start of the timeline.
    gap_s : float
        Seconds left empty between calls.
    beside : mapping of Path to Path
        What is written with them, or neither, as sound is: where it was rendered, and its place.

    Returns
    -------
    list of Path
        The timeline, or the lists and their table of reels.

    Raises
    ------
    InputError
        If there is nothing to write, the suffix is another, an edit list cannot count a take's
        rate, or a file exists already or cannot be written.
    """
    _check_selects(selects, out)
    if _as_lists(out):
        return edl_format.write_lists(
            _events(selects, gap_s),
            out,
            options,
            if_too_fast="write a timeline (.otio) instead",
            beside=beside,
        )
    return _write_timeline(selects, out, options, gap_s, beside)


def selects_paths(selects: Sequence[Select], out: Path) -> list[Path]:
    """Name the files that `write_selects` writes.

    Parameters
    ----------
    selects : sequence of Select
        The calls, in order.
    out : Path
        The file that was asked for.

    Returns
    -------
    list of Path
        All of them.

    Raises
    ------
    InputError
        If there is nothing to write, or the suffix is another.
    """
    _check_selects(selects, out)
    return edl_format.list_paths(out, _list_tags(selects)) if _as_lists(out) else [out]


def sounds_of(selects: Sequence[Select], out: Path, sound: Path) -> dict[Path, list[Select]]:
    """Say which selects are to be heard in which file, so that each goes with one list.

    Parameters
    ----------
    selects : sequence of Select
        The calls, in order.
    out : Path
        The timeline or edit list that was asked for.
    sound : Path
        The wave file that was asked for.

    Returns
    -------
    dict of Path to list of Select
        One file for a timeline; for edit lists one for each, its name with rate and number added as
        theirs are.
    """
    if not _as_lists(out):
        return {sound: list(selects)}
    sounds: dict[Path, list[Select]] = {}
    for select, tag in zip(selects, _list_tags(selects), strict=True):
        path = sound.with_name(f"{sound.stem}{tag}{sound.suffix}")
        sounds.setdefault(path, []).append(select)
    return sounds


def _check_selects(selects: Sequence[Select], out: Path) -> None:
    """Make sure that there are selects, and that they can be written as asked."""
    if not selects:
        raise InputError(f"{out.name}: no call was chosen; `calltag calls` lists them")
    check_name(out)


def check_name(out: Path) -> None:
    """Make sure that a file of selects is called what it is.

    Parameters
    ----------
    out : Path
        The file to write.

    Raises
    ------
    InputError
        If its name ends neither as a timeline's nor as an edit list's.
    """
    if out.suffix.lower() not in (edl_format.SUFFIX, otio_format.SUFFIX):
        raise InputError(
            f"{out}: selects are a timeline (.otio) or an edit list (.edl); end the name so"
        )


def _list_tags(selects: Sequence[Select]) -> list[str]:
    return edl_format.list_tags([select.source.clock.rate for select in selects])


def _as_lists(out: Path) -> bool:
    return out.suffix.lower() == edl_format.SUFFIX


def gap_frames(gap_s: float, rate: Rate) -> int:
    """Count the frames between two selects.

    Parameters
    ----------
    gap_s : float
        Seconds.
    rate : Rate
        The timeline's rate.

    Returns
    -------
    int
        The nearest number of frames.

    Raises
    ------
    InputError
        If `gap_s` is below zero.
    """
    if not 0 <= gap_s < math.inf:
        raise InputError(f"gap {gap_s:g}: give seconds, zero or more")
    return nearest_frame(gap_s, rate.fps)


def timeline_rate(selects: Sequence[Select]) -> Rate:
    """Find the rate that a timeline of selects counts at.

    Parameters
    ----------
    selects : sequence of Select
        The calls, at least one.

    Returns
    -------
    Rate
        As `calltag.edit.formats.otio.timeline_rate` has it.
    """
    return otio_format.timeline_rate([select.source for select in selects])


def _overlap(select: Select, marked: TakeMarkers, call: Call) -> bool:
    return same_take(select.source.take, marked.take) and select.call.span.overlaps(call.span)


def _events(selects: Sequence[Select], gap_s: float) -> list[edl_format.Event]:
    events = []
    for select in selects:
        (marker,) = select.source.markers
        events.append(
            edl_format.Event(
                source=select.source,
                first=select.first,
                end=select.end,
                notes=edl_format.marker_notes(marker),
                gap_frames=gap_frames(gap_s, select.source.clock.rate),
            )
        )
    return events


def _write_timeline(
    selects: Sequence[Select],
    out: Path,
    options: WriteOptions,
    gap_s: float,
    beside: Mapping[Path, Path],
) -> list[Path]:
    rate = timeline_rate(selects)
    between = gap_frames(gap_s, rate)
    picture = otio.schema.Track(name="picture", kind=otio.schema.TrackKind.Video)
    sound = otio.schema.Track(name="sound", kind=otio.schema.TrackKind.Audio)
    for number, select in enumerate(selects):
        if number and between:
            picture.append(otio_format.make_gap(between, rate))
            sound.append(otio_format.make_gap(between, rate))
        source, stretch = select.source, (select.first, select.end)
        seen = select.first < source.clock.n_pictures
        picture.append(
            otio_format.make_clip(source, picture.kind, stretch, with_markers=True)
            if seen
            else otio_format.make_gap(select.end - select.first, source.clock.rate)
        )
        sound.append(otio_format.make_clip(source, sound.kind, stretch, with_markers=not seen))
    tracks = [picture, sound] if any(picture.find_clips()) else [sound]
    return otio_format.write_timeline(tracks, rate, out, options, beside=beside)
