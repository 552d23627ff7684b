"""Matroska chapters: a copy of each take, picture and sound untouched, with a chapter a marker.

Nothing is decoded: the take's packets are copied into a Matroska file (``.mkv``, ``.mka`` without a
picture); cover art and thumbnails are left out. Chapters cannot overlap (RFC 9559, clause 5.1.7):
one that would ends where the next begins, and markers that begin on the same frame share a chapter.
A chapter begins with the last millisecond before its frame, as Matroska keeps the time of frames to
the millisecond. The copy says that calltag wrote it, so that it is not logged as a take.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from fractions import Fraction
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import av
from av.container import InputContainer
from av.packet import Packet
from av.stream import Stream

from calltag.edit.formats import WriteOptions
from calltag.edit.markers import TakeMarkers, place
from calltag.edit.take_files import check_own_speed, per_take_paths, write_copies
from calltag.errors import MediaError
from calltag.files import written_whole
from calltag.media.opening import open_take
from calltag.media.streams import picture_streams, take_start_s
from calltag.media.wave_files.bext import ORIGINATOR
from calltag.records.take import Take, states_time
from calltag.spelling import one_line

if TYPE_CHECKING:
    from av.container.core import Chapter

NAME = "chapters"
SUFFIX = ".mkv"
PER_TAKE = True
OWN_START = False

_SOUND_SUFFIX = ".mka"
_NANOSECOND = Fraction(1, 10**9)
_WAIT_S = 10  # the writer itself holds packets for as long


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
        If `out` is a file, a take is not played at its own speed, or a file exists already or
        cannot be written.
    MediaError
        If a take cannot be read, or holds what Matroska cannot.
    """
    marked = [one for one in take_markers if one.markers]
    check_own_speed(marked, "a copy with chapters")
    paths = [
        path if one.take.has_picture else path.with_suffix(_SOUND_SUFFIX)
        for path, one in zip(per_take_paths(marked, out, SUFFIX), marked, strict=True)
    ]
    return write_copies(marked, paths, out, options, _write_copy)


def chapters_of(take_markers: TakeMarkers, origin_s: Fraction) -> list[Chapter]:
    """Make the chapters of a take.

    Parameters
    ----------
    take_markers : TakeMarkers
        A take and its markers.
    origin_s : Fraction
        When the take's first frame is shown, on the clock of the file.

    Returns
    -------
    list of dict
        As PyAV's `set_chapters` takes them, in nanoseconds, none overlapping another.
    """
    fps = take_markers.clock.rate.fps
    joined: list[tuple[int, int, str]] = []
    for marker, first, end in place(take_markers):
        name = one_line(marker.name)
        if joined and joined[-1][0] == first:
            name = f"{joined.pop()[2]} + {name}"
        joined.append((first, end, name))
    followers = [*(first for first, _, _ in joined[1:]), take_markers.clock.n_frames]
    return [
        {
            "id": number,
            "start": _nanoseconds(origin_s + first / fps),
            "end": _nanoseconds(origin_s + min(end, following) / fps),
            "time_base": _NANOSECOND,
            "metadata": {"title": name},
        }
        for number, ((first, end, name), following) in enumerate(
            zip(joined, followers, strict=False), 1
        )
    ]


def _nanoseconds(seconds: Fraction) -> int:
    return (seconds * 1000).__floor__() * 1_000_000


def _write_copy(source: Path, path: Path, one: TakeMarkers) -> None:
    with written_whole(path) as partial:
        _copy(source, partial, one)


def _copy(source: Path, target: Path, take_markers: TakeMarkers) -> None:
    with open_take(source) as container:
        streams = [*picture_streams(container), *container.streams.audio]
        packets = _packets(source, container, streams)
        waiting, shift_ms = _first_packets(packets, len(streams))
        chapters = chapters_of(take_markers, take_start_s(container) + Fraction(shift_ms, 1000))
        with _written(source), av.open(str(target), "w", format="matroska") as copy:
            copy.metadata.update(_tags(container, take_markers.take))
            copy.metadata["encoding_tool"] = ORIGINATOR  # becomes the element WritingApp
            copies = {}
            for stream in streams:
                copies[stream.index] = copy.add_stream_from_template(stream)
                copies[stream.index].metadata.update(stream.metadata)
            copy.set_chapters(chapters)
            for packet in chain(waiting, packets):
                if packet.size:
                    _to_milliseconds(packet, shift_ms)
                    packet.stream = copies[packet.stream.index]
                    copy.mux(packet)


@contextmanager
def _written(source: Path) -> Iterator[None]:
    """Say of what keeps a copy from being written whether it is of the disk, or of the take."""
    try:
        yield
    except (av.error.FFmpegError, ValueError) as error:
        if isinstance(error, OSError):
            raise OSError(error.errno, error.strerror) from error
        raise MediaError(
            source,
            f"does not fit a Matroska file ({error}); write its markers as another format",
        ) from error


def _tags(container: InputContainer, take: Take) -> dict[str, str]:
    """The tags of a take, its start with its day: the writer would add today's to a mere time."""
    tags = dict(container.metadata)
    if "-" not in tags.get("creation_time", "-"):
        del tags["creation_time"]
        if states_time(take.recorded):
            tags["creation_time"] = take.recorded
    return tags


def _packets(
    source: Path, container: InputContainer, streams: list[Stream]
) -> Iterator[Packet[Any]]:
    try:
        yield from container.demux(streams)
    except av.error.FFmpegError as error:
        raise MediaError(
            source,
            f"cannot be read to its end ({error.strerror}), so no copy was made;"
            " copy it from the card again",
        ) from error


def _first_packets(packets: Iterator[Packet[Any]], n_streams: int) -> tuple[list[Packet[Any]], int]:
    """Packets until each stream has begun, and by how much they begin before zero.

    The writer would move all streams by that much, and the chapters not. A stream that has not
    begun when another has run for `_WAIT_S` does not begin before zero, if it does at all.
    """
    waiting: list[Packet[Any]] = []
    begun: dict[int, Fraction] = {}
    for packet in packets:
        waiting.append(packet)
        stamp = packet.dts if packet.pts is None else packet.pts
        if stamp is None:
            continue
        at_s = stamp * packet.time_base
        if packet.pts is not None:
            begun.setdefault(packet.stream.index, at_s)
        if len(begun) == n_streams or at_s > min(begun.values(), default=Fraction(0)) + _WAIT_S:
            break
    return waiting, max(0, (-min(begun.values(), default=Fraction(0)) * 1000).__ceil__())


def _to_milliseconds(packet: Packet[Any], shift_ms: int) -> None:
    """Put a packet on Matroska's clock, rounded as the chapters expect."""
    tick_ms = packet.time_base * 1000
    if packet.pts is not None:
        packet.pts = round(packet.pts * tick_ms) + shift_ms
    if packet.dts is not None:
        packet.dts = round(packet.dts * tick_ms) + shift_ms
    if packet.duration:
        packet.duration = round(packet.duration * tick_ms)
    packet.time_base = Fraction(1, 1000)
