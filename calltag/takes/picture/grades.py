"""The picture of calls and takes: how steady and how sharp, as plain grades.

What the picture shows may not tell: a wall of fog has no edge, and on rippling water everything
moves its own way. Then nothing is said; but water that fills the view and runs one way looks like a
pan to this, as it may to the eye.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import NamedTuple

from calltag.records.found import Call, Picture, TakeLog
from calltag.takes.picture.measuring import moment_of, nearest
from calltag.takes.thresholds import read_thresholds

STEADY, MOVING, SHAKY = "steady", "moving", "shaky"
SHARP, SOFT, BLURRED = "sharp", "soft", "blurred"
NOT_TOLD = "cannot be told"

WORTH = {SHAKY: 0.7, MOVING: 0.95, SOFT: 0.85, BLURRED: 0.6}
"""What such a picture leaves of a call's worth to the edit."""


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
    picture = nearest(take_log.pictures, moment_of(call))
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


def _most(grades: Iterable[str | None]) -> tuple[str | None, bool]:
    """The most common grade, the worse one of two as common; and whether there is no other."""
    counts = Counter(one for one in grades if one is not None)
    if not counts:
        return None, True
    return max(counts, key=lambda one: (counts[one], -WORTH.get(one, 1.0))), len(counts) == 1
