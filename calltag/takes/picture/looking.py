"""Looking at the pictures of many takes, side by side, and keeping what was seen in the log."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from calltag.errors import why_failed
from calltag.log import Log
from calltag.records.found import Call, Picture, TakeLog
from calltag.records.take import Problem
from calltag.spelling import name_order
from calltag.takes.picture.measuring import look_at, moment_of, moments_in, not_looked_at
from calltag.workers import work_through

logger = logging.getLogger(__name__)

_DIED = "the program that reads pictures crashed over it, twice; leave it out"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A take whose picture is to be looked at.

    Attributes
    ----------
    path : str
        Its path in the log.
    file : Path
        Its file.
    duration_s : float
        Its length.
    moments_s : tuple of float
        When, in order.
    """

    path: str
    file: Path
    duration_s: float
    moments_s: tuple[float, ...]


def wanted_look(take_log: TakeLog, calls: Iterable[Call], *, whole: bool) -> Look | None:
    """Tell what of a take has still to be looked at.

    Parameters
    ----------
    take_log : TakeLog
        The take, with what was measured before.
    calls : iterable of Call
        Calls whose picture is wanted.
    whole : bool
        Whether the take itself is to be graded too.

    Returns
    -------
    Look or None
        What to look at; None where nothing is left to do, or there is no picture.
    """
    take = take_log.take
    moments = [moment_of(call) for call in calls] + (list(moments_in(take)) if whole else [])
    left = not_looked_at(take_log, moments)
    if not left:
        return None
    return Look(
        path=take.path,
        file=take.file,
        duration_s=take.duration_s,
        moments_s=tuple(left),
    )


def look(
    looks: Sequence[Look],
    log: Log,
    *,
    workers: int | None = None,
    listener: Callable[[int, int], None] | None = None,
) -> tuple[dict[str, tuple[Picture, ...]], list[Problem]]:
    """Measure pictures and store what was measured, a take at a time.

    Parameters
    ----------
    looks : sequence of Look
        What to look at.
    log : Log
        Where to store it.
    workers : int, optional
        Processes to work in; `calltag.workers.default_workers` unless given.
    listener : callable, optional
        Is told how many takes are done, of how many.

    Returns
    -------
    pictures : dict of str to tuple of Picture
        What was measured now, by the take's path.
    problems : list of Problem
        Takes whose picture could not be read, in order of path.

    Raises
    ------
    LogError
        If the log cannot be written.
    """
    pictures: dict[str, tuple[Picture, ...]] = {}
    problems: list[Problem] = []
    with closing(work_through(measured, looks, workers=workers)) as work:
        for number, end in enumerate(work, 1):
            path = looks[end.index].path
            if isinstance(end.result, list):
                log.put_pictures(path, end.result)
                pictures[path] = tuple(end.result)
            else:
                problems.append(Problem(path=path, reason=end.result or _DIED))
            if listener is not None:
                listener(number, len(looks))
    return pictures, sorted(problems, key=lambda problem: name_order(problem.path))


def with_pictures(take_log: TakeLog, pictures: Sequence[Picture]) -> TakeLog:
    """Add what was measured now to what the log had of a take.

    Parameters
    ----------
    take_log : TakeLog
        The take.
    pictures : sequence of Picture
        What was measured of its picture.

    Returns
    -------
    TakeLog
        The take with both.
    """
    merged = sorted((*take_log.pictures, *pictures), key=lambda one: one.start_s)
    return replace(take_log, pictures=tuple(merged))


def measured(one: Look) -> list[Picture] | str:
    """Look at the picture of one take.

    Parameters
    ----------
    one : Look
        What to look at.

    Returns
    -------
    list of Picture or str
        What was measured, in order; or why the picture could not be read, in one sentence.
    """
    try:
        return look_at(one.file, one.duration_s, one.moments_s)
    except Exception as error:
        logger.debug("%s", one.file, exc_info=True)
        return why_failed(error, "its picture cannot be measured")
