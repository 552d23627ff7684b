"""The picture of calls and takes: how steady and how sharp, as plain grades.

Measured on a second or so of successive frames around each call, and in a few places of each take.
What the picture shows may not tell: a wall of fog has no edge, and on rippling water everything
moves its own way. Then nothing is said; but water that fills the view and runs one way looks like a
pan to this, as it may to the eye.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from calltag.errors import MediaError
from calltag.records.found import Call, Picture, TakeLog
from calltag.records.take import Take
from calltag.takes.thresholds import read_thresholds

if TYPE_CHECKING:
    from calltag.media.pictures import Frame, PictureReader

STEADY, MOVING, SHAKY = "steady", "moving", "shaky"
SHARP, SOFT, BLURRED = "sharp", "soft", "blurred"
NOT_TOLD = "cannot be told"

WORTH = {SHAKY: 0.7, MOVING: 0.95, SOFT: 0.85, BLURRED: 0.6}
"""What such a picture leaves of a call's worth to the edit."""

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


class PictureGrade(NamedTuple):
    """Grades of a picture; None for what cannot be told.

    Attributes
    ----------
    steadiness : str or None
        ``"steady"``, ``"moving"`` (evenly, as in a pan) or ``"shaky"``.
    sharpness : str or None
        ``"sharp"``, ``"soft"`` or ``"blurred"``.
    mostly : bool
        Whether it is that of most, and not of all, places that were looked at.
    """

    steadiness: str | None
    sharpness: str | None
    mostly: bool = False

    def __str__(self) -> str:
        """Return it in words."""
        words = ", ".join(word for word in self[:2] if word) or NOT_TOLD
        return f"mostly {words}" if self.mostly and words != NOT_TOLD else words

    @property
    def is_good(self) -> bool:
        """Whether it is told to be steady and sharp; the sheet sifts calls by that."""
        return (self.steadiness, self.sharpness) == (STEADY, SHARP)

    @property
    def worth(self) -> float:
        """What such a picture leaves of a call's worth; 1 where nothing is held against it."""
        return WORTH.get(self.steadiness or "", 1.0) * WORTH.get(self.sharpness or "", 1.0)


def grade(picture: Picture) -> PictureGrade:
    """Grade what was measured of a picture.

    Parameters
    ----------
    picture : Picture
        The measurements.

    Returns
    -------
    PictureGrade
        The grades.

    Examples
    --------
    >>> pan = Picture(start_s=1, end_s=1.8, drift_permille_per_s=40.0, jitter_permille=0.1,
    ...               blur_permille=0.6, pixel_permille=0.8)
    >>> str(grade(pan))
    'moving, sharp'
    """
    t = read_thresholds()
    steadiness = sharpness = None
    if picture.jitter_permille is not None and picture.drift_permille_per_s is not None:
        if picture.jitter_permille >= t.shaky_permille:
            steadiness = SHAKY
        else:
            moves = picture.drift_permille_per_s > t.moving_permille_per_s
            steadiness = MOVING if moves else STEADY
    if (blur := picture.blur_permille) is not None:
        pixel = picture.pixel_permille
        if blur <= max(t.sharp_permille, t.sharp_px * pixel):
            sharpness = SHARP
        else:
            sharpness = BLURRED if blur >= max(t.blurred_permille, t.blurred_px * pixel) else SOFT
    return PictureGrade(steadiness, sharpness)


def grade_of_call(take_log: TakeLog, call: Call) -> PictureGrade | None:
    """Grade the picture at a call.

    Parameters
    ----------
    take_log : TakeLog
        Its take.
    call : Call
        The call.

    Returns
    -------
    PictureGrade or None
        The grades; None where the picture has not been looked at, or there is none.
    """
    picture = _nearest(take_log.pictures, moment_of(call))
    return None if picture is None else grade(picture)


def grade_of_take(take_log: TakeLog) -> PictureGrade | None:
    """Grade the picture of a take: what it is in most of the places that were looked at.

    Parameters
    ----------
    take_log : TakeLog
        The take.

    Returns
    -------
    PictureGrade or None
        The grades; None where the picture has not been looked at, or there is none.
    """
    if not take_log.pictures:
        return None
    grades = [grade(picture) for picture in take_log.pictures]
    steadiness, all_alike = _most(one.steadiness for one in grades)
    sharpness, all_as_sharp = _most(one.sharpness for one in grades)
    return PictureGrade(steadiness, sharpness, mostly=not (all_alike and all_as_sharp))


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
        if _nearest(take_log.pictures, at_s) is None and (
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


def _nearest(pictures: Sequence[Picture], at_s: float) -> Picture | None:
    nearest = min(pictures, key=lambda one: abs(one.middle_s - at_s), default=None)
    if nearest is None:
        return None
    reach_s = _APART_S + _LENGTH_S / 2  # at a take's ends the moment is not the middle
    return nearest if abs(nearest.middle_s - at_s) <= reach_s else None


def _most(grades: Iterable[str | None]) -> tuple[str | None, bool]:
    """The most common grade, the worse one of two as common; and whether there is no other."""
    counts = Counter(one for one in grades if one is not None)
    if not counts:
        return None, True
    return max(counts, key=lambda one: (counts[one], -WORTH.get(one, 1.0))), len(counts) == 1
