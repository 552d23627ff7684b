"""When a clip says that it begins: start timecode, samples since midnight, day and hour.

Only what is stated counts, and only where it can be true: the clock of a camera that was never set
says 1904.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from fractions import Fraction
from pathlib import Path

from av.container import InputContainer

from calltag.errors import InputError
from calltag.media.opening import open_take
from calltag.media.streams import drop_all_but, picture_stream, readable_packets
from calltag.media.timing.rates import snap_rate
from calltag.media.timing.timecode import Rate, format_timecode, parse_timecode
from calltag.media.timing.when import iso_text

_TIMECODE = re.compile(r"(\d\d:[0-5]\d:[0-5]\d)([:;.,])(\d{2,3})")
# EBU Tech 3285 (from memory): between the numbers of day and time other signs may stand as well.
_DAY = re.compile(r"(\d{4})[-_:/ .](\d\d)[-_:/ .](\d\d)")
_BEXT_TIME = re.compile(r"(\d\d)[-_: .](\d\d)[-_: .](\d\d)")
_ISO_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_WITH_SECONDS = re.compile(r".{11}\d\d:\d\d:\d\d")
_COUNTED_SINGLY = 30  # SMPTE ST 12-1 has a label for each frame up to this rate
_LABEL_BYTES = 4
_REFERENCE_REACH_S = 2 * 86_400  # a start after midnight lies within a day, of a long shift in two
_REFERENCE_DIGITS = 20  # bext holds 64 bits
_NEVER_SET_YEAR = 1990  # clocks that nobody set begin no later


def tags_of(container: InputContainer) -> dict[str, str]:
    """Gather all tags of a clip.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip.

    Returns
    -------
    dict of str to str
        Texts by their names in small letters; those of the container win over those of the streams.
    """
    tags: dict[str, str] = {}
    for owner in (container, *container.streams):
        for key, value in owner.metadata.items():
            tags.setdefault(key.lower(), value.strip())
    return tags


def start_timecode(container: InputContainer, path: Path, fps: Fraction | None) -> str | None:
    """Find the start timecode that a clip states.

    Parameters
    ----------
    container : av.container.InputContainer
        The open clip.
    path : Path
        Its file.
    fps : Fraction or None
        The constant rate of its picture; None where it has none.

    Returns
    -------
    str or None
        As stated, ``;`` before the frames when drop-frame; None where none is. Where a timecode
        track has one label for several frames, it is the label that counts each of them.
    """
    stated = _stated_timecode(container)
    if stated is None or fps is None or fps <= _COUNTED_SINGLY:
        return stated
    return _each_frame_counted(path, stated, snap_rate(fps))


def _stated_timecode(container: InputContainer) -> str | None:
    picture = picture_stream(container)
    first = [picture] if picture is not None else []
    for owner in (*first, *container.streams, container):
        for key, value in owner.metadata.items():
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
    """The number that the timecode track of a MOV or MP4 file begins with; None without one."""
    with open_take(path) as container:
        for stream in container.streams.data:
            if "timecode" not in stream.metadata:
                continue
            drop_all_but(container, [stream.index])
            packets = readable_packets(container, stream)
            label = next((packet for packet in packets if packet.size == _LABEL_BYTES), None)
            if label is not None:
                return int.from_bytes(bytes(label), "big")
    return None


def time_reference(tags: Mapping[str, str], rate_hz: int | None) -> int | None:
    """Read the time reference of a broadcast wave (EBU Tech 3285).

    Parameters
    ----------
    tags : mapping of str to str
        The clip's, by `tags_of`.
    rate_hz : int or None
        Rate of its sound; None without sound.

    Returns
    -------
    int or None
        Samples since midnight; None where none are stated, or the number can be no such thing at
        that rate.
    """
    stated = tags.get("time_reference", "")
    if rate_hz is None or not stated.isdecimal() or len(stated) > _REFERENCE_DIGITS:
        return None
    reference = int(stated)
    return reference if reference < _REFERENCE_REACH_S * rate_hz else None


def when_recorded(tags: Mapping[str, str]) -> str | None:
    """Read when a clip was recorded.

    Parameters
    ----------
    tags : mapping of str to str
        The clip's, by `tags_of`.

    Returns
    -------
    str or None
        ISO 8601, as exact as stated; None where nothing sensible is.
    """
    # bext states day and time apart; the reader hands them on as date and creation_time.
    day, time = tags.get("date", ""), tags.get("creation_time", "")
    local = next((value for key, value in tags.items() if key.endswith("creationdate")), "")
    clock = _BEXT_TIME.fullmatch(time)
    candidates = [f"{day}T{':'.join(clock.groups()) if clock else time}", local, time]
    candidates += [tags.get(key, "") for key in ("date_recorded", "tdrc", "icrd", "date")]
    return next(filter(None, map(_iso, candidates)), None)


def _iso(text: str) -> str | None:
    """Normalise a date, with or without time, to ISO 8601; None where it is no sensible one."""
    text = text.strip()
    if day := _DAY.match(text):
        text = "-".join(day.groups()) + text[day.end() :]
    if re.fullmatch(r"\d{4}(-\d\d)?", text):  # a year or a month is all that some tags say
        return text if int(text[:4]) > _NEVER_SET_YEAR else None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    if moment.year <= _NEVER_SET_YEAR or not _ISO_DAY.match(text):
        return None
    if _ISO_DAY.fullmatch(text):
        return text
    exact = "seconds" if _WITH_SECONDS.match(text) else "minutes"
    return iso_text(moment, exact)
