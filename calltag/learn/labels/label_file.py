"""A user's file of labels, checked against the takes that it speaks of.

All that is wrong with it is told at once, so that it need not be mended line by line.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from calltag.errors import InputError
from calltag.learn.labels.by_hand import speaks_for, with_labels
from calltag.learn.labels.relabel import Change, place, relabelled, with_changes
from calltag.learn.labels.user_table import known_take, read_rows, take_cell, unguarded
from calltag.learn.labels.vocabulary import parse_label
from calltag.records.found import Call, TakeLog
from calltag.records.label import CALL, Label
from calltag.records.span import Span
from calltag.records.take import Problem

SLACK_S = 0.1
"""How far a label may reach past the end of its take; it is cut there."""

COLUMNS = ("take", "start_s", "end_s", "label")
"""Columns that a file of labels must have; ``group`` may be added, others are passed over."""

_LISTED_S = 0.002  # listed times are rounded to the millisecond


@dataclass(frozen=True, slots=True)
class LabelFile:
    """What a file of labels holds.

    Attributes
    ----------
    labels : tuple of Label
        The labels that can be used, in the order of the file.
    bad : tuple of str
        A sentence for each line that cannot, naming file and line.
    given_way : tuple of Label
        Labels of the log whose sound got another.
    parts : tuple of Label
        What those that were taken apart still say of other sounds.
    unnamed : int
        Lines that name no type.
    staying : int
        Those of them whose sound has a label in the log, which stays.
    unchanged : int
        Lines of a listing of calls that say what the log says already.
    """

    labels: tuple[Label, ...]
    bad: tuple[str, ...]
    given_way: tuple[Label, ...]
    parts: tuple[Label, ...]
    unnamed: int
    staying: int
    unchanged: int


def read_label_file(
    path: Path,
    take_logs: Mapping[str, TakeLog],
    labels: Mapping[str, Sequence[Label]] | None = None,
    unread: Collection[Problem] = (),
) -> LabelFile:
    """Read labels and check them against the log.

    A listing of calls may serve as the file, with labels changed or filled in. Its lines that were
    left as they are do not become labels: they are the log's word already. One that was changed
    stands in place of what the log had for that call.

    Parameters
    ----------
    path : Path
        A CSV file as `calltag.learn.labels.user_table.read_rows` takes it, with the columns
        `COLUMNS` and, optional, ``group``.
    take_logs : mapping of str to TakeLog
        The takes of the log by their paths.
    labels : mapping of str to sequence of Label, optional
        The labels that the log has, by take.
    unread : collection of Problem
        Takes that could not be read: a line of such a one says so.

    Returns
    -------
    LabelFile
        What can be used and what cannot.

    Raises
    ------
    InputError
        If the file cannot be read as a table of labels at all.
    """
    before = {take: list(own) for take, own in (labels or {}).items()}
    after = {take: list(own) for take, own in before.items()}
    listed: dict[str, dict[Span, str]] = {}
    taken: list[Label] = []
    bad: list[str] = []
    unnamed = staying = unchanged = 0
    for line, row in read_rows(path, COLUMNS):
        try:
            label = label_of_row(row)
            if label.label == CALL:
                unnamed += 1
                staying += _has_label(label, take_logs, before)
                continue
            label = placed(label, take_logs, unread)
            take_log = take_logs[label.take]
            sound = _listed(row, label, take_log)
        except InputError as error:
            bad.append(f"{path.name}, line {line}: {error}")
            continue
        own = after.setdefault(label.take, [])
        if sound is None:
            changes: tuple[Change, ...] = (Change(None, label),)
        else:
            if label.take not in listed:
                listed[label.take] = _said(take_log, before.get(label.take, []))
            if listed[label.take].get(sound.span) == label.label:
                unchanged += 1
                continue
            label = replace(label, start_s=sound.start_s, end_s=sound.end_s)
            changes = relabelled(take_log.calls, own, sound, label)
        after[label.take] = with_changes(own, changes)
        taken.append(changes[-1].after or label)
    return LabelFile(
        labels=tuple(label for label in dict.fromkeys(taken) if label in after[label.take]),
        bad=tuple(bad),
        given_way=_not_in(before, after),
        parts=tuple(label for label in _not_in(after, before) if label not in taken),
        unnamed=unnamed,
        staying=staying,
        unchanged=unchanged,
    )


def _has_label(row: Label, takes: Collection[str], labels: Mapping[str, Sequence[Label]]) -> bool:
    """Whether the sound that a row without a type states has a label in the log."""
    try:
        own = labels.get(known_take(row.take, takes), ())
    except InputError:  # of a take that is not there nothing is asked
        return False
    return any(speaks_for(label, row.span) for label in own)


def _not_in(
    these: Mapping[str, Sequence[Label]], those: Mapping[str, Sequence[Label]]
) -> tuple[Label, ...]:
    """Labels of stretches that have none in the other."""
    places = {place(label) for own in those.values() for label in own}
    return tuple(label for own in these.values() for label in own if place(label) not in places)


def placed(
    label: Label, take_logs: Mapping[str, TakeLog], unread: Collection[Problem] = ()
) -> Label:
    """Find the take that a label names, and make sure that it lies within its sound.

    Parameters
    ----------
    label : Label
        As a table states it.
    take_logs : mapping of str to TakeLog
        What the log holds of each take.
    unread : collection of Problem
        Takes that could not be read.

    Returns
    -------
    Label
        With the take's path; cut at its end where it passes it by less than `SLACK_S`.

    Raises
    ------
    InputError
        If there is no such take, or no sound of it there.
    """
    take = take_logs[known_take(label.take, take_logs, unread)].take
    if not take.has_sound:
        raise InputError(f"{take.path} has no sound; take the line out")
    if label.end_s > take.duration_s + SLACK_S:
        raise InputError(
            f"end_s ({label.end_s:g}) lies after the end of {take.path} ({take.duration_s:.2f} s);"
            " write seconds from the start of the take"
        )
    end_s = min(label.end_s, take.duration_s)
    if end_s <= label.start_s:
        raise InputError(f"the label begins where {take.path} ends; take the line out")
    return replace(label, take=take.path, end_s=end_s)


def _listed(row: Mapping[str, str], label: Label, take_log: TakeLog) -> Call | None:
    """The call of the log that a line of a listing speaks of; None where it is no such line."""
    if "confidence" not in row:
        return None
    for call in take_log.calls:
        off_s = abs(call.start_s - label.start_s), abs(call.end_s - label.end_s)
        if max(off_s) < _LISTED_S:
            return call
    if row["confidence"]:
        raise InputError(
            f"no call of {label.take} has just these ends; list the calls anew "
            "(`calltag calls --as csv`), or empty `confidence` to label this stretch"
        )
    return None


def _said(take_log: TakeLog, labels: Sequence[Label]) -> dict[Span, str]:
    """What the log says of each call, as it is listed."""
    return {call.span: call.label for call in with_labels(take_log, labels).calls}


def read_labels(path: Path) -> tuple[Label, ...]:
    """Read labels, and sounds of no named type, from a table.

    Parameters
    ----------
    path : Path
        A CSV file as `calltag.learn.labels.user_table.read_rows` takes it, with the columns
        `COLUMNS`, of which ``label`` may be missing, and, optional, ``group``.

    Returns
    -------
    tuple of Label
        The labels in the order of the file; `CALL` where a row names no type.

    Raises
    ------
    InputError
        If the file cannot be read, or a row cannot be used: the file and its line are named.
    """
    labels = []
    for line, row in read_rows(path, [name for name in COLUMNS if name != "label"]):
        try:
            labels.append(label_of_row(row))
        except InputError as error:
            raise InputError(f"{path.name}, line {line}: {error}") from None
    return tuple(labels)


def label_of_row(row: Mapping[str, str]) -> Label:
    """Read the label that a row of a user's table gives.

    Parameters
    ----------
    row : mapping of str to str
        Cells by column, as `read_rows` gives them.

    Returns
    -------
    Label
        The label; `CALL` for a row that names no type.

    Raises
    ------
    InputError
        If the row cannot be used.
    """
    take = take_cell(row)
    start_s, end_s = (_seconds(row.get(name, ""), name) for name in ("start_s", "end_s"))
    if end_s <= start_s:
        raise InputError(f"end_s ({end_s:g}) must be later than start_s ({start_s:g})")
    text = unguarded(row.get("label", "")) or CALL
    label = CALL if text.casefold() == CALL else parse_label(text)
    return Label(
        take=take, start_s=start_s, end_s=end_s, label=label, group=row.get("group") or None
    )


def _seconds(text: str, name: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or value < 0:
        raise InputError(f"{name} is `{text}`; write seconds from the start of the take, as 12.34")
    return value
