"""The sheet's content in the words and numbers that its template prints."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from calltag.edit.selects import worth
from calltag.learn.labels import noise_kind
from calltag.media.clock import take_clock
from calltag.media.timecode import Rate
from calltag.pages.spectrogram import Spectrogram, Tick
from calltag.records import CALL, Call, Take, TakeLog, Verdict
from calltag.takes.picture import PictureGrade, grade_of_call, grade_of_take
from calltag.takes.verdict import CLEAN, GRADES, PART, PICTURE_ONLY
from calltag.takes.verdict import summary as verdict_summary
from calltag.takes.words import clock as clock_words
from calltag.words import counted, sure

BEST_OF_TYPE = 3
"""Calls of each type that are named on top."""

_UNNAMED = "type not known"
_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1800, 3600, 7200, 14400)
_MOST_TICKS = 8


class Stretch(NamedTuple):
    """A stretch on a take's strip: shares of its length, and what stands there."""

    start: float
    length: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A line of the strip over time.

    Attributes
    ----------
    name : str
        What stands before it.
    kind : str
        ``"call"``, ``"usable"`` or ``"noise"``.
    stretches : tuple of Stretch
        What is drawn.
    """

    name: str
    kind: str
    stretches: tuple[Stretch, ...]

    @property
    def text(self) -> str:
        """What it shows, for those who do not see it."""
        return f"{self.name}: " + ", ".join(stretch.text for stretch in self.stretches)


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
        Timecode of its first frame.
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
        Timecode of its first frame.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeLine:
    """A call type on top of the sheet.

    Attributes
    ----------
    name : str
        The type.
    count : int
        How many calls of it are shown.
    takes : int
        In how many takes.
    best : tuple of tuple of TakeView and CallView
        The best of them.
    """

    name: str
    count: int
    takes: int
    best: tuple[tuple[TakeView, CallView], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    """What the shoot holds.

    Attributes
    ----------
    summary : str
        The verdicts, counted.
    types : tuple of TypeLine
        Call types, the most common first, unnamed calls last.
    throw : tuple of TakeView
        Takes whose sound is lost.
    rescue : tuple of TakeView
        Takes of which a part can be used, or rescued.
    clean : tuple of TakeView
        The others.
    calls : int
        Calls that are shown.
    length_s : float
        Length of all takes.
    usable_s : float
        Usable sound.
    """

    summary: str
    types: tuple[TypeLine, ...]
    throw: tuple[TakeView, ...]
    rescue: tuple[TakeView, ...]
    clean: tuple[TakeView, ...]
    calls: int
    length_s: float
    usable_s: float


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
        name=_UNNAMED if call.label == CALL else call.label,
        # Cut off, not rounded: only the user's own word is certain.
        sure="by hand" if call.by_hand else sure(confidence),
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
    left_out: int = 0,
    still_url: str = "",
    still_s: float = 0.0,
    problems: tuple[str, ...] = (),
    copies: tuple[str, ...] = (),
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
    left_out : int
        Calls that are not.
    still_url : str
        Where its still is.
    still_s : float
        When that was.
    problems : tuple of str
        What could not be read.
    copies : tuple of str
        Takes of the log that are copies of it.

    Returns
    -------
    TakeView
        The take.
    """
    return TakeView(
        number=number,
        take=take_log.take,
        verdict=verdict,
        timecode=take_clock(take_log.take, rate).label(0),
        grade=grade_of_take(take_log),
        rows=strip(take_log, verdict, calls),
        ticks=time_ticks(take_log.take.duration_s),
        calls=tuple(calls),
        left_out=left_out,
        still_url=still_url,
        still_s=still_s,
        problems=problems,
        copies=copies,
    )


