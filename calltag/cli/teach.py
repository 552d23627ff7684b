"""`calltag teach`: call types learnt from labels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from calltag.cli._options import LOG_NAME, LogFile, NewModel
from calltag.cli._output import say

if TYPE_CHECKING:
    from pathlib import Path

    from calltag.learn.call_types.teach import Report


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("teach")(teach_command)


def teach_command(
    log: LogFile = LOG_NAME,
    model: NewModel = None,
) -> None:
    """Learn your call types from your labels, and name all calls.

    Five labels of a type help already; some of `no call` and of noise help, too. The report tells
    how well the types are known, checked on takes that were left out of the teaching. A call that
    is like none of them stays `call`. What calltag names so is a tag for the edit, no proof of what
    called.

    \b
    Example:
      calltag teach
    """
    from calltag.log import Log
    from calltag.naming import MODEL_NAME, teach_log

    target = model or log.with_name(MODEL_NAME)
    with Log(log, create=False) as opened:
        report, notes = teach_log(opened, target)
    typer.echo(report.text())
    for note in notes:
        say(note)
    tell_what_next(report, target, log)


def tell_what_next(report: Report, target: Path, log: Path) -> None:
    """Say where the model is that named the calls of a log, and what may come next."""
    from calltag.naming import MODEL_NAME

    say(f"The model is {target}; all calls in the log have their names by it.")
    if target != log.with_name(MODEL_NAME):
        say(f"Later takes are named by it with `calltag log RUSHES --model {target}`.")
    more = "`calltag label` begins with what would teach most, " if report.label_next else ""
    say(
        f"Next: {more}`calltag calls --best 10` lists the best calls, `calltag markers` marks them."
    )
