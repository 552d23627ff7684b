"""Edit list, in the columns that CMX 3600 made common: every marker an event, from in to out.

Outs are exclusive. Record times are butted, from one hour unless told otherwise. A list has one
frame rate and one count, stated by its `FCM` line, and at most 999 events; where that does not
suffice, several lists are written. Labels go from 23:59:59 to 00:00:00, as SMPTE ST 12-1 has it: an
out past midnight is a smaller number than its in, which not every reader takes, and that is told.
Reels have eight letters or digits at most and no two takes share one; a table beside the lists
tells which take each reel is. Text is ASCII, one line a note.

The columns, and that reels have eight characters and lists 999 events, are common practice; the
standard for edit lists, SMPTE 258M, has a form of its own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from calltag.edit.formats import WriteOptions
from calltag.edit.markers import TakeMarkers, place
from calltag.edit.retime import played_frame
from calltag.edit.tables import csv_text
from calltag.errors import InputError
from calltag.files import write_texts
from calltag.media.timing.timecode import (
    Rate,
    format_timecode,
    frames_per_day,
    nominal,
    parse_start,
    rate_text,
)
from calltag.records.marker import Marker
from calltag.records.take import Problem, Take
from calltag.spelling import ascii_line
from calltag.words import first_few

NAME = "edl"
SUFFIX = ".edl"
PER_TAKE = False
OWN_START = True

MOST_EVENTS = 999
"""Events in one list."""

_REEL_LENGTH = 8
_TITLE_LENGTH = 60
_NOTE_LENGTH = 120
_FASTEST_FPS = 100  # above, frames no longer fit into two digits
_CONFORM = (
    "give the rate that it is played at with --conform; a table with the columns take and fps "
    "gives it to this take alone"
)
_RESERVED = frozenset({"AX", "BL", "BLACK", "BARS", "NONE"})  # reel names that mean no tape


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A stretch of a take on its way into an edit list.

    Attributes
    ----------
    source : TakeMarkers
        The take, and how it is played.
    first, end : int
        Its first frame and the first after it, counted from the take's first.
    notes : tuple of str
        Notes to write below it.
    gap_frames : int
        Frames left empty on the record side after it.
    """

    source: TakeMarkers
    first: int
    end: int
    notes: tuple[str, ...] = ()
    gap_frames: int = 0


def write(take_markers: Sequence[TakeMarkers], out: Path, options: WriteOptions) -> list[Path]:
    """Write markers as edit lists.

    Parameters
    ----------
    take_markers : sequence of TakeMarkers
        Takes and their markers.
    out : Path
        The file; where several lists are needed, its name with rate and number added.
    options : WriteOptions
        Title, and timecode that the record side begins at.

    Returns
    -------
    list of Path
        The lists, then the table of reels.

    Raises
    ------
    InputError
        If there is no event, all takes have more than 100 frames per second, or one has and nobody
        wants to be told, or a file exists already or cannot be written.
    """
    events = [
        Event(source=one, first=first, end=end, notes=marker_notes(marker))
        for one in take_markers
        for marker, first, end in place(one)
    ]
    listed = [event for event in events if not _too_fast(event)]
    if options.on_problem is None or not listed:
        return write_lists(events, out, options)
    written = write_lists(listed, out, options)
    for take, event in {e.source.take.path: e for e in events if _too_fast(e)}.items():
        reason = f"it is not in the list: {_refusal(event, _CONFORM)}"
        options.on_problem(Problem(path=take, reason=reason))
    return written


def marker_notes(marker: Marker) -> tuple[str, ...]:
    """Say what a marker says, for the notes of its event.

    Parameters
    ----------
    marker : Marker
        The marker.

    Returns
    -------
    tuple of str
        Its name and, where it has one, its comment.
    """
    name = f"MARKER: {marker.name}"
    return (name, f"NOTE: {marker.comment}") if marker.comment else (name,)


