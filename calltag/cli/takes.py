"""`calltag takes`: what the sound of each take is good for."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._choose import CallFilter, choose_takes
from calltag.cli._options import (
    LOG_NAME,
    As,
    ListedAs,
    LogFile,
    MinConfidence,
    MinSnr,
    Takes,
    Types,
    Verdicts,
)
from calltag.cli._output import Column, print_data, print_table, say
from calltag.words import duration, position

if TYPE_CHECKING:
    from calltag.edit.tables import Row
    from calltag.records import TakeLog, Verdict

COLUMNS = (
    Column("take", folds=True),
    Column("length", right=True, rank=1),
    Column("verdict"),
    Column("usable", right=True, rank=2),
    Column("calls", right=True, rank=3),
    Column("where", folds=True, rank=4),
    Column("why", folds=True),
    Column("timecode", rank=5),
)


class TakeOrder(StrEnum):
    """What takes may be ordered by."""

    NAME = "name"
    USABLE = "usable"
    CALLS = "calls"
    LENGTH = "length"
    LOUDNESS = "loudness"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("takes")(takes_command)


def takes_command(
    log: LogFile = LOG_NAME,
    takes: Takes = None,
    verdicts: Verdicts = None,
    types: Types = None,
    min_confidence: MinConfidence = 0.5,
    min_snr: MinSnr = None,
    noise: Annotated[
        bool | None,
        typer.Option(
            "--noise/--clean",
            help="Only takes with noise in them, or only takes without.",
            show_default=False,
        ),
    ] = None,
    by: Annotated[
        TakeOrder,
        typer.Option(
            help="Order: name, or the most usable sound, most calls, longest, loudest first."
        ),
    ] = TakeOrder.NAME,
    best: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="Only the first N of that order.")
    ] = None,
    how: ListedAs = As.TABLE,
) -> None:
    """Show what the sound of each take is good for.

    The verdict is clean, part (some stretches are usable) or picture-only, with its reasons. With
    --type or --min-snr, only takes that have such a call are listed.

    \b
    Example:
      calltag takes --verdict clean --by usable
    """
    from calltag.cli._log import read_takes
    from calltag.edit.tables import TAKE_COLUMNS, take_row
    from calltag.log import Log
    from calltag.takes.verdict import judge, summary

    wanted = CallFilter(types=types or (), min_confidence=min_confidence, min_snr_db=min_snr)
    with Log(log, create=False) as opened:
        chosen = list(choose_takes(read_takes(opened), takes or ()))
        problems = opened.problems()
    listed = []
    for one in chosen:
        verdict = judge(one)
        n_calls = sum(wanted.passes(call) for call in one.calls)
        asked_for_calls = bool(types) or min_snr is not None
        if (
            (not verdicts or verdict.grade in verdicts)
            and (n_calls or not asked_for_calls)
            and (noise is None or bool(one.noise) == noise)
        ):
            listed.append((one, verdict, n_calls))
    listed = _ordered(listed, by)[:best]
    rows = [take_row(one.take, verdict) for one, verdict, _ in listed]
    if how is not As.TABLE:
        print_data(
            TAKE_COLUMNS, rows, how, usable=[_stretches(verdict) for _, verdict, _ in listed]
        )
        return
    if rows:
        cells = [_cells(row, *one) for row, one in zip(rows, listed, strict=True)]
        print_table(COLUMNS, cells)
    say(summary(verdict for _, verdict, _ in listed))
    for _, problem in problems:
        say(f"Could not be read: {problem.path}: {problem.reason}")


Listed = tuple["TakeLog", "Verdict", int]


def _ordered(listed: list[Listed], by: TakeOrder) -> list[Listed]:
    if by is TakeOrder.NAME:
        return listed

    def value(one: Listed) -> float:
        take_log, verdict, n_calls = one
        levels = take_log.take.levels
        return {
            TakeOrder.USABLE: verdict.clean_s,
            TakeOrder.CALLS: float(n_calls),
            TakeOrder.LENGTH: take_log.take.duration_s,
            TakeOrder.LOUDNESS: levels.loudness_lufs if levels else float("-inf"),
        }[by]

    return sorted(listed, key=value, reverse=True)


def _stretches(verdict: Verdict) -> list[dict[str, float | str]]:
    return [
        {
            "start_s": round(stretch.start_s, 3),
            "end_s": round(stretch.end_s, 3),
            "purpose": stretch.purpose,
        }
        for stretch in verdict.usable
    ]


def _cells(row: Row, take_log: TakeLog, verdict: Verdict, n_calls: int) -> list[str]:
    usable = [f"{position(s.start_s)}-{position(s.end_s)}" for s in verdict.usable]
    return [
        take_log.take.path,
        duration(take_log.take.duration_s),
        verdict.grade,
        duration(verdict.clean_s),
        str(n_calls),
        ", ".join(usable),
        str(row["reasons"]),
        str(row["start_tc"] or ""),
    ]
