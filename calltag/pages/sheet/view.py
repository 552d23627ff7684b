"""Takes and calls of the sheet in the words and numbers that its template prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calltag.edit.worth import worth
from calltag.media.timing.clock import take_clock, time_of_day_s
from calltag.media.timing.timecode import Rate
from calltag.pages.sheet.strip import Row, strip, time_ticks
from calltag.pages.spectrogram import Spectrogram, Tick
from calltag.records.found import Call, TakeLog
from calltag.records.label import CALL
from calltag.records.take import Take
from calltag.records.verdict import Verdict
from calltag.takes.picture.grades import PictureGrade, grade_of_call, grade_of_take
from calltag.words import how_sure

UNNAMED = "type not known"
"""What stands for the type of a call that has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CallView:
    """A call on the sheet.

    Attributes
    ----------
    number : int
        Its number on the sheet, counted from 1.
    call : Call
        The call.
    name : str
        Its type.
    sure : str
        How sure that is.
    confidence : float
        The same from 0 to 1.
    worth : float
        What it is worth to the edit.
    timecode : str
        Timecode of its first frame, or that it states none.
    grade : PictureGrade or None
        The picture at it.
    picture : Spectrogram or None
        Its sound as a picture; None where it could not be read.
    picture_url, sound_url : str
        Where picture and sound are.
    gain_db : float
        By how much the sound was raised.
    """

    number: int
    call: Call
    name: str
    sure: str
    confidence: float
    worth: float
    timecode: str
    grade: PictureGrade | None
    picture: Spectrogram | None = None
    picture_url: str = ""
    sound_url: str = ""
    gain_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeView:
    """A take on the sheet.

    Attributes
    ----------
    number : int
        Its number on the sheet, counted from 1.
    take : Take
        The take.
    verdict : Verdict
        What its sound is good for.
    timecode : str
        Timecode of its first frame, or that it states none.
    grade : PictureGrade or None
        Its picture.
    rows : tuple of Row
        The strip over time.
    ticks : tuple of Tick
        Marks of its axis.
    calls : tuple of CallView
        The calls that are shown.
    left_out : int
        Calls that are not.
    still_url : str
        Where its still is; empty where there is none.
    still_s : float
        When that was.
    problems : tuple of str
        What could not be read.
    copies : tuple of str
        Takes of the log that are copies of it.
    """

    number: int
    take: Take
    verdict: Verdict
    timecode: str
    grade: PictureGrade | None
    rows: tuple[Row, ...]
    ticks: tuple[Tick, ...]
    calls: tuple[CallView, ...]
    left_out: int = 0
    still_url: str = ""
    still_s: float = 0.0
    problems: tuple[str, ...] = ()
    copies: tuple[str, ...] = ()

    @property
    def best(self) -> float:
        """What its best call is worth."""
        return max((call.worth for call in self.calls), default=0.0)


def call_view(take_log: TakeLog, call: Call, *, number: int, rate: Rate) -> CallView:
    """Put a call into words.

    Parameters
    ----------
    take_log : TakeLog
        Its take.
    call : Call
        The call.
    number : int
        Its number on the sheet.
    rate : Rate
        How to count timecode where the take has no rate of its own.

    Returns
    -------
    CallView
        The call, without picture and sound.
    """
    confidence = call.sureness
    clock = take_clock(take_log.take, rate)
    return CallView(
        number=number,
        call=call,
        name=UNNAMED if call.label == CALL else call.label,
        sure=how_sure(confidence, by_hand=call.by_hand),
        confidence=confidence,
        worth=worth(take_log, call),
        timecode=clock.label(clock.frames(call.start_s, call.end_s)[0]),
        grade=grade_of_call(take_log, call),
    )


def take_view(
    take_log: TakeLog,
    verdict: Verdict,
    *,
    number: int,
    rate: Rate,
    calls: Sequence[CallView],
) -> TakeView:
    """Put a take into words.

    Parameters
    ----------
    take_log : TakeLog
        The take.
    verdict : Verdict
        What its sound is good for.
    number : int
        Its number on the sheet.
    rate : Rate
        How to count timecode where it has no rate of its own.
    calls : sequence of CallView
        The calls that are shown.

    Returns
    -------
    TakeView
        The take, without its still, and what else is not told by it alone.
    """
    return TakeView(
        number=number,
        take=take_log.take,
        verdict=verdict,
        timecode=_first_timecode(take_log.take, rate),
        grade=grade_of_take(take_log),
        rows=strip(
            take_log, verdict, [(one.call.start_s, one.call.end_s, one.name) for one in calls]
        ),
        ticks=time_ticks(take_log.take.duration_s),
        calls=tuple(calls),
    )


def _first_timecode(take: Take, rate: Rate) -> str:
    first = take_clock(take, rate).label(0)
    return first if time_of_day_s(take) is not None else f"none, counts from {first}"
