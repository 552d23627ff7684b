"""Whether a file that changed is still the recording it was, and what an earlier one is called."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from typing import NamedTuple

from calltag.records.found import Call, TakeLog
from calltag.records.span import Span
from calltag.records.take import Take, states_time

SAME_LENGTH_S = 0.05
"""Takes whose lengths differ by less may be the same recording in another wrapping."""


class Begun(NamedTuple):
    """What a file states of when it begins.

    Attributes
    ----------
    start_tc, time_reference, recorded
        As in `Take`.
    """

    start_tc: str | None
    time_reference: int | None
    recorded: str | None


def earlier_name(path: str, taken: Callable[[str], bool]) -> str:
    """Name a take whose file gave way to another recording of the same name.

    Parameters
    ----------
    path : str
        Its path in the log until now.
    taken : callable
        Tells of a path whether another take has it.

    Returns
    -------
    str
        The same below a folder ``earlier``, which is counted where that is taken.

    Examples
    --------
    >>> earlier_name("card/A001.mov", {"earlier/card/A001.mov"}.__contains__)
    'earlier 2/card/A001.mov'
    """
    name, number = f"earlier/{path}", 1
    while taken(name):
        number += 1
        name = f"earlier {number}/{path}"
    return name


def is_another(
    db: sqlite3.Connection,
    take_id: int,
    before: Begun,
    now: TakeLog,
    *,
    other_length: bool,
) -> bool:
    """Tell whether a changed file is another recording, and not an edit of the take it was.

    An edit states the hour of its take, or has its length, and most calls where they were. Labels
    do not fit an edit of another length, so a take that has some is kept apart from it too.

    Parameters
    ----------
    db : sqlite3.Connection
        The log.
    take_id : int
        The take.
    before : Begun
        When it began until now.
    now : TakeLog
        What the file is now.
    other_length : bool
        Whether its length is another.

    Returns
    -------
    bool
        Whether it is.
    """
    if states_time(now.take.recorded) and now.take.recorded == before.recorded:
        labelled = db.execute("SELECT 1 FROM labels WHERE take_id = ?", (take_id,)).fetchone()
        return other_length and labelled is not None
    return other_length or _begins_apart(before, now.take) or _sounds_apart(db, take_id, now.calls)


def _begins_apart(before: Begun, take: Take) -> bool:
    """Whether all differs that two files both state of when they begin; False for nothing."""
    now = Begun(take.start_tc, take.time_reference, take.recorded)
    both = [pair for pair in zip(before, now, strict=True) if None not in pair]
    return bool(both) and all(one != other for one, other in both)


def _sounds_apart(db: sqlite3.Connection, take_id: int, calls: Sequence[Call]) -> bool:
    """Whether most calls that were found in a take are not found there now; False for no calls."""
    before = db.execute(
        "SELECT start_s, end_s FROM calls WHERE take_id = ? AND label_id IS NULL", (take_id,)
    ).fetchall()
    spans = [call.span for call in calls]
    again = sum(any(span.overlaps(old) for span in spans) for old in map(Span._make, before))
    return 2 * again < len(before)