def strip(take_log: TakeLog, verdict: Verdict, calls: Iterable[CallView]) -> tuple[Row, ...]:
    """Lay out calls, usable stretches and noise over a take's length.

    Parameters
    ----------
    take_log : TakeLog
        The take.
    verdict : Verdict
        Its verdict, with usable stretches.
    calls : iterable of CallView
        The calls that are shown.

    Returns
    -------
    tuple of Row
        Calls, usable stretches, and a row for each kind of noise; those that hold something.
    """
    length_s = take_log.take.duration_s
    rows = [
        ("calls", "call", [(one.call.start_s, one.call.end_s, one.name) for one in calls]),
        ("usable", "usable", [(*one[:2], one.purpose) for one in verdict.usable]),
    ]
    kinds: dict[str, list[tuple[float, float, str]]] = defaultdict(list)
    for span in take_log.noise:
        kinds[noise_kind(span.kind) or span.kind].append((span.start_s, span.end_s, span.kind))
    rows += [(kind, "noise", kinds[kind]) for kind in sorted(kinds)]
    return tuple(
        Row(
            name=name,
            kind=kind,
            stretches=tuple(_stretch(*stretch, length_s=length_s) for stretch in stretches),
        )
        for name, kind, stretches in rows
        if stretches and length_s > 0
    )


def time_ticks(length_s: float) -> tuple[Tick, ...]:
    """Choose marks for the axis of a take's strip.

    Parameters
    ----------
    length_s : float
        Length of the take.

    Returns
    -------
    tuple of Tick
        Round times from the start on.

    Examples
    --------
    >>> [tick.text for tick in time_ticks(35)]
    ['0:00', '0:05', '0:10', '0:15', '0:20', '0:25', '0:30', '0:35']
    """
    if not 0 < length_s < math.inf:
        return ()
    step_s = next((s for s in _STEPS_S if length_s / s < _MOST_TICKS), _STEPS_S[-1])
    n_ticks = min(int(length_s / step_s) + 1, 100)
    return tuple(Tick(n * step_s / length_s, clock_words(n * step_s)) for n in range(n_ticks))


def overview(takes: Sequence[TakeView]) -> Overview:
    """Sum up the shoot.

    Parameters
    ----------
    takes : sequence of TakeView
        Its takes.

    Returns
    -------
    Overview
        What it holds.
    """
    found: dict[str, list[tuple[TakeView, CallView]]] = defaultdict(list)
    for take in takes:
        for call in take.calls:
            found[call.name].append((take, call))
    lines = [
        TypeLine(
            name=name,
            count=len(ones),
            takes=len({take.number for take, _ in ones}),
            best=tuple(sorted(ones, key=lambda one: -one[1].worth)[:BEST_OF_TYPE]),
        )
        for name, ones in found.items()
    ]
    lines.sort(key=lambda line: (line.name == _UNNAMED, -line.count, line.name))
    of_grade = {
        grade: tuple(take for take in takes if take.verdict.grade == grade) for grade in GRADES
    }
    return Overview(
        summary=verdict_summary(
            (take.verdict for take in takes), copies=sum(len(take.copies) for take in takes)
        ),
        types=tuple(lines),
        throw=of_grade[PICTURE_ONLY],
        rescue=of_grade[PART],
        clean=of_grade[CLEAN],
        calls=sum(len(take.calls) for take in takes),
        length_s=sum(take.take.duration_s for take in takes),
        usable_s=sum(take.verdict.clean_s for take in takes),
    )


def tally(takes: Sequence[TakeView]) -> str:
    """Say how much of the shoot is shown.

    Parameters
    ----------
    takes : sequence of TakeView
        The takes.

    Returns
    -------
    str
        ``12 takes, 126 calls``.
    """
    n_calls = sum(len(take.calls) for take in takes)
    return f"{counted(len(takes), 'take')}, {counted(n_calls, 'call')}"


def _stretch(start_s: float, end_s: float, text: str, *, length_s: float) -> Stretch:
    start_s, end_s = (min(max(edge, 0.0), length_s) for edge in (start_s, end_s))
    return Stretch(
        start_s / length_s,
        (end_s - start_s) / length_s,
        f"{text} {clock_words(start_s)}-{clock_words(end_s)}",
    )
