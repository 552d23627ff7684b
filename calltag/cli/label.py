"""`calltag label`: the user's word on what is in the takes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._choose import choose_takes
from calltag.cli._options import (
    LOG_NAME,
    As,
    ListedAs,
    LogFile,
    OpenBrowser,
    Takes,
    Types,
    WrongUse,
    typed,
)
from calltag.cli._output import Column, end, print_data, print_table, say
from calltag.cli._pages import serve_page
from calltag.errors import InputError
from calltag.pages.listening.order import Order
from calltag.words import counted, position

if TYPE_CHECKING:
    from calltag.learn.labels.label_file import LabelFile
    from calltag.log import Log

TABLE = (
    Column("take", folds=True),
    Column("from", right=True),
    Column("to", right=True),
    Column("label", folds=True),
    Column("group", rank=1),
)


_NEXT = (
    "Next: `calltag teach` learns from all labels, `calltag library teach` from your call library, "
    "too."
)

MOST_SENTENCES = 20
"""Bad lines that are told one by one."""


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("label")(label_command)


def label_command(
    context: typer.Context,
    log: LogFile = LOG_NAME,
    source: Annotated[
        Path | None,
        typer.Option(
            "--from",
            metavar="FILE.csv",
            help="Read labels from a table with the columns take, start_s, end_s, label and, if "
            "wanted, group.",
        ),
    ] = None,
    skip_bad: Annotated[
        bool,
        typer.Option(
            "--skip-bad", help="With --from: take the good lines of a file that has bad ones."
        ),
    ] = False,
    show: Annotated[bool, typer.Option("--list", help="List your labels.")] = False,
    types: Types = None,
    takes: Takes = None,
    how: ListedAs = As.TABLE,
    by: Annotated[
        Order, typer.Option(help="Which sounds the listening page begins with.")
    ] = Order.USEFUL,
    browser: OpenBrowser = True,
) -> None:
    """Listen to the calls and say what they are, to teach calltag.

    Opens a page in your browser that plays and shows one sound after another; a key names it. Each
    answer is in the log at once. Ctrl-C ends it.

    A label is a call type in your own words, a noise kind (machine, wind, water, voice, handling;
    a detail may follow: machine/hedge trimmer) or `no call`. Your labels stand above what was
    found. A spreadsheet will do, too: list the calls as CSV, write types into the
    column `label`, and read the file. Lines that you leave as they are do not become labels.

    \b
    Examples:
      calltag label
      calltag label --take card1 --by time
      calltag calls --as csv > mine.csv
      calltag label --from mine.csv
      calltag label --list
    """
    from calltag.log import Log

    _refuse_idle(context, reading=source is not None, listing=show)
    if source is None and not show:
        _listen(log, takes or [], by, browser=browser)
        return
    file = None
    with Log(log, create=False) as opened:
        if source is not None:
            file = _read(opened, source, skip_bad=skip_bad)
        if show:
            _list(opened, types or [], takes or [], how)
    if file is not None:
        end(file.bad, done=bool(file.labels))


def _refuse_idle(context: typer.Context, *, reading: bool, listing: bool) -> None:
    """Refuse options that what is asked for has no use for."""
    listening = not (reading or listing)
    for option, used, sentence in (
        (
            "types",
            listing,
            "--type goes with --list; the listening page goes by type with --by type",
        ),
        ("how", listing, "--as goes with --list: it says how your labels are listed"),
        ("skip_bad", reading, "--skip-bad goes with --from: it is about the lines of a table"),
        ("by", listening, "--by goes with the listening page, so without --from and --list"),
        (
            "takes",
            listing or listening,
            "--take goes with --list and the listening page; a table names its takes itself",
        ),
    ):
        if not used and typed(context, option):
            raise WrongUse(sentence)


def _listen(log: Path, takes: list[str], by: Order, *, browser: bool) -> None:
    from calltag.log import Log
    from calltag.naming import measure_labels
    from calltag.pages.listening.app import listening_app
    from calltag.pages.listening.session import Session

    with Log(log, create=False) as opened:
        opened.check_writable()  # told now, and not at the first answer
        unread = opened.problems()
    session = Session(log, choose=lambda take_logs: choose_takes(take_logs, takes, unread))
    before = session.sounds.n_labels

    serve_page(
        listening_app(session, order=by),
        "The listening page",
        browser=browser,
        kept=" All answers are kept as they are given.",
    )
    with Log(log, create=False) as opened:
        for note in measure_labels(opened):
            say(note)
        n_labels = len(opened.labels())
    say(f"{counted(n_labels, 'label')} in the log, {n_labels - before:+d} in this sitting.")
    if n_labels > before:
        say(_NEXT)


def _read(log: Log, source: Path, *, skip_bad: bool) -> LabelFile:
    from calltag.learn.labels.label_file import read_label_file
    from calltag.naming import measure_labels

    take_logs = {one.take.path: one for one in log.take_logs()}
    unread = [problem for _, problem in log.problems()]
    file = read_label_file(source, take_logs, log.labels_by_take(), unread)
    for sentence in file.bad[:MOST_SENTENCES]:
        say(sentence)
    if len(file.bad) > MOST_SENTENCES:
        more = len(file.bad) - MOST_SENTENCES
        say(f"{counted(more, 'more line is', 'more lines are')} bad")
    if file.bad and not skip_bad:
        raise InputError(
            f"{source.name}: {counted(len(file.bad), 'line')} cannot be used, so no label was "
            "taken; mend the file, or add --skip-bad"
        )
    before = {label.label for label in log.labels()}
    log.change_labels(remove=file.given_way, put=(*file.parts, *file.labels))
    for note in measure_labels(log):
        say(note)
    _tell(file, source.name)
    for sentence in _slips(file, before, Counter(label.label for label in log.labels())):
        say(sentence)
    if file.labels:
        say(_NEXT)
    return file


def _slips(file: LabelFile, before: Collection[str], now: Counter[str]) -> list[str]:
    """Say which labels, new to the log, are almost spelt as others that are used more often."""
    from calltag.learn.labels.vocabulary import probably_meant

    own = Counter(label.label for label in file.labels)
    others = now - own  # what the table has put right is a name no more
    pairs = [
        (label, probably_meant(label, [*others, *(one for one in own if own[one] > own[label])]))
        for label in sorted(own.keys() - before)
    ]
    return [
        f"`{label}` is new; if `{meant}` is meant, write that and read the file again."
        for label, meant in pairs
        if meant
    ]


def _tell(file: LabelFile, name: str) -> None:
    types = {label.label for label in file.labels}
    if file.labels:
        say(f"{counted(len(file.labels), 'label')} of {counted(len(types), 'kind')} from {name}.")
    else:
        say(f"No label was taken from {name}.")
    if file.unnamed:
        lines = counted(file.unnamed, "line that names no type", "lines that name no type")
        say(f"Passed over: {lines}.")
    if file.staying:
        stays = ("of them has a label, which stays", "of them have labels, which stay")
        say(
            f"{counted(file.staying, *stays)}: on the page that `calltag label` opens, X takes a "
            "label away."
        )
    if file.unchanged:
        lines = counted(file.unchanged, "line that says", "lines that say")
        say(f"Passed over: {lines} what the log says already.")
    if file.bad:
        say(f"Left out: {counted(len(file.bad), 'line')} that cannot be used.")


def _list(log: Log, types: list[str], takes: list[str], how: As) -> None:
    from calltag.edit.call_filter import is_of_type, no_such_type
    from calltag.learn.labels.label_file import COLUMNS
    from calltag.records.found import TakeLog

    every = [TakeLog(take=take) for take in log.takes()]  # what was found in them is not asked for
    labels = log.labels()
    for name in types:
        if not any(is_of_type(one.label, [name]) for one in labels):
            raise no_such_type(name, {one.label for one in labels}, "the log", "label")
    paths = {one.take.path for one in choose_takes(every, takes, log.problems())}
    listed = [label for label in labels if label.take in paths and is_of_type(label.label, types)]
    if how is not As.TABLE:
        columns = (*COLUMNS, "group")
        print_data(columns, [{c: getattr(one, c) for c in columns} for one in listed], how)
        return
    if listed:
        print_table(
            TABLE,
            [
                [one.take, position(one.start_s), position(one.end_s), one.label, one.group or ""]
                for one in listed
            ],
        )
    if not labels:
        say("There is no label yet: `calltag label` opens a page to name what you hear.")
    elif not listed:
        say("None of your labels is like that.")
    else:
        say(f"{counted(len(listed), 'label')} listed.")
