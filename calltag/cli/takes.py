"""`calltag takes`: what the sound of each take is good for."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

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
from calltag.cli._output import Column, end, print_data, print_table, say, say_next, say_problems
from calltag.cli._shells import as_typed
from calltag.records.label import LIKELY
from calltag.records.take import FaultKind
from calltag.words import counted, position, take_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from calltag.edit.tables import Row
    from calltag.records.found import TakeLog
    from calltag.records.take import Problem
    from calltag.records.verdict import Verdict

COLUMNS = (
    Column("take", folds=True),
    Column("length", right=True, rank=2),
    Column("verdict"),
    Column("usable", right=True, rank=1),
    Column("calls", right=True, rank=3),
    Column("where", folds=True, rank=4),
    Column("why", folds=True),
    Column("timecode", rank=5),
)


MANY = 20
"""Of more takes, each has one line, and what there is to say of it in brief."""

LONGEST = 60
"""Characters of what is said in brief: more would fold."""

BRIEF = (
    Column("take", folds=True),
    Column("length", right=True, rank=2),
    Column("verdict"),
    Column("usable", right=True, rank=1),
    Column("calls", right=True, rank=3),
    Column("why, in brief", folds=True),
)


Listed = tuple["TakeLog", "Verdict", int]


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
    min_confidence: MinConfidence = LIKELY,
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
    picture: Annotated[
        bool,
        typer.Option(
            "--picture",
            help="Look how steady and how sharp the picture of each take is, and list it. That "
            "reads some of each clip, once: what was seen is kept.",
        ),
    ] = False,
    how: ListedAs = As.TABLE,
) -> None:
    """Show what the sound of each take is good for.

    The verdict is clean (natural sound without machine, wind, voice or handling), part (some
    stretches are usable) or picture-only, with its reasons. Stretches under `where` are usable as
    they are; those marked `treated` after `calltag rescue`, and in those marked `noisy` the calls
    are, with the noise under them; those marked `unsure` are to be heard first. With --type or
    --min-snr, only takes that have such a call are listed.

    Of more than 20 takes each has a line of its own, in brief; all is told of few, as with --take.

    \b
    Examples:
      calltag takes --take A007.MOV
      calltag takes --verdict clean --by usable
    """
    from calltag.cli._log import read_shoot
    from calltag.cli._look import look_at_takes
    from calltag.edit.call_filter import CallFilter
    from calltag.edit.tables import take_row
    from calltag.log import Log
    from calltag.media.timing.clock import common_rate
    from calltag.takes.verdict import judge, likely_calls

    wanted = CallFilter(types=types or (), min_confidence=min_confidence, min_snr_db=min_snr)
    shoot = read_shoot(log)
    listed = []
    for one in shoot.choose(takes, types):
        verdict = judge(one)
        n_calls = sum(wanted.passes(call) for call in one.calls)
        if (
            (not verdicts or verdict.grade in verdicts)
            and (n_calls or not wanted.narrows_takes)
            and (noise is None or bool(one.noise) == noise)
        ):
            listed.append((one, verdict, n_calls))
    listed = _ordered(listed, by)[:best]
    unseen: list[Problem] = []
    if picture:
        with Log(log, create=False) as opened:
            seen, unseen = look_at_takes([(one, ()) for one, _, _ in listed], opened, whole=True)
        listed = [
            (seen.get(one.take.path, one), verdict, n_calls) for one, verdict, n_calls in listed
        ]
    rate = common_rate(one.take for one in shoot.every)
    rows = [take_row(one.take, verdict, rate=rate) for one, verdict, _ in listed]
    if how is not As.TABLE:
        _print_data(rows, listed, how, picture=picture)
        _end(unseen)
        return
    _tell_sum(listed)
    brief = len(listed) > MANY
    left_out = _print_brief(listed) if brief else _print_table(rows, listed)
    treated = any(" treated" in _where(verdict) for _, verdict, _ in listed)
    if treated and not brief and "where" not in left_out:
        say("Stretches marked `treated` are usable after `calltag rescue`.")
    if any(n_calls != len(likely_calls(one)) for one, _, n_calls in listed):
        say("Under `calls` are those that you asked for; `why` speaks of all calls of a take.")
    if same := sum(bool(_same(one)) for one, _, _ in listed):
        say(f"In {counted(same, 'take')}, channels are the same.")
    filtered = takes or verdicts or wanted.narrows_takes or noise is not None or best is not None
    if not filtered:
        say_problems(problem for _, problem in shoot.unread)
    if listed:
        _tell_next(listed, brief=brief)
    _end(unseen)


def _tell_sum(listed: Sequence[Listed]) -> None:
    """Say what the takes come to; copies of others are told but not counted again."""
    from calltag.media.copies import each_once
    from calltag.takes.verdict import summary

    recordings = each_once([one for one, _, _ in listed])
    own = [row for row in listed if row[0].take.path in recordings]
    text = summary([verdict for _, verdict, _ in own], copies=len(listed) - len(own))
    n_calls = [n for _, _, n in own if n]
    say(f"{text}; {counted(sum(n_calls), 'call')} in {counted(len(n_calls), 'take')}")


def _tell_next(listed: Sequence[Listed], *, brief: bool) -> None:
    """Name what may be done about takes that are listed."""
    from calltag.takes.verdict import PICTURE_ONLY

    def first(command: str, what: str, takes: Sequence[TakeLog]) -> list[str]:
        """The command for the first of takes that it is for."""
        typed = (as_typed([*command.split(), one.take.path]) for one in takes[:1])
        return [f"`{text}` {what}" for text in typed]

    spoilt = [one for one, verdict, _ in listed if any(r.is_helped for r in verdict.reasons)]
    lost = [one for one, verdict, _ in listed if verdict.grade == PICTURE_ONLY]
    every = [one for one, _, _ in listed] if brief else []
    say_next(
        *first("calltag takes --take", "tells all of a take", (spoilt or lost or every) * brief),
        *first("calltag rescue", "treats spoilt sound", spoilt),
        *first("calltag bed --for", "makes clean background for sound that is lost", lost),
        "`calltag sheet OUT.html` shows it all on one page",
    )


def _print_data(rows: list[Row], listed: Sequence[Listed], how: As, *, picture: bool) -> None:
    from calltag.edit.tables import TAKE_COLUMNS

    columns: tuple[str, ...] = TAKE_COLUMNS
    if picture:
        columns = (*columns, "picture")
        for row, grade in zip(rows, _grades(listed), strict=True):
            row["picture"] = grade or None
    print_data(columns, rows, how, usable=[_stretches(verdict) for _, verdict, _ in listed])


def _print_table(rows: Sequence[Row], listed: Sequence[Listed]) -> list[str]:
    """Print the takes; returns the headers of the columns that there was no room for."""
    if not listed:
        return []
    cells = [_cells(row, *one) for row, one in zip(rows, listed, strict=True)]
    return _print_with_picture(COLUMNS, cells, listed)


def _print_brief(listed: Sequence[Listed]) -> list[str]:
    """Print many takes, a line for each."""
    from calltag.takes.reasons import in_brief

    cells = [
        [
            one.take.path,
            take_length(one.take.duration_s),
            verdict.grade,
            take_length(verdict.clean_s),
            str(n_calls),
            _shortened(in_brief([r for r in verdict.reasons if r not in _same(one)])),
        ]
        for one, verdict, n_calls in listed
    ]
    return _print_with_picture(BRIEF, cells, listed)


def _print_with_picture(
    columns: tuple[Column, ...], cells: list[list[str]], listed: Sequence[Listed]
) -> list[str]:
    """Print rows of takes, and beside them what is known of their pictures."""
    grades = _grades(listed)
    if any(grades):
        columns = (*columns, Column("picture", rank=3))
        for row_cells, grade in zip(cells, grades, strict=True):
            row_cells.append(grade)
    return print_table(columns, cells)


def _shortened(text: str) -> str:
    return text if len(text) <= LONGEST else text[: LONGEST - 1].rstrip(" ,;") + "…"


def _grades(listed: Sequence[Listed]) -> list[str]:
    """What the picture of each take is like; empty where that is not known."""
    from calltag.takes.picture.grades import grade_of_take

    return [str(grade_of_take(one) or "") for one, _, _ in listed]


def _end(unseen: Sequence[Problem]) -> None:
    say_problems(unseen)
    end(unseen)


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


def _where(verdict: Verdict) -> str:
    """Usable stretches, those together that follow on each other and need as much done."""
    joined: list[tuple[float, float, str]] = []
    for start_s, end_s, purpose in verdict.usable:
        mark, from_s = _mark(purpose), start_s
        if joined and joined[-1][1:] == (start_s, mark):
            from_s = joined.pop()[0]
        joined.append((from_s, end_s, mark))
    return ", ".join(f"{position(s)}-{position(e)}{mark}" for s, e, mark in joined)


def _mark(purpose: str) -> str:
    """What is said in one word of a stretch that is not usable as it is."""
    from calltag.takes.usable import CALLS_IN_NOISE, HEARD_FIRST, NATURAL_SOUND

    if purpose.startswith(HEARD_FIRST):
        return " unsure"
    return {NATURAL_SOUND: "", CALLS_IN_NOISE: " noisy"}.get(purpose, " treated")


def _same(take_log: TakeLog) -> list[str]:
    """What is said of channels that are the same: many cameras write them so, no harm is done."""
    from calltag.sound.channels.faults import said

    return [said(one) for one in take_log.take.channel_faults if one.kind == FaultKind.SAME]


def _cells(row: Row, take_log: TakeLog, verdict: Verdict, n_calls: int) -> list[str]:
    return [
        take_log.take.path,
        take_length(take_log.take.duration_s),
        verdict.grade,
        take_length(verdict.clean_s),
        str(n_calls),
        _where(verdict),
        "; ".join(reason for reason in verdict.reasons if reason not in _same(take_log)),
        str(row["start_tc"] or ""),
    ]