def write_lists(
    events: Sequence[Event],
    out: Path,
    options: WriteOptions,
    *,
    if_too_fast: str = _CONFORM,
    beside: Mapping[Path, Path] = MappingProxyType({}),
) -> list[Path]:
    """Write events as edit lists.

    Parameters
    ----------
    events : sequence of Event
        The events, in order of the record side.
    out : Path
        The file; where several lists are needed, its name with rate and number added.
    options : WriteOptions
        Title, and timecode that the record side begins at.
    if_too_fast : str
        What to do about a picture of more than 100 frames per second, for the sentence.
    beside : mapping of Path to Path
        What is written with them, or neither: see `calltag.files.written_together`.

    Returns
    -------
    list of Path
        The lists, then the table of reels.

    Raises
    ------
    InputError
        If there is no event, a take has more than 100 frames per second, or a file exists already
        or cannot be written.
    """
    if not events:
        raise InputError(f"{out.name}: there is nothing to list")
    for event in events:
        if _too_fast(event):
            raise InputError(f"{event.source.take.path}: {_refusal(event, if_too_fast)}")
    tags = list_tags([event.source.clock.rate for event in events])
    reels = name_reels(event.source.take for event in events)
    *lists, table = list_paths(out, tags)
    texts: dict[Path, str] = {}
    notes: list[str] = []
    for path, tag in zip(lists, dict.fromkeys(tags), strict=True):
        part = [event for event, its in zip(events, tags, strict=True) if its == tag]
        title = (options.title or out.stem) + tag.replace("_", " ")
        rate = part[0].source.clock.rate
        texts[path] = _list_text(part, rate, reels, title, options.record_start)
        notes += _over_midnight(part, rate, path.name, options.record_start)
    texts[table] = _reel_table(events, reels)
    written = write_texts(texts, replace=options.replace, beside=beside)
    if options.on_note is not None:
        for note in notes:
            options.on_note(note)
    return written


def _over_midnight(
    events: Sequence[Event], rate: Rate, name: str, record_start: str
) -> Iterator[str]:
    """Say where an out of a list is a smaller number than its in."""
    takes = dict.fromkeys(
        event.source.take.path
        for event in events
        if event.source.clock.label(event.end) <= event.source.clock.label(event.first)
    )
    if takes:
        yield (
            f"{name}: timecode begins anew at midnight within an event of"
            f" {first_few(list(takes))}; an editing program that refuses the list, or shows that"
            " event wrongly, may read a timeline (.otio)"
        )
    length = sum(_record_length(event) + event.gap_frames for event in events)
    if parse_start(record_start, rate) + length - events[-1].gap_frames >= frames_per_day(rate):
        yield (
            f"{name}: it begins at {record_start} and goes on past midnight, where timecode"
            " begins anew and editing programs may refuse it; begin it earlier with --start-tc"
        )


def _record_length(event: Event) -> int:
    return played_frame(event.end - event.first, event.source.speed)


def _too_fast(event: Event) -> bool:
    return event.source.clock.rate.fps > _FASTEST_FPS


def _refusal(event: Event, if_too_fast: str) -> str:
    remedy = if_too_fast if event.source.take.fps is not None else "give another with --fps"
    fps = rate_text(event.source.clock.rate.fps)
    return f"an edit list cannot count {fps} frames per second; {remedy}"


def list_tags(rates: Sequence[Rate]) -> list[str]:
    """Say which list each event goes to.

    Parameters
    ----------
    rates : sequence of Rate
        What each event counts at.

    Returns
    -------
    list of str
        For each, what is added to the name of its list: the rate where there are several, a number
        where one rate has more than `MOST_EVENTS`.

    Examples
    --------
    >>> from fractions import Fraction
    >>> list_tags([Rate(Fraction(25)), Rate(Fraction(50)), Rate(Fraction(25))])
    ['_25', '_50', '_25']
    """
    totals = Counter(rates)
    seen: Counter[Rate] = Counter()
    tags = []
    for rate in rates:
        tag = f"_{rate_text(rate.fps)}{'df' if rate.drop else ''}" if len(totals) > 1 else ""
        if totals[rate] > MOST_EVENTS:
            tag += f"_{seen[rate] // MOST_EVENTS + 1}"
        seen[rate] += 1
        tags.append(tag)
    return tags


