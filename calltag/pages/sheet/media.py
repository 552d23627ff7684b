"""What the sheet shows of a take: a still, pictures of its calls' sound, and the sound to play."""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace

from calltag.edit.worth import worth
from calltag.errors import CalltagError, MediaError, why_failed
from calltag.pages.excerpt import cut_excerpt
from calltag.pages.shown_files import take_file
from calltag.pages.spectrogram import Spectrogram, draw, shown_up_to_hz
from calltag.pages.still import still_jpeg
from calltag.records.found import Call, Picture, TakeLog
from calltag.takes.picture.looking import measured, wanted_look, with_pictures
from calltag.takes.picture.measuring import moment_of

logger = logging.getLogger(__name__)

BEFORE_S, AFTER_S = 0.5, 0.5
"""What is heard and seen around a call."""

_WIDTH, _HEIGHT, _SHADES = 320, 104, 16
_STILL_SIDE, _STILL_QUALITY = 320, 72


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A take to be put on the sheet.

    Attributes
    ----------
    take_log : TakeLog
        What the log has of it; of its calls those that are shown.
    look : bool
        Whether its picture is to be measured where it has not been.
    best : int or None
        Show the best of these calls, so many at most; None for all.
    """

    take_log: TakeLog
    look: bool = True
    best: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CallMedia:
    """A call to be seen and heard.

    Attributes
    ----------
    picture : Spectrogram
        Its sound as a picture.
    mp3 : bytes
        Its sound at a safe level.
    gain_db : float
        By how much it was raised for that, or, below zero, lowered.
    """

    picture: Spectrogram
    mp3: bytes
    gain_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeMedia:
    """What was read of a take's file.

    Attributes
    ----------
    pictures : tuple of Picture
        What was measured of its picture now.
    still_jpeg : bytes or None
        What it shows at its best moment; None where there is no picture to be had.
    still_s : float
        When that is.
    shown : tuple of Call
        The calls to show, in order of time.
    calls : tuple of CallMedia or None
        For each of them; None where its sound could not be read.
    problems : tuple of str
        What could not be read, one sentence each, without the file's name.
    """

    pictures: tuple[Picture, ...] = ()
    still_jpeg: bytes | None = None
    still_s: float = 0.0
    shown: tuple[Call, ...] = ()
    calls: tuple[CallMedia | None, ...] = ()
    problems: tuple[str, ...] = ()


def gather(job: Job) -> TakeMedia:
    """Read what the sheet shows of a take.

    Parameters
    ----------
    job : Job
        The take.

    Returns
    -------
    TakeMedia
        What could be read, and in one sentence each what could not.
    """
    take_log = job.take_log
    problems: list[str] = []
    try:
        pictures = _looked(take_log, problems) if job.look else ()
        seen = with_pictures(take_log, pictures)
        still_s = _best_moment(seen)
        shown = _best(seen, job.best)
        still = _still(take_log, still_s, problems)
        calls = tuple(_call(take_log, call, problems) for call in shown)
        return TakeMedia(
            pictures=pictures,
            still_jpeg=still,
            still_s=still_s,
            shown=shown,
            calls=calls,
            problems=tuple(dict.fromkeys(problems)),  # those of all that was read above
        )
    except Exception as error:
        logger.debug("%s", take_log.take.path, exc_info=True)
        return failed(job, why_failed(error, "cannot be shown"))


def failed(job: Job, reason: str) -> TakeMedia:
    """State that nothing of a take could be read.

    Parameters
    ----------
    job : Job
        The take.
    reason : str
        Why, in one sentence.

    Returns
    -------
    TakeMedia
        Nothing but the reason, and which calls would have been shown.
    """
    shown = _best(job.take_log, job.best)
    return TakeMedia(shown=shown, calls=(None,) * len(shown), problems=(reason,))


def _best_moment(take_log: TakeLog) -> float:
    """The middle of the call that is worth most to the edit; of the take, where there is none."""
    best = max(take_log.calls, key=lambda call: worth(take_log, call), default=None)
    return take_log.take.duration_s / 2 if best is None else moment_of(best)


def _best(take_log: TakeLog, most: int | None) -> tuple[Call, ...]:
    """The calls that are worth most, by sound and by what has been seen of the picture."""
    ranked = sorted(take_log.calls, key=lambda call: -worth(take_log, call))
    return tuple(sorted(ranked[:most], key=lambda call: call.span))


def _looked(take_log: TakeLog, problems: list[str]) -> tuple[Picture, ...]:
    wanted = wanted_look(take_log, take_log.calls, whole=True)
    if wanted is None:
        return ()
    try:
        wanted = replace(wanted, file=take_file(take_log.take))
    except MediaError as error:
        problems.append(error.reason)
        return ()
    seen = measured(wanted)
    if isinstance(seen, str):
        problems.append(seen)
        return ()
    return tuple(seen)


def _still(take_log: TakeLog, at_s: float, problems: list[str]) -> bytes | None:
    if not take_log.take.has_picture:
        return None
    try:
        file = take_file(take_log.take)
        return still_jpeg(file, at_s, side=_STILL_SIDE, quality=_STILL_QUALITY)
    except MediaError as error:
        problems.append(error.reason)
        return None


def _call(take_log: TakeLog, call: Call, problems: list[str]) -> CallMedia | None:
    take = take_log.take
    try:
        excerpt = cut_excerpt(take_file(take), take, call.span, before_s=BEFORE_S, after_s=AFTER_S)
        picture = draw(
            excerpt.raw,
            start_s=excerpt.start_s,
            width=_WIDTH,
            height=_HEIGHT,
            high_hz=shown_up_to_hz(call.high_hz),
            shades=_SHADES,
        )
        return CallMedia(picture=picture, mp3=excerpt.mp3(), gain_db=excerpt.gain_db)
    except CalltagError as error:
        problems.append(why_failed(error, "its sound cannot be shown"))
        return None
