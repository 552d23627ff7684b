"""Takes that the edit does not play at their own speed.

There are two ways, and they are not the same. A take is *conformed* when each of its frames is
shown for longer or shorter: 100 frames per second played at 25 show the same frames, four times as
long. A take has a *speed* when the timeline's rate stays and frames are shown more than once, or
left out. Conforming keeps a frame's number, and so is exact; at a speed, a frame is where it first
shows.

Positions are whole frames and exact fractions throughout. Frame n of a take at speed s first shows
at frame ``ceil(n / s)`` as played, and frame p as played shows frame ``floor(p * s)`` of the take.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

from calltag.edit.markers import Placed, TakeMarkers, place
from calltag.errors import InputError
from calltag.media.timing.timecode import Rate, can_drop, frame_to_seconds, same_second

_SPEED = re.compile(r"(\d+(?:\.\d+)?)[ \u00a0]?%", re.ASCII)
_FASTEST = 100  # times its own speed: more is a slip of the hand


def parse_speed(text: str) -> Fraction:
    """Read a speed as an editor writes it.

    Parameters
    ----------
    text : str
        Percent of the take's own speed: ``40%`` or ``12.5 %``.

    Returns
    -------
    Fraction
        The exact speed, 1 being the take's own.

    Raises
    ------
    InputError
        If it is not so written, is zero, or above 10 000 %.

    Examples
    --------
    >>> parse_speed("12.5%")
    Fraction(1, 8)
    """
    match = _SPEED.fullmatch(text.strip())
    speed = Fraction(match[1]) / 100 if match else Fraction(0)
    if not 0 < speed <= _FASTEST:
        raise InputError(f"speed {text!r}: write a percentage above zero, such as 40%")
    return speed


def played_frame(frame: int, speed: Fraction) -> int:
    """Tell where a frame first shows when the take is played at a speed.

    Parameters
    ----------
    frame : int
        Frame of the take, counted from its first.
    speed : Fraction
        The speed, 1 being the take's own.

    Returns
    -------
    int
        Frame as played, counted from the first. Faster than its own speed, a take leaves frames
        out; then it is the first frame shown after it.
    """
    return -(-frame // speed)


def played_length(take_markers: TakeMarkers) -> int:
    """Count the frames of a take as played.

    Parameters
    ----------
    take_markers : TakeMarkers
        The take, with its speed.

    Returns
    -------
    int
        Frames, at least one.
    """
    return played_frame(take_markers.clock.n_frames, take_markers.speed)


def place_played(take_markers: TakeMarkers) -> list[Placed]:
    """Put a take's markers on the frames of the take as played.

    Parameters
    ----------
    take_markers : TakeMarkers
        The take, its markers and its speed.

    Returns
    -------
    list of Placed
        In order of frames, counted from the first as played.
    """
    speed, length = take_markers.speed, played_length(take_markers)
    moved = []
    for marker, source_first, source_end in place(take_markers):
        first = min(played_frame(source_first, speed), length - 1)
        moved.append(Placed(marker, first, max(first + 1, played_frame(source_end, speed))))
    return moved


def conform(take_markers: TakeMarkers, rate: Rate) -> TakeMarkers:
    """Play the frames of a take at another rate.

    Each marker stays on its frame. Start timecode keeps hours, minutes and seconds, and its
    frames are scaled, as an edit reads it; drop-frame stays drop-frame where the rate has it.

    Parameters
    ----------
    take_markers : TakeMarkers
        A take and its markers.
    rate : Rate
        The rate to play at.

    Returns
    -------
    TakeMarkers
        The take as played, with its markers. Sound alone has no frames and stays as it is; so does,
        with a note, a take that has no constant rate.
    """
    take, clock = take_markers.take, take_markers.clock
    if take.fps is None or clock.rate.fps == rate.fps:
        return take_markers
    if take.variable_rate:
        note = (
            f"{take.path}: no constant frame rate, so it cannot be conformed to {rate};"
            " convert it to a constant rate first"
        )
        return replace(take_markers, notes=(*take_markers.notes, note))
    counted = Rate(rate.fps, rate.drop or (clock.rate.drop and can_drop(rate.fps)))
    markers = []
    for marker, first, end in place(take_markers):
        start_s = float(frame_to_seconds(first, rate.fps))
        markers.append(
            replace(marker, start_s=start_s, end_s=float(frame_to_seconds(end, rate.fps)))
        )
    played = replace(
        take,
        fps=rate.fps,
        duration_s=float(frame_to_seconds(clock.n_frames, rate.fps)),
        picture_s=float(frame_to_seconds(clock.n_pictures, rate.fps)),
        start_tc=same_second(clock.start_frame, clock.rate, counted),
    )
    return replace(take_markers, take=played, markers=tuple(markers), conformed_from=clock.rate)