def list_paths(out: Path, tags: Sequence[str]) -> list[Path]:
    """Name the files of edit lists.

    Parameters
    ----------
    out : Path
        The file that was asked for.
    tags : sequence of str
        As `list_tags` gives them.

    Returns
    -------
    list of Path
        A list for each of the tags, in their order, then the table of reels.
    """
    suffix = out.suffix or SUFFIX
    lists = [out.with_name(f"{out.stem}{tag}{suffix}") for tag in dict.fromkeys(tags)]
    return [*lists, out.with_name(f"{out.stem}.reels.csv")]


def name_reels(takes: Iterable[Take]) -> dict[str, str]:
    """Give each take a reel name of its own.

    Parameters
    ----------
    takes : iterable of Take
        The takes, in any number and order; the order decides between two of the same name.

    Returns
    -------
    dict of str to str
        Reel by path of the take: the first eight ASCII letters and digits of the file's name, in
        capitals, the last of them a number where another take, or a name with a meaning of its own,
        would be the same.

    Examples
    --------
    >>> names = ("a/C0001_reeds.mov", "b/C0001_reed.mov")
    >>> takes = [
    ...     Take(path=name, rushes="/r", digest="", size_bytes=0, duration_s=1) for name in names
    ... ]
    >>> list(name_reels(takes).values())
    ['C0001REE', 'C0001R02']
    """
    reels: dict[str, str] = {}
    used = set(_RESERVED)
    for take in takes:
        if take.path in reels:
            continue
        letters = ascii_line(Path(take.path).stem).upper()
        plain = "".join(c for c in letters if c.isalnum()) or "TAKE"
        reel, number = plain[:_REEL_LENGTH], 1
        while reel in used:
            number += 1
            digits = f"{number:02d}"
            reel = plain[: _REEL_LENGTH - len(digits)] + digits
        used.add(reel)
        reels[take.path] = reel
    return reels


def _list_text(
    events: Sequence[Event], rate: Rate, reels: dict[str, str], title: str, record_start: str
) -> str:
    count = "DROP FRAME" if rate.drop else "NON-DROP FRAME"
    lines = [f"TITLE: {ascii_line(title, _TITLE_LENGTH)}", f"FCM: {count}", ""]
    record = parse_start(record_start, rate)
    for number, event in enumerate(events, 1):
        one = event.source
        reel = reels[one.take.path]
        source_in, source_out = one.clock.label(event.first), one.clock.label(event.end)
        length = _record_length(event)
        record_in = format_timecode(record, rate)
        record_out = format_timecode(record + length, rate)
        record += length + event.gap_frames
        lines.append(
            f"{number:03d}  {reel:<8} {_track(one.take):<5} {'C':<8} "
            f"{source_in} {source_out} {record_in} {record_out}"
        )
        if one.speed != 1:
            # Frames of the take a second. Colons, as readers expect here: FCM tells the count.
            shown = f"{float(one.speed) * nominal(rate.fps):05.1f}"
            lines.append(
                f"M2   {reel:<8}       {shown}                {source_in.replace(';', ':')}"
            )
        notes = list(event.notes)
        if one.speed != 1:
            notes.append(f"SPEED: {float(100 * one.speed):g} %")
        if one.conformed_from is not None:
            notes.append(f"FILMED AT: {one.conformed_from}")
        # Whole, however long: takes are found again by it.
        lines.append(f"* FROM CLIP NAME: {ascii_line(Path(one.take.path).name)}")
        lines += [f"* {ascii_line(note, _NOTE_LENGTH)}" for note in notes]
    return "".join(f"{line}\r\n" for line in lines)


def _track(take: Take) -> str:
    """Tracks of an event: picture, and up to two of sound."""
    sound = "AA" if take.channels > 1 else "A" if take.channels else ""
    if not take.has_picture:
        return sound
    return {"": "V", "A": "B", "AA": "AA/V"}[sound]


def _reel_table(events: Sequence[Event], reels: dict[str, str]) -> str:
    sources = {event.source.take.path: event.source for event in events}
    rows = [
        {
            "reel": reel,
            "take": path,
            "rate": str(sources[path].clock.rate),
            "start_tc": sources[path].clock.label(0),
        }
        for path, reel in reels.items()
    ]
    return csv_text(("reel", "take", "rate", "start_tc"), rows)
