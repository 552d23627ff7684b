"""`calltag keep`: calls cut into the call library."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._choose import Found, choose_takes, default_order, order_calls
from calltag.cli._keep_choice import (
    at_seconds,
    from_table,
    heard_once,
    with_origins,
    without_calls_of_copies,
)
from calltag.cli._keep_facts import (
    Behaviour,
    Day,
    Equipment,
    Latitude,
    LifeStage,
    Longitude,
    Place,
    Recordist,
    Rights,
    Sex,
    Species,
    day_of,
)
from calltag.cli._keep_report import double_lines, print_wanted, report_lines, unsaid_line
from calltag.cli._library import LIBRARY, LibraryFolder, library_folder
from calltag.cli._options import (
    LOG_NAME,
    ByHand,
    LogFile,
    MinConfidence,
    MinSnr,
    Noise,
    Takes,
    Types,
    WrongUse,
    finite,
    second,
    typed,
    wrong_use,
)
from calltag.cli._output import end, say, say_next
from calltag.cli._progress import bar
from calltag.errors import InputError
from calltag.paths import is_file
from calltag.records.label import LIKELY
from calltag.words import CARE, counted

if TYPE_CHECKING:
    from calltag.edit.call_filter import CallFilter
    from calltag.edit.over_joins import Joins
    from calltag.library.keep import KeepOptions, Wanted
    from calltag.records.found import TakeLog
    from calltag.records.take import Problem


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("keep")(keep_command)


def keep_command(
    context: typer.Context,
    log: LogFile = LOG_NAME,
    library: LibraryFolder = LIBRARY,
    types: Types = None,
    takes: Takes = None,
    best: Annotated[
        int | None,
        typer.Option(
            min=1,
            metavar="N",
            help="Only the N that are worth most to the edit.",
            show_default=False,
        ),
    ] = None,
    at: Annotated[
        list[float] | None,
        typer.Option(
            "--at",
            parser=second,
            metavar="SECONDS",
            help="The call at this second of --take, also as `calltag calls` lists it (1:02.35). "
            "May be repeated.",
        ),
    ] = None,
    source: Annotated[
        Path | None,
        typer.Option(
            "--from",
            metavar="CALLS.csv",
            help="The calls of this table, which `calltag calls --as csv` wrote and you cut down "
            "to those you want; doubtful ones too, unless --min-confidence is typed.",
            show_default=False,
        ),
    ] = None,
    min_confidence: MinConfidence = LIKELY,
    min_snr: MinSnr = None,
    noise: Noise = None,
    by_hand: ByHand = False,
    once: Annotated[
        bool,
        typer.Option(
            "--once",
            help="Of a call that several cameras heard, only the best sound. Takes are lined up by "
            "`calltag sync`.",
        ),
    ] = False,
    handles: Annotated[
        float,
        typer.Option(
            "--handles",
            min=0.0,
            callback=finite,
            metavar="SECONDS",
            help="Sound kept before and after.",
        ),
    ] = 1.0,
    flac: Annotated[
        bool,
        typer.Option(
            "--flac",
            help="Write FLAC, which loses nothing and takes half the room, in place of WAV.",
        ),
    ] = False,
    species: Species = "",
    behaviour: Behaviour = "",
    sex: Sex = "",
    life_stage: LifeStage = "",
    place: Place = "",
    latitude: Latitude = None,
    longitude: Longitude = None,
    date: Day = None,
    recordist: Recordist = "",
    equipment: Equipment = "",
    rights: Rights = "",
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="List what would be kept, and write nothing.")
    ] = False,
    replace: Annotated[
        bool,
        typer.Option(
            "--replace",
            help="Cut anew what is kept already; what you said of it then is kept where you say "
            "nothing else now.",
        ),
    ] = False,
) -> None:
    """Cut calls into your call library.

    Each becomes a file of 24 bit, at the take's own rate and with all its channels. Nothing is done
    to it but a fade of 10 ms at each end. It carries its own story: what, where, when, who, and how
    the name came to be. What is kept already is not kept twice. What holds for a whole shoot may
    stand in calltag.toml, as `place = "Ashmere"` below [keep]. Takes are only read, never changed.

    \b
    Examples:
      calltag keep --type "marsh hooter" --best 20 --place Ashmere --recordist "A. Keeper"
      calltag keep --take A007.MOV --at 12.4
    """
    from calltag.cli._log import read_alignments, read_takes
    from calltag.edit.call_filter import CallFilter, check_types
    from calltag.edit.over_joins import Joins
    from calltag.library.keep import KeepOptions
    from calltag.library.kept_file.story import Facts
    from calltag.library.rebuild import refuse_lost_catalogue
    from calltag.log import Log
    from calltag.media.timing.clock import common_rate

    if not (types or takes or best or by_hand or source):
        raise WrongUse(
            "say which calls to keep, such as --best 10; or by --type, --take (with --at for one "
            "call), --by-hand, or --from with a table of calls"
        )
    if at:
        _refuse_idle(context)
    if source is not None and min_confidence <= LIKELY and not typed(context, "min_confidence"):
        min_confidence = 0.0  # the table may name doubtful calls
    wanted = CallFilter(
        types=types or (),
        min_confidence=min_confidence,
        min_snr_db=min_snr,
        noise=noise,
        by_hand=by_hand,
    )
    with wrong_use():
        day = day_of(date)
    facts = Facts(
        species=species,
        behaviour=behaviour,
        sex=sex,
        life_stage=life_stage,
        place=place,
        latitude=latitude,
        longitude=longitude,
        date=day,
        recordist=recordist,
        equipment=equipment,
        rights=rights,
    )
    with Log(log, create=False) as opened:
        every = list(read_takes(opened, features=True))
        check_types(every, types or ())
        unread = opened.problems()
        chosen = list(choose_takes(every, takes or (), unread))
        problems = [problem for _, problem in unread]
        found = _asked_for(chosen, every, wanted, at=at or (), source=source, unread=problems)
        alignments = read_alignments(opened)
        if once:
            found = heard_once(found, alignments)
        found = without_calls_of_copies(order_calls(found, default_order(best)))[:best]
        calls = with_origins(found, every, alignments, opened)
    rate = common_rate(one.take for one in every)
    options = KeepOptions(handles_s=handles, as_flac=flac, facts=facts, rate=rate, replace=replace)
    if not calls:
        raise InputError("no call in the log is of that kind; `calltag calls` lists them")
    folder = library_folder(library)
    refuse_lost_catalogue(folder)
    joins = Joins(alignments)
    if dry_run:
        _list(folder, calls, joins, options)
        return
    _keep(folder, calls, every, joins, options)


def _refuse_idle(context: typer.Context) -> None:
    """Refuse options that choose among calls, where `--at` says which."""
    for option, name in (
        ("source", "--from"),
        ("types", "--type"),
        ("min_confidence", "--min-confidence"),
        ("min_snr", "--min-snr"),
        ("noise", "--noise" if context.params["noise"] else "--clean"),
        ("by_hand", "--by-hand"),
    ):
        if typed(context, option):
            raise WrongUse(f"--at says which calls to keep, whatever {name} says; leave out one")


def _asked_for(
    chosen: Sequence[TakeLog],
    every: Sequence[TakeLog],
    wanted: CallFilter,
    *,
    at: Sequence[float],
    source: Path | None,
    unread: Sequence[Problem],
) -> list[Found]:
    """The calls at these seconds, of this table, or of these takes."""
    if at:
        return at_seconds(chosen, at)
    named = [(one, call) for one in chosen for call in one.calls]
    if source is not None:
        named = from_table(every, source, chosen, unread)
    return [(one, call) for one, call in named if wanted.passes(call)]


def _list(folder: Path, calls: Sequence[Wanted], joins: Joins, options: KeepOptions) -> None:
    """Say what would be kept."""
    from calltag.library.catalogue.catalogue import NAME, Catalogue
    from calltag.library.keep import with_cuts

    new = calls
    if is_file(folder / NAME) and not options.replace:
        with Catalogue(folder) as catalogue:
            new = [one for one, cuts in with_cuts(catalogue, calls) if not cuts]
    if new:
        print_wanted(new)
    n_known = len(calls) - len(new)
    text = f"{counted(len(new), 'call')} would be kept in {folder}"
    say(f"{text}; {n_known} more are kept already." if n_known else f"{text}.")
    for line in joins.told([(one.take, one.call) for one in new], options.handles_s):
        say(line)


def _keep(
    folder: Path,
    calls: Sequence[Wanted],
    every: Sequence[TakeLog],
    joins: Joins,
    options: KeepOptions,
) -> None:
    from calltag.library.catalogue.catalogue import NAME, Catalogue
    from calltag.library.company import note_company
    from calltag.library.keep import keep_calls

    begun = not is_file(folder / NAME)
    with Catalogue(folder, create=True) as catalogue:
        if begun:
            say(f"A new call library begins in {folder}.")
        with bar("keeping") as told:
            report = keep_calls(catalogue, calls, options, told=lambda done: told(done, len(calls)))
        unread = {problem.path for problem in report.problems}
        note_company(catalogue, every, [one for one in calls if one.take.path not in unread])
        for line in report_lines(report, folder):
            say(line)
        known = {id(one) for one, _ in report.known}
        kept = [one for one in calls if id(one) not in known and one.take.path not in unread]
        for line in joins.told([(one.take, one.call) for one in kept], options.handles_s):
            say(line)
        for line in double_lines(catalogue, report):
            say(line)
    if begun:
        for line in unsaid_line(report):
            say(line)
        say(CARE)
    if report.kept:
        say_next(
            "`calltag library find` searches what you kept",
            "`calltag library browse` opens a page to look, listen and pick",
        )
    end(report.problems, done=bool(report.kept or report.known))
