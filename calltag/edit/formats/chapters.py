"""Matroska chapters: a copy of each take, picture and sound untouched, with a chapter a marker.

Nothing is decoded: the take's packets are copied into a Matroska file (``.mkv``, ``.mka`` without a
picture). Chapters cannot overlap (RFC 9559, clause 5.1.7): one that would ends where the next
begins, and markers that begin on the same frame share a chapter. A chapter begins with the last
millisecond before its frame, as Matroska keeps the time of frames to the millisecond.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import av

from calltag.edit.formats import WriteOptions, check_own_speed, per_take_paths, refuse_footage
from calltag.edit.markers import TakeMarkers, place
from calltag.edit.text import one_line
from calltag.errors import InputError
from calltag.files import refuse_existing, written_whole
from calltag.media.opening import open_take
from calltag.media.probe import take_start_s

if TYPE_CHECKING:
    from av.container.core import Chapter

NAME = "chapters"
SUFFIX = ".mkv"
PER_TAKE = True

_SOUND_SUFFIX = ".mka"
_NANOSECOND = Fraction(1, 10**9)


def write(take_markers: Sequence[TakeMarkers], out: Path, options: WriteOptions) -> list[Path]:
    """Write a Matroska copy, with chapters, of each take that has a marker.

    Parameters
    ----------
    take_markers : sequence of TakeMarkers
        Takes and their markers.
    out : Path
        The folder.
    options : WriteOptions
        Whether existing files may be replaced.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        If `out` is a file, a take is not played at its own speed, holds what Matroska cannot, or a
        file exists already or cannot be written.
    MediaError
        If a take cannot be read.
    """
    marked = [one for one in take_markers if one.markers]
    check_own_speed(marked, "a copy with chapters")
    paths = [
        path if one.take.has_picture else path.with_suffix(_SOUND_SUFFIX)
        for path, one in zip(per_take_paths(marked, out, SUFFIX), marked, strict=True)
    ]
    sources = [Path(one.take.rushes, one.take.path) for one in marked]
    refuse_footage(paths, sources)
    refuse_existing(paths, replace=options.replace)
    for path, source, one in zip(paths, sources, marked, strict=True):
        with written_whole(path) as partial:
            _copy(source, partial, chapters_of(one))
    return paths


def chapters_of(take_markers: TakeMarkers) -> list[Chapter]:
    """Make the chapters of a take.

    Parameters
    ----------
    take_markers : TakeMarkers
        A take and its markers.

    Returns
    -------
    list of dict
        As PyAV's `set_chapters` takes them, in nanoseconds from the take's first frame, none
        overlapping another.
    """
    fps = take_markers.clock.rate.fps
    joined: list[tuple[int, int, str]] = []
    for marker, first, end in place(take_markers):
        name = one_line(marker.name)
        if joined and joined[-1][0] == first:
            before = joined.pop()
            joined.append((first, max(before[1], end), f"{before[2]} + {name}"))
        else:
            joined.append((first, end, name))
    starts = [first for first, _, _ in joined[1:]]
    return [
        {
            "id": number,
            "start": _nanoseconds(first, fps),
            "end": _nanoseconds(min(end, following), fps),
            "time_base": _NANOSECOND,
            "metadata": {"title": name},
        }
        for number, ((first, end, name), following) in enumerate(
            zip(joined, [*starts, take_markers.clock.n_frames], strict=True), 1
        )
    ]


def _nanoseconds(frame: int, fps: Fraction) -> int:
    return (frame * 1000 // fps) * 1_000_000


def _copy(source: Path, target: Path, chapters: list[Chapter]) -> None:
    with open_take(source) as container:
        start_ns = round(take_start_s(container) / _NANOSECOND)
        for chapter in chapters:
            chapter["start"] += start_ns
            chapter["end"] += start_ns
        try:
            with av.open(str(target), "w", format="matroska") as copy:
                copy.metadata.update(container.metadata)
                streams = {}
                for stream in (*container.streams.video, *container.streams.audio):
                    streams[stream.index] = copy.add_stream_from_template(stream)
                    streams[stream.index].metadata.update(stream.metadata)
                copy.set_chapters(chapters)
                for packet in container.demux(tuple(container.streams[i] for i in streams)):
                    if packet.dts is not None:
                        packet.stream = streams[packet.stream.index]
                        copy.mux(packet)
        except (av.error.FFmpegError, ValueError) as error:
            raise InputError(
                f"{source.name}: a Matroska file cannot hold this take ({error});"
                " write its markers in another format"
            ) from error
