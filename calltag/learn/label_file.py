"""A user's file of labels, checked against the takes that it speaks of.

All that is wrong with it is told at once, so that it need not be mended line by line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from calltag.errors import InputError
from calltag.learn.labels import COLUMNS, known_take, label_of_row, read_rows
from calltag.records import Label, TakeLog

SLACK_S = 0.1
"""How far a label may reach past the end of its take; it is cut there."""

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
    unnamed : int
        Lines that name no type.
    unchanged : int
        Lines of a listing of calls that say what the log says already.
    """

    labels: tuple[Label, ...]
    bad: tuple[str, ...]
    unnamed: int
    unchanged: int


def read_label_file(path: Path, take_logs: Mapping[str, TakeLog]) -> LabelFile:
    """Read labels and check them against the log.

    A listing of calls may serve as the file, with labels changed or filled in. Its lines that were
    left as they are do not become labels: they are the model's word, not the user's.

    Parameters
    ----------
    path : Path
        A CSV file as `calltag.learn.labels.read_labels` takes it.
    take_logs : mapping of str to TakeLog
        The takes of the log by their paths, as they are listed.

    Returns
    -------
    LabelFile
        What can be used and what cannot.

    Raises
    ------
    InputError
        If the file cannot be read as a table of labels at all.
    """
    labels: list[Label] = []
    bad: list[str] = []
    unnamed = unchanged = 0
    for line, row in read_rows(path, COLUMNS):
        try:
            label = label_of_row(row)
            if label is None:
                unnamed += 1
                continue
            take_log = take_logs[known_take(label.take, take_logs)]
            label = _placed(label, take_log)
        except InputError as error:
            bad.append(f"{path.name}, line {line}: {error}")
            continue
        if "confidence" in row and _says_the_log(label, take_log):
            unchanged += 1
        else:
            labels.append(label)
    return LabelFile(tuple(labels), tuple(bad), unnamed, unchanged)


def _placed(label: Label, take_log: TakeLog) -> Label:
    take = take_log.take
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


def _says_the_log(label: Label, take_log: TakeLog) -> bool:
    return any(
        call.label == label.label
        and not call.by_hand
        and abs(call.start_s - label.start_s) < _LISTED_S
        and abs(call.end_s - label.end_s) < _LISTED_S
        for call in take_log.calls
    )
