"""`calltag sync`: recordings of the same moment, lined up by their sound."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._options import LOG_NAME, As, LogFile
from calltag.cli._output import Column, print_data, print_table, say
from calltag.errors import InputError

if TYPE_CHECKING:
    from calltag.edit.sync import Comparison, Source

COLUMNS = (
    "take_a",
    "take_b",
    "outcome",
    "offset_s",
    "drift_ppm",
    "confidence",
    "overlap_s",
    "reason",
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("sync")(sync_command)


def sync_command(
    takes: Annotated[
        list[str],
        typer.Argument(
            metavar="A B...",
            help="The takes: files, or names as `calltag takes` lists them. Each is lined up with "
            "the first.",
        ),
    ],
    log: LogFile = LOG_NAME,
    every_pair: Annotated[
        bool, typer.Option("--every-pair", help="Compare all with all, not only with the first.")
    ] = False,
    how: Annotated[As, typer.Option("--as", help="How to print the result.")] = As.TABLE,
) -> None:
    """Line up takes that heard the same moment.

    It goes by the sound, so clocks that were set wrongly do no harm, nor do different levels. What
    was lined up is kept in the log. Where the sound does not say for sure, as with one that
    repeats, that is told and nothing is kept.

    \b
    Example:
      calltag sync card1/A007.MOV card2/B012.MOV
    """
    from calltag.cli import SOME_UNREADABLE
    from calltag.edit.sync import Outcome, sync_takes
    from calltag.log import Log

    with Log(log, create=False) if log.is_file() else Log(Path(":memory:")) as opened:
        known = {one.path: Path(one.rushes, one.path) for one in opened.takes()}
        sources = [_source(name, known) for name in takes]
        compared, problems = sync_takes(sources, every_pair=every_pair)
        for one in compared:
            if (
                one.outcome is Outcome.LINED_UP
                and one.alignment is not None
                and one.take_a in known
                and one.take_b in known
            ):
                opened.put_alignment(one.alignment)
    if how is As.TABLE:
        _print(compared)
    else:
        print_data(COLUMNS, [_row(one) for one in compared], how)
    for problem in problems:
        say(f"{problem.path}: {problem.reason}")
    if problems:
        raise typer.Exit(SOME_UNREADABLE)


def _source(name: str, known: dict[str, Path]) -> Source:
    from calltag.edit.sync import Source

    if name in known:
        return Source(name, known[name])
    path = Path(name)
    if not path.is_file():
        raise InputError(
            f"{name}: neither a file nor a take of the log; `calltag takes` lists the takes"
        )
    real = path.resolve()
    for take, file in known.items():
        if file.resolve() == real:
            return Source(take, file)
    return Source(path.name, real)


def _row(one: Comparison) -> dict[str, str | float | None]:
    pair = one.alignment
    return {
        "take_a": one.take_a,
        "take_b": one.take_b,
        "outcome": str(one.outcome),
        "offset_s": round(pair.offset_s, 4) if pair else None,
        "drift_ppm": round(pair.drift_ppm, 1) if pair else None,
        "confidence": round(pair.confidence, 3) if pair else None,
        "overlap_s": round(pair.overlap_s, 2) if pair else None,
        "reason": one.reason,
    }


def _print(compared: Sequence[Comparison]) -> None:
    rows = []
    for one in compared:
        pair = one.alignment
        rows.append(
            [
                one.take_a,
                one.take_b,
                str(one.outcome),
                f"{pair.offset_s:+.3f} s" if pair else "",
                f"{pair.drift_ppm:+.0f} ppm" if pair else "",
                f"{pair.confidence:.0%}" if pair else "",
                f"{pair.overlap_s:.1f} s" if pair else "",
                one.reason,
            ]
        )
    print_table(
        [
            Column("first"),
            Column("second"),
            Column("outcome"),
            Column("second begins at", right=True),
            Column("clock", right=True, rank=2),
            Column("sure", right=True),
            Column("both ran", right=True, rank=3),
            Column("why", folds=True),
        ],
        rows,
    )
