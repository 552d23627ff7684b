"""`calltag library teach`: call types learnt from the library."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._library import LIBRARY, LibraryFolder, library_folder, warn_unfinished
from calltag.cli._options import LOG_NAME, ByHand, LogFile, NewModel
from calltag.cli._output import say
from calltag.cli.teach import tell_what_next
from calltag.media.copies import each_once
from calltag.paths import is_file
from calltag.words import counted

if TYPE_CHECKING:
    from calltag.library.lessons import LabelledTake, Lessons


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("teach")(teach_command)


def teach_command(
    log: LogFile = LOG_NAME,
    library: LibraryFolder = LIBRARY,
    by_hand: ByHand = False,
    min_confidence: Annotated[
        float,
        typer.Option(
            "--min-confidence",
            min=0.0,
            max=1.0,
            metavar="0…1",
            help="Of calls that you did not label yourself, only those named at least this surely.",
        ),
    ] = 0.8,
    model: NewModel = None,
) -> None:
    """Learn call types from the library and the log's labels.

    What you taught calltag last spring works this spring. If there is a log, its calls are named at
    once; if there is none yet, `calltag log` names what it finds by the model. Labels of the log
    stand above what is kept of the same call.

    \b
    Example:
      calltag library teach
    """
    from calltag.library.catalogue.catalogue import Catalogue
    from calltag.library.lessons import lessons
    from calltag.log import Log
    from calltag.naming import MODEL_NAME, teach_log, teach_without_log

    target = model or log.with_name(MODEL_NAME)
    has_log = is_file(log)
    with Catalogue(library_folder(library)) as catalogue:
        warn_unfinished(catalogue)
        learnt = lessons(
            catalogue,
            min_confidence=min_confidence,
            only_by_hand=by_hand,
            takes=_labelled_takes(log) if has_log else None,
        )
    if has_log:
        with Log(log, create=False) as opened:
            report, notes = teach_log(opened, target, more=learnt.examples, company=learnt.company)
    else:
        report = teach_without_log(learnt.examples, target, company=learnt.company)
        notes = []
    typer.echo(report.text())
    for note in (*learnt.notes, *notes):
        say(note)
    for line in _lessons(learnt):
        say(line)
    if has_log:
        tell_what_next(report, target, log)
    else:
        say(f"The model is {target}; `calltag log RUSHES` names what it finds by it.")


def _labelled_takes(path: Path) -> dict[str, LabelledTake]:
    """The takes of a log by their content, with the labels of each and of its copies."""
    from calltag.library.lessons import LabelledTake
    from calltag.log import Log

    with Log(path, create=False) as log:
        labels = log.labels_by_take()
        take_logs = list(log.take_logs())
    digests = {one.take.path: one.take.digest for one in take_logs}
    return {
        digests[path]: LabelledTake(
            path, tuple(label for one in (path, *copies) for label in labels.get(one, ()))
        )
        for path, copies in each_once(take_logs).items()
    }


def _lessons(learnt: Lessons) -> Iterator[str]:
    n = len(learnt.examples)
    text = f"From the library: {counted(n, 'call')}, {learnt.by_hand} labelled by hand"
    if named := n - learnt.by_hand:
        text += f" and {named} named by a model"
    yield f"{text}."
    if named:
        yield (
            "What a model named is known easily again, so the figures are somewhat better than they"
            " should be; --by-hand leaves those calls out."
        )
    if learnt.company:
        yield (
            "What else calls there is known from"
            f" {counted(len(learnt.company), 'other find')} of the same takes."
        )
    if learnt.unsure:
        yield f"Left out: {counted(learnt.unsure, 'call')} not labelled by you, or not sure enough."
    if learnt.in_log:
        yield f"{counted(learnt.in_log, 'kept call')} labelled in the log, too; the log counts."
    if learnt.measured:
        yield f"{counted(learnt.measured, 'call')} of another version of calltag measured again."
