"""The picture of a take, measured at some moments.

A second or so of successive frames is measured around each call, and in a few places of each take.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from calltag.errors import MediaError
from calltag.records.found import Call, Picture, TakeLog
from calltag.records.take import Take

if TYPE_CHECKING:
    from calltag.media.pictures import Frame, PictureReader

_LENGTH_S = 0.8
"""Length of a look."""

_MOST_FRAMES = 40
"""Pictures that a look takes in at most: at a high rate it is shorter."""

_APART_S = 0.5
"""Calls that are closer than this share a look at the picture."""

_PLACES = (1 / 6, 1 / 2, 5 / 6)
"""Where a take is looked at, as parts of its length."""

_MOTION_PX = 320
"""Longest side of the pictures that movement is measured on."""

_DETAIL_PX = 1280
"""The same of the one that sharpness is measured on."""


def moment_of(call: Call) -> float:
    """Tell where to look at the picture of a call.

    Parameters
    ----------
    call : Call
        The call.

    Returns
    -------
    float
        Its middle, in seconds of the take.
    """
    return call.span.middle_s


def moments_in(take: Take) -> tuple[float, ...]:
    """Tell where to look at the picture of a take.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    tuple of float
        Some places over its length, in seconds of the take.
    """
    return tuple(part * take.duration_s for part in _PLACES)


def not_looked_at(take_log: TakeLog, moments_s: Iterable[float]) -> list[float]:
    """Choose the moments that a take's picture has still to be looked at.

    Parameters
    ----------
    take_log : TakeLog
        The take, with what was measured before.
    moments_s : iterable of float
        The moments wanted.

    Returns
    -------
    list of float
        Moments in order, of which each wanted one has one close by, unless it has been looked at;
        empty for a take without picture.
    """
    chosen: list[float] = []
    if not take_log.take.has_picture:
        return chosen
    for at_s in sorted(moments_s):
        at_s = min(max(0.0, at_s), take_log.take.duration_s)
        if nearest(take_log.pictures, at_s) is None and (
            not chosen or at_s - chosen[-1] > _APART_S
        ):
            chosen.append(at_s)
    return chosen


def look_at(path: Path, duration_s: float, moments_s: Sequence[float]) -> list[Picture]:
    """Measure the picture of a take at some moments.

    Parameters
    ----------
    path : Path
        The take's file; it is only read.
    duration_s : float
        Its length.
    moments_s : sequence of float
        When, in seconds of the take, in order.

    Returns
    -------
    list of Picture
        One for each moment.

    Raises
    ------
    MediaError
        If the file or its picture cannot be read; a moment whose picture is damaged is left out
        where there are others.
    """
    from calltag.media.pictures import PictureReader

    found: list[Picture] = []
    failed: MediaError | None = None
    with PictureReader(path) as reader:
        for at_s in moments_s:
            try:
                found.append(_measured(reader, duration_s, at_s))
            except MediaError as error:
                failed = error
    if failed is not None and not found:
        raise failed
    return found


def _measured(reader: PictureReader, duration_s: float, at_s: float) -> Picture:
    from calltag.takes.picture.motion import movement
    from calltag.takes.picture.sharpness import edge_blur_px

    length_s = min(_LENGTH_S, _MOST_FRAMES / reader.mean_fps)
    start_s = max(0.0, min(at_s, duration_s) - length_s / 2)
    frames, times_s = [], []
    shown: Frame | None = None
    for frame in reader.stretch(start_s, start_s + length_s, most=_MOST_FRAMES):
        frames.append(frame.grey(_MOTION_PX))
        times_s.append(frame.at_s)
        if shown is None or frame.at_s <= at_s:
            shown = frame
    if shown is None:  # a picture that stands for longer than all this
        shown = reader.at(at_s)
        times_s = [shown.at_s]
    detail = shown.grey(_DETAIL_PX)
    width = detail.shape[1]
    moved = movement(frames, times_s)
    blur_px = edge_blur_px(detail)
    return Picture(
        start_s=times_s[0],
        end_s=times_s[-1],
        drift_permille_per_s=None if moved is None else moved.drift_permille_per_s,
        jitter_permille=None if moved is None else moved.jitter_permille,
        blur_permille=None if blur_px is None else 1000 * blur_px / width,
        pixel_permille=1000 / width,
    )


def nearest(pictures: Sequence[Picture], at_s: float) -> Picture | None:
    """Find what was measured at a moment, or close by.

    Parameters
    ----------
    pictures : sequence of Picture
        What was measured of a take.
    at_s : float
        When, in seconds of the take.

    Returns
    -------
    Picture or None
        The nearest; None where none is near enough to tell.
    """
    found = min(pictures, key=lambda one: abs(one.middle_s - at_s), default=None)
    if found is None:
        return None
    reach_s = _APART_S + _LENGTH_S / 2  # at a take's ends the moment is not the middle
    return found if abs(found.middle_s - at_s) <= reach_s else None
