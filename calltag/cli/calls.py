"""`calltag calls`: what was found."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._choose import CallOrder, default_order, order_calls
from calltag.cli._options import (
    LOG_NAME,
    As,
    Grade,
    ListedAs,
    LogFile,
    MinConfidence,
    MinSnr,
    Noise,
    Takes,
    Types,
    Verdicts,
)
from calltag.cli._output import Column, end, print_data, print_table, say, say_next, say_problems
from calltag.records.label import CALL, LIKELY
from calltag.words import counted, how_sure, position

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from calltag.cli._choose import Found
    from calltag.edit.heard_twice import HeardCall
    from calltag.edit.over_joins import Joins
    from calltag.edit.tables import Row
    from calltag.records.found import Call, TakeLog
    from calltag.records.span import Span
    from calltag.records.take import Problem

COLUMNS = (
    Column("take", folds=True),
    Column("at", right=True),
    Column("length", right=True, rank=5),
    Column("call type", folds=True),
    Column("sure", right=True, rank=2),
    Column("above background", right=True, rank=4),
    Column("band", right=True, rank=6),
    Column("noise", folds=True, rank=3),
    Column("timecode", rank=1),
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("calls")(calls_command)


def calls_command(
    log: LogFile = LOG_NAME,
    types: Types = None,
    takes: Takes = None,
    verdicts: Verdicts = None,
    min_confidence: MinConfidence = LIKELY,
    min_snr: MinSnr = None,
    noise: Noise = None,
    by: Annotated[
        CallOrder | None,
        typer.Option(
            help="Order: start, or the highest first: worth to the edit, confidence, level above "
            "the background (snr), level, or length.  [default: start; with --best, worth]",
            show_default=False,
        ),
    ] = None,
    best: Annotated[
        int | None, typer.Option(min=1, metavar="N", help="Only the first N of that order.")
    ] = None,
    once: Annotated[
        bool,
        typer.Option(
            "--once",
            help="List a call that several cameras heard once, where it sounds best. Takes are "
            "lined up by `calltag sync`.",
        ),
    ] = False,
    picture: Annotated[
        bool,
        typer.Option(
            "--picture",
            help="Look how steady and how sharp the picture at each call is, and list it. That "
            "reads the clips, once: what was seen is kept. With --best, few calls are looked at.",
        ),
    ] = False,
    how: ListedAs = As.TABLE,
) -> None:
    """List, filter and rank the calls.

    What a call is worth to the edit is how sure its type is, times how far it stands above the
    background; noise at the same time halves it, and so does an end of the take that cuts it off.
    Where its picture is known, a shaky, soft or blurred one counts against it, too, and so does
    sound alone; `calltag sheet` and --picture look at pictures.

    \b
    Examples:
      calltag calls --type "marsh hooter" --best 10
      calltag calls --best 10 --picture
      calltag calls --clean --min-snr 12 --as csv > calls.csv
    """
    from calltag.cli._log import read_shoot
    from calltag.cli._look import look_for_best
    from calltag.edit.call_filter import CallFilter
    from calltag.edit.heard_twice import merge_heard_twice
    from calltag.edit.over_joins import Joins
    from calltag.edit.tables import call_row
    from calltag.log import Log
    from calltag.media.copies import each_once
    from calltag.media.timing.clock import common_rate

    wanted = CallFilter(
        types=types or (), min_confidence=min_confidence, min_snr_db=min_snr, noise=noise
    )
    shoot = read_shoot(log, alignments=once)
    chosen = [one for one in shoot.choose(takes, types) if _has_verdict(one, verdicts or ())]
    found = [(one, call) for one in chosen for call in one.calls if wanted.passes(call)]
    also_in: dict[tuple[str, Span], str] = {}
    if once:
        heard = merge_heard_twice(map(wanted.left_of, chosen), shoot.alignments)
        found = [(one.best.take_log, one.best.call) for one in heard]
        joins = Joins(shoot.alignments)
        also_in = {
            (one.best.take_log.take.path, one.best.call.span): _also_in(one, joins) for one in heard
        }
    order = by or default_order(best)
    problems: list[Problem] = []
    if picture:
        with Log(log, create=False) as opened:
            listed, problems = look_for_best(found, opened, partial(order_calls, by=order), best)
    else:
        listed = order_calls(found, order)[:best]
    rate = common_rate(one.take for one in shoot.every)
    rows = [call_row(one.take, call, rate=rate) for one, call in listed]
    if how is not As.TABLE:
        _print_data(rows, listed, how, picture=picture)
        say_problems(problems)
        end(problems)
        return
    _print_table(rows, listed, also_in, once=once, picture=picture)
    whatever = replace(wanted, min_confidence=0.0)
    less_sure = sum(
        whatever.passes(call) and not wanted.passes(call) for one in chosen for call in one.calls
    )
    recordings = each_once(chosen)
    in_copies = sum(one.take.path not in recordings for one, _ in listed)
    no_type = all(call.label == CALL for one in shoot.every for call in one.calls)
    _tell(len(rows), len(found), less_sure, in_copies, no_type=no_type)
    say_problems(problems)
    end(problems)


def _print_data(rows: Sequence[Row], listed: Sequence[Found], how: As, *, picture: bool) -> None:
    from calltag.edit.tables import CALL_COLUMNS

    if not picture:
        print_data(CALL_COLUMNS, rows, how)
        return
    grades = [grade or None for grade in _grades(listed)]
    graded = [row | {"picture": grade} for row, grade in zip(rows, grades, strict=True)]
    print_data((*CALL_COLUMNS, "picture"), graded, how)


def _print_table(
    rows: Sequence[Row],
    listed: Sequence[Found],
    also_in: Mapping[tuple[str, Span], str],
    *,
    once: bool,
    picture: bool,
) -> None:
    if not rows:
        return
    cells = [_cells(row, call) for row, (_, call) in zip(rows, listed, strict=True)]
    columns: tuple[Column, ...] = COLUMNS
    if once:
        columns = (*columns, Column("also in", folds=True, rank=1))
        for row_cells, (one, call) in zip(cells, listed, strict=True):
            row_cells.append(also_in[one.take.path, call.span])
    grades = _grades(listed)
    if picture or any(grades):
        columns = (*columns, Column("picture", rank=1 if picture else 3))
        for row_cells, grade in zip(cells, grades, strict=True):
            row_cells.append(grade)
    print_table(columns, cells)


def _also_in(heard: HeardCall, joins: Joins) -> str:
    """The other takes that have a call, or the rest of it."""
    rest = joins.rest_of(heard.best.take_log.take, heard.best.call)
    whole = [path for path in heard.also_in if path not in rest]
    return ", ".join([*whole, *([str(rest)] if any(rest) else [])])


def _grades(listed: Sequence[Found]) -> list[str]:
    """What the picture at each call is like; empty where that is not known."""
    from calltag.takes.picture.grades import grade_of_call

    return [str(grade_of_call(one, call) or "") for one, call in listed]


def _has_verdict(take_log: TakeLog, grades: Collection[Grade]) -> bool:
    from calltag.takes.verdict import judge

    return not grades or judge(take_log).grade in grades


def _cells(row: Row, call: Call) -> list[str]:
    known = how_sure(float(row["confidence"] or 0), by_hand=call.by_hand)
    return [
        str(row["take"]),
        position(call.start_s),
        f"{call.span.length_s:.2f} s",
        call.label,
        known,
        f"{call.snr_db:.0f} dB",
        f"{call.low_hz:.0f}-{call.high_hz:.0f} Hz",
        str(row["noise"]),
        str(row["start_tc"]),
    ]


def _tell(listed: int, found: int, unsure: int, in_copies: int, *, no_type: bool) -> None:
    text = f"{counted(listed, 'call')} listed"
    if found > listed:
        text += f" of {found}"
    if in_copies:
        text += f", {in_copies} of them in copies of takes (--once lists each call once)"
    if unsure:
        text += (
            f"; {counted(unsure, 'more that is less sure is', 'more that are less sure are')} not "
            "(--min-confidence 0 lists all)"
        )
    say(f"{text}.")
    if listed and no_type:
        say(
            "They have no type yet: name some with `calltag label`, then `calltag teach`; `calltag "
            "library teach` goes by what you kept before."
        )
    elif listed:
        say_next(
            "`calltag markers OUT.otio` marks them for the edit",
            "`calltag selects OUT.otio` puts the best on a timeline",
            "`calltag keep` puts the best into your call library",
        )
