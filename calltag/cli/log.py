"""`calltag log`: rushes to log."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli import STOPPED
from calltag.cli._options import LOG_NAME, LogFile, Workers
from calltag.cli._output import end, say, say_problems
from calltag.cli._shells import as_meant, refuse_split

if TYPE_CHECKING:
    from calltag.run import RunReport


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("log")(log_command)


def log_command(
    rushes: Annotated[
        list[Path],
        typer.Argument(metavar="RUSHES", readable=False, help="Folders of clips, or single clips."),
    ],
    log: LogFile = LOG_NAME,
    model: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A taught model to name calls with. Without it, calltag.model beside the log.",
            show_default=False,
        ),
    ] = None,
    workers: Workers = None,
    force: Annotated[bool, typer.Option("--force", help="Analyse known takes again.")] = False,
    drop_missing: Annotated[
        bool,
        typer.Option(
            "--drop-missing",
            help="Remove takes whose files are gone from the log, with their labels.",
        ),
    ] = False,
    dask: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="Share the work among several computers: the address of a Dask scheduler. Its "
            "workers have to see the rushes by the same paths.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Find the calls and the noise in the rushes.

    What is found goes into the log, a file. A take that the log knows is not analysed again, not
    even when its file was moved or renamed: so the command can be stopped at any time, and goes on
    when it is started again. The clips are only read.

    \b
    Example:
      calltag log D:/ashmere/card1 D:/ashmere/card2
    """
    from calltag.cli._log import read_takes
    from calltag.cli._progress import Teller
    from calltag.cli._summary import run_lines
    from calltag.log import Log
    from calltag.run import log_rushes

    folders = as_meant(rushes)
    refuse_split(folders)
    try:
        with _stopped_by_sigterm(), Teller() as teller:
            report = log_rushes(
                folders,
                log,
                model=model,
                workers=workers,
                force=force,
                drop_missing=drop_missing,
                listener=teller.tell,
                dask=dask,
            )
    except KeyboardInterrupt:
        say("Stopped; what was finished is kept. The same command goes on from here.")
        raise typer.Exit(STOPPED) from None
    with Log(log) as opened:
        takes = list(read_takes(opened))
        for line in run_lines(report, takes):
            typer.echo(line)
    _tell_what_to_know(report, dropped=drop_missing)
    if takes:
        say(
            "Next: `calltag takes` shows what each take is good for, `calltag calls` lists the "
            "calls, `calltag label` opens a page to name some of them, `calltag markers "
            "ashmere.otio` marks them for the edit."
        )
    end(report.problems, done=bool(report.analysed or report.known or report.copied))


@contextmanager
def _stopped_by_sigterm() -> Iterator[None]:
    """Treat a system that shuts down like a user who presses Ctrl-C."""

    def stop(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _tell_what_to_know(report: RunReport, *, dropped: bool) -> None:
    from calltag.words import first_few

    if dropped and (gone := [*report.missing, *(old for old, _ in report.replaced)]):
        say(f"Taken out of the log, as their files are gone: {first_few(gone)}.")
    if report.missing and not dropped:
        say(
            f"Not in the rushes any more, but kept in the log: {first_few(report.missing)}; "
            "--drop-missing takes them out."
        )
    if report.replaced and not dropped:
        names = first_few([f"{old} (now {new})" for old, new in report.replaced], 3)
        say(
            "Other recordings lie where takes of the log were, which are kept in it under other "
            f"names: {names}; --drop-missing takes them out."
        )
    for note in report.notes:
        say(note)
    say_problems(report.problems)
