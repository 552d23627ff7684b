"""`calltag sync`: recordings of the same moment, lined up by their sound."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli import STOPPED
from calltag.cli._options import LOG_NAME, As, LogFile, WrongUse, finite, typed
from calltag.cli._output import end, print_data, say, say_next, say_problems
from calltag.cli._progress import Stages
from calltag.cli._sync_report import (
    DATA_COLUMNS,
    MANY_PAIRS,
    Kept,
    data_row,
    print_compared,
    tell_kept,
    tell_others,
)
from calltag.cli._sync_takes import clock_s, sources_of, take_of
from calltag.errors import MediaError
from calltag.paths import is_file

if TYPE_CHECKING:
    from calltag.edit.sync.clock_differences import ClockDifference
    from calltag.edit.sync.comparing import Comparison
    from calltag.edit.sync.lining_up import Source
    from calltag.edit.sync.search import Bounds
    from calltag.log import Log
    from calltag.records.alignment import Alignment
    from calltag.records.take import Take


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("sync")(sync_command)


def sync_command(
    context: typer.Context,
    takes: Annotated[
        list[str],
        typer.Argument(
            metavar="TAKES",
            help="The takes: files, or takes and folders of the log as `calltag takes` lists them."
            " Each is lined up with the first, or with each take of it where it is a folder; those"
            " of a single folder all with all.",
            show_default=False,
        ),
    ],
    log: LogFile = LOG_NAME,
    every_pair: Annotated[bool, typer.Option("--every-pair", help="Compare all with all.")] = False,
    around: Annotated[
        float | None,
        typer.Option(
            "--around",
            metavar="SECONDS",
            callback=finite,
            help="Look only where the second begins about this many seconds after the first; "
            "below zero, before it.",
            show_default=False,
        ),
    ] = None,
    by_timecode: Annotated[
        bool, typer.Option("--by-timecode", help="Look only where the takes' timecode puts them.")
    ] = False,
    within: Annotated[
        float,
        typer.Option(
            "--within",
            min=0.1,
            metavar="SECONDS",
            callback=finite,
            help="How far off --around or the timecode may be.",
        ),
    ] = 10.0,
    how: Annotated[As, typer.Option("--as", help="How to print the result.")] = As.TABLE,
) -> None:
    """Line up takes that heard the same moment.

    It goes by the sound, so clocks that were set wrongly do no harm, nor do different levels. What
    was lined up is kept in the log, for `calltag calls --once`. Where the sound does not say for
    sure, as with one that repeats, that is told and nothing is kept.

    Cameras and recorders close a file at 4 GB or so, and go on in the next. Where two takes of the
    log state so, by timecode and date or by samples since midnight, what was lined up with one
    tells where the other lies; too little may be heard in it. That `goes on`, and counts in the
    other commands too.

    Of many pairs, those come first that ran at the same time by the clocks, and each gets a quick
    look before any is looked at closely. Once three of two cameras are lined up, and agree on how
    far the clocks are apart, pairs that lie a minute and more apart by that, between others that
    agree, are not listened to.

    Pairs that are lined up, or were before on the same day, tell how far the clocks of two cameras
    are apart. Where they agree, the others are looked for again where the clocks put them; there,
    less sound is enough. What the sound does not tell is placed `by the clocks` where two pairs
    agree, and the dates of the files too: that is told, with how many frames it may be off, and not
    kept.

    It is the sound that is lined up: cameras ten metres apart hear a call up to a frame apart.
    The column `its clock` says by how many millionths (ppm) the second take's clock runs fast, or
    slow below zero: 100 ppm are a frame in seven minutes.

    \b
    Examples:
      calltag sync card1/A007.MOV card2/B012.MOV
      calltag sync R001.WAV card1 card2 --by-timecode --within 60
      calltag sync card1 card2 --by-timecode
    """
    from calltag.edit.sync.by_clocks import look_by_clocks
    from calltag.edit.sync.by_joins import follow_joins
    from calltag.edit.sync.clock_differences import by_dates
    from calltag.edit.sync.comparing import alignments_of
    from calltag.edit.sync.lining_up import Traces, count_pairs, sync_takes
    from calltag.log import Log
    from calltag.media.copies import with_copies

    near = _where_to_look(context, around, within, by_timecode=by_timecode)
    narrow = near is not None
    has_log = is_file(log)
    if not has_log and typed(context, "log"):
        Log(log, create=False)  # says why not
    with Log(log, create=False) if has_log else Log(Path(":memory:")) as opened:
        known = with_copies(opened.takes())
        named = list(sources_of(takes, known))
        sources = [source for of_name in named for source in of_name]
        n_first = None if every_pair or len(takes) == 1 else len(named[0])
        by_name = {take.path: take for take in known}
        known_of = lru_cache(None)(partial(take_of, by_name))
        n_pairs = count_pairs(len(sources), n_first)
        if n_pairs > MANY_PAIRS and not by_timecode:
            quicker = (
                " --by-timecode looks only where the timecode puts them, and is quicker."
                if all(_has_timecode(known_of, source) for source in sources)
                else ""
            )
            say(f"{n_pairs} pairs to compare.{quicker}")
        differences: list[ClockDifference] = []
        try:
            traces = Traces()
            with Stages(steady=False) as stages:
                compared, problems = sync_takes(
                    sources,
                    n_first=n_first,
                    bounds=near,
                    clock_s=partial(clock_s, by_name) if by_timecode else None,
                    take_of=known_of,
                    listener=stages.tell,
                    traces=traces,
                )
                stays = _not_looked_for_again(opened, compared, narrow=narrow)
                if around is None:
                    compared, differences = look_by_clocks(
                        compared,
                        sources,
                        known_of,
                        before=stays,
                        known=known,
                        listener=stages.tell,
                        traces=traces,
                    )
        except KeyboardInterrupt:
            say("Stopped; nothing was kept.")
            raise typer.Exit(STOPPED) from None
        compared, others = follow_joins(compared, stays, known)
        if how is not As.TABLE:
            print_data(DATA_COLUMNS, [data_row(one) for one in compared], how)
        elif compared:
            print_compared(compared)
        kept = _keep(opened, compared, by_name.keys(), narrow=narrow)
    if how is As.TABLE and compared:
        for difference in differences:
            say(str(difference))
        for line in by_dates(alignments_of(compared), by_name):
            say(line)
        tell_kept(compared, kept, log, by_timecode=by_timecode)
        tell_others(others, compared)
    elif how is As.TABLE:
        say("Nothing could be compared.")
        if by_timecode and len(problems) > 1:
            say("Takes without timecode are lined up without --by-timecode.")
    say_problems(problems)
    if how is As.TABLE and kept.n_kept:
        say_next(
            "`calltag calls --once` lists each call once, where it sounds best",
            "`calltag markers OUT.otio --every-camera` marks it on every camera",
        )
    end(problems, done=bool(compared))


def _has_timecode(known_of: Callable[[Source], Take], source: Source) -> bool:
    """Whether a take states when it began; one that cannot be read is told of later."""
    from calltag.media.timing.clock import time_of_day_s

    try:
        return time_of_day_s(known_of(source)) is not None
    except MediaError:
        return True


def _where_to_look(
    context: typer.Context, around_s: float | None, within_s: float, *, by_timecode: bool
) -> Bounds | None:
    """Where a second take may begin, after the first or where clocks put it; None: anywhere."""
    from calltag.edit.sync.search import Bounds

    if by_timecode and around_s is not None:
        raise WrongUse("give --around or --by-timecode, not both")
    if not by_timecode and around_s is None:
        if typed(context, "within"):
            raise WrongUse(
                "--within goes with --around or --by-timecode: it says how far off they are"
            )
        return None
    middle_s = around_s or 0.0
    return Bounds(middle_s - within_s, middle_s + within_s)


def _not_looked_for_again(
    log: Log, compared: Sequence[Comparison], *, narrow: bool
) -> list[Alignment]:
    """What the log knows and this look leaves as it is."""
    looked_for = {one.pair for one in compared if not narrow and not one.spared}
    return [p for p in log.alignments() if p.pair not in looked_for]


def _keep(
    log: Log, compared: Sequence[Comparison], known: Collection[str], *, narrow: bool
) -> Kept:
    """Keep what was lined up, and forget what is not any more.

    Who looks in a narrow place and finds nothing there knows nothing of the others, and who is
    spared a pair by the clocks knows nothing of it: then what was lined up before stays.
    """
    before = {one.pair for one in log.alignments()}
    kept = left = 0
    forgotten = []
    for one in compared:
        if not all(name in known for name in one.pair):
            continue
        if one.lined_up is not None:
            log.put_alignment(one.lined_up)
            kept += 1
        elif narrow or one.spared:
            left += one.pair in before
        else:
            log.remove_alignment(one.take_a, one.take_b)
            if one.pair in before:
                forgotten.append(f"{one.take_a} and {one.take_b}")
    return Kept(kept, left, forgotten)
