"""`calltag sheet`: the shoot on one page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calltag.cli import STOPPED
from calltag.cli._choose import choose_takes
from calltag.cli._options import (
    LOG_NAME,
    LogFile,
    MinConfidence,
    MinSnr,
    Takes,
    Types,
    Verdicts,
    Workers,
    wrong_use,
)
from calltag.cli._output import end, say, say_problems
from calltag.records.label import LIKELY
from calltag.words import counted


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("sheet")(sheet_command)


def sheet_command(
    out: Annotated[Path, typer.Argument(metavar="OUT", help="The page to write: OUT.html.")],
    log: LogFile = LOG_NAME,
    folder: Annotated[
        bool,
        typer.Option(
            "--folder",
            help="Write a folder OUT with index.html, pictures and sounds in it, for big shoots; "
            "keep what is in it together.",
        ),
    ] = False,
    types: Types = None,
    takes: Takes = None,
    verdicts: Verdicts = None,
    min_confidence: MinConfidence = LIKELY,
    min_snr: MinSnr = None,
    best: Annotated[
        int | None,
        typer.Option(
            min=1,
            metavar="N",
            help="Only the best N calls of each take. Without it, all.",
            show_default=False,
        ),
    ] = None,
    picture: Annotated[
        bool,
        typer.Option(
            "--picture/--no-picture",
            help="Look how steady and how sharp the picture is, where that is not known yet.",
        ),
    ] = True,
    workers: Workers = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace a sheet that exists already.")
    ] = False,
) -> None:
    """Write one page to look at, listen to and print: the whole shoot.

    Each take has its verdict, a strip over time with calls and noise, a picture from its best
    moment and its usable stretches; each call its picture of sound and a button that plays it, at a
    low level. What the shoot holds stands on top. It opens in any browser, without a network, and
    can be sorted and searched there. With --type or --min-snr, only takes that have such a call.

    \b
    Example:
      calltag sheet ashmere.html
    """
    from calltag.cli._log import read_takes
    from calltag.cli._progress import Teller
    from calltag.edit.call_filter import CallFilter, check_types
    from calltag.log import Log
    from calltag.pages.sheet.place import refuse_name
    from calltag.pages.sheet.writing import MUCH_BYTES, SheetOptions, write_sheet
    from calltag.takes.verdict import judge

    if not folder:
        with wrong_use():
            refuse_name(out)
    wanted = CallFilter(types=types or (), min_confidence=min_confidence, min_snr_db=min_snr)
    with Log(log, create=False) as opened:
        every = list(read_takes(opened))
        check_types(every, types or ())
        chosen = [
            one
            for one in choose_takes(every, takes or (), opened.problems())
            if (not verdicts or judge(one).grade in verdicts)
            and (not wanted.narrows_takes or any(map(wanted.passes, one.calls)))
        ]
        narrowed = takes or wanted.narrows_takes
        unread = [] if narrowed else [problem for _, problem in opened.problems()]
        try:
            with Teller() as teller:
                report = write_sheet(
                    out,
                    chosen,
                    log=opened,
                    shown=wanted.passes,
                    unread=unread,
                    options=SheetOptions(
                        folder=folder, replace=replace, look=picture, best=best, workers=workers
                    ),
                    listener=teller.tell_counted,
                )
        except KeyboardInterrupt:
            say("Stopped; no sheet was written. What was seen of the pictures is kept.")
            raise typer.Exit(STOPPED) from None
    say(
        f"{report.page}: {counted(report.takes, 'take')}, {counted(report.calls, 'call')}, "
        f"{_size(report.size_bytes)}"
    )
    if report.size_bytes > MUCH_BYTES and not folder:
        say("That is much for one page: --folder keeps it quick, --best N leaves calls out.")
    say_problems(report.problems)
    say("It is for your eyes and ears; a tag is no identification record.")
    end(report.problems)


def _size(size_bytes: int) -> str:
    megabytes = size_bytes / 1e6
    return f"{megabytes:.1f} MB" if megabytes >= 1 else f"{size_bytes / 1e3:.0f} kB"
