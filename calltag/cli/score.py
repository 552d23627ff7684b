"""`calltag score`: the log against a reference."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calltag.cli._options import LOG_NAME, LogFile, MinConfidence, finite
from calltag.cli._output import say
from calltag.errors import InputError
from calltag.learn.labels.sameness import ONSET_COLLAR_S
from calltag.records.label import LIKELY
from calltag.words import counted

if TYPE_CHECKING:
    from collections.abc import Collection

    from calltag.records.found import TakeLog
    from calltag.records.label import Label
    from calltag.records.take import Problem


class ReportAs(StrEnum):
    """How a report is printed."""

    TEXT = "text"
    JSON = "json"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("score")(score_command)


def score_command(
    truth: Annotated[
        Path,
        typer.Argument(
            metavar="TRUTH.csv",
            help="A table of what is really there, with the columns take, start_s, end_s and, if "
            "wanted, label.",
        ),
    ],
    log: LogFile = LOG_NAME,
    min_confidence: MinConfidence = LIKELY,
    collar: Annotated[
        float,
        typer.Option(
            min=0.0,
            callback=finite,
            metavar="SECONDS",
            help="How far off the start of a call may be and still be right, in the figures that "
            "judge start and end.",
        ),
    ] = ONSET_COLLAR_S,
    every_take: Annotated[
        bool,
        typer.Option(
            "--every-take",
            help="The table covers all takes of the log: those that it does not name have no call.",
        ),
    ] = False,
    how: Annotated[ReportAs, typer.Option("--as", help="How to print the report.")] = ReportAs.TEXT,
) -> None:
    """Compare the log with a table of what is really there.

    Your own labels do not count: what is compared is what calltag found and named by itself.

    \b
    Example:
      calltag score truth.csv --collar 0.1
    """
    from calltag.edit.call_filter import CallFilter
    from calltag.learn.labels.by_hand import matched
    from calltag.learn.scoring.score import finds, read_truth, score
    from calltag.log import Log

    wanted = CallFilter(min_confidence=min_confidence)
    with Log(log, create=False) as opened:
        take_logs = list(opened.take_logs())
        labels = opened.labels_by_take()
        named = any(entry.model for entry in opened.entries())
        unread = [problem for _, problem in opened.problems()]
    durations_s = {one.take.path: one.take.duration_s for one in take_logs}
    reference = _of_known_takes(read_truth(truth), take_logs, unread, truth.name)
    found = finds(
        replace(
            one, calls=tuple(call for call in one.calls if wanted.passes(call) and not call.by_hand)
        )
        for one in take_logs
    )
    result = score(
        reference,
        found,
        takes=durations_s if every_take else None,
        durations_s=durations_s,
        collar_s=collar,
    )
    if how is ReportAs.JSON:
        typer.echo(json.dumps(_plain(result), ensure_ascii=False, indent=2))
        return
    typer.echo(result.text())
    compared = {label.take for label in reference}
    learnt = sum(
        1
        for one in take_logs
        if every_take or one.take.path in compared
        for label in matched(one.calls, labels.get(one.take.path, []))
        if label is not None
    )
    if named and learnt:
        say(
            f"{counted(learnt, 'find')} in these takes had a label to learn from, so the names "
            "look better here than they are; `calltag teach` tells how well it names what it was "
            "not taught."
        )
    if not every_take and result.left_out:
        say("If those have no call, --every-take counts what was found in them as false.")


def _of_known_takes(
    reference: Collection[Label],
    take_logs: Collection[TakeLog],
    unread: Collection[Problem],
    name: str,
) -> list[Label]:
    from calltag.learn.labels.label_file import placed

    by_path = {one.take.path: one for one in take_logs}
    try:
        return [placed(label, by_path, unread) for label in reference]
    except InputError as error:
        raise InputError(f"{name}: {error}") from None


def _plain(value: Any) -> Any:
    """Make JSON of a result, with the figures that its counts come to."""
    if is_dataclass(value):
        names = [field.name for field in fields(value)]
        names += [name for name in ("precision", "recall", "f1") if hasattr(value, name)]
        return {name: _plain(getattr(value, name)) for name in names}
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    return None if isinstance(value, float) and not math.isfinite(value) else value
