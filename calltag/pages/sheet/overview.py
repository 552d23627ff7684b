"""What stands on top of the sheet: call types with the best of each, and the takes by verdict."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from calltag.pages.sheet.view import UNNAMED, CallView, TakeView
from calltag.takes.verdict import PART, PICTURE_ONLY
from calltag.takes.verdict import summary as verdict_summary
from calltag.words import counted

BEST_OF_TYPE = 3
"""Calls of each type that are named on top."""


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
    calls: int
    length_s: float
    usable_s: float


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
    lines.sort(key=lambda line: (line.name == UNNAMED, -line.count, line.name))
    return Overview(
        summary=verdict_summary(
            (take.verdict for take in takes), copies=sum(len(take.copies) for take in takes)
        ),
        types=tuple(lines),
        throw=tuple(take for take in takes if take.verdict.grade == PICTURE_ONLY),
        rescue=tuple(take for take in takes if take.verdict.grade == PART),
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
