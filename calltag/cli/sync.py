"""`calltag sync`: recordings of the same moment, lined up by their sound."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from calltag.cli import STOPPED
from calltag.cli._choose import choose_takes, no_such_take
from calltag.cli._options import LOG_NAME, As, LogFile, WrongUse, finite, typed
from calltag.cli._output import Column, end, print_data, print_table, say, say_problems
from calltag.cli._progress import bar
from calltag.errors import InputError, MediaError
from calltag.paths import is_file
from calltag.records.found import TakeLog
from calltag.records.take import Take
from calltag.spelling import name_order
from calltag.words import counted, first_few, sure

if TYPE_CHECKING:
    from calltag.edit.sync.camera_clocks import ClockDifference
    from calltag.edit.sync.comparing import Comparison
    from calltag.edit.sync.lining_up import Source
    from calltag.edit.tables import Row
    from calltag.log import Log
    from calltag.records.alignment import Alignment

DATA_COLUMNS = (
    "take_a",
    "take_b",
    "outcome",
    "offset_s",
    "drift_ppm",
    "confidence",
    "overlap_s",
    "reason",
)
COLUMNS = (
    Column("first", folds=True),
    Column("second", folds=True),
    Column("outcome"),
    Column("second begins at", right=True),
    Column("its clock", right=True, rank=2),
    Column("sure", right=True),
    Column("both ran", right=True, rank=3),
    Column("why", folds=True, rank=1),
)

MANY_PAIRS = 12
"""Of more pairs without anything in common, none is listed; before more, a hint is given."""


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

    Of many pairs, those come first that ran at the same time by the clocks. Once three of two
    cameras are lined up, and agree on how far the clocks are apart, pairs that lie a minute and
    more apart by that, between others that agree, are not listened to.

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
    from calltag.edit.sync.lining_up import count_pairs, sync_takes
    from calltag.edit.sync.search import Bounds
    from calltag.log import Log
    from calltag.media.copies import with_copies

    if by_timecode and around is not None:
        raise WrongUse("give --around or --by-timecode, not both")
    narrow = by_timecode or around is not None
    if not narrow and typed(context, "within"):
        raise WrongUse("--within goes with --around or --by-timecode: it says how far off they are")
    has_log = is_file(log)
    if not has_log and typed(context, "log"):
        Log(log, create=False)  # says why not
    middle_s = around or 0.0
    near = Bounds(middle_s - within, middle_s + within)
    with Log(log, create=False) if has_log else Log(Path(":memory:")) as opened:
        known = with_copies(opened.takes())
        named = list(_sources(takes, known))
        sources = [source for of_name in named for source in of_name]
        n_first = None if every_pair or len(takes) == 1 else len(named[0])
        n_pairs = count_pairs(len(sources), n_first)
        if n_pairs > MANY_PAIRS and not by_timecode:
            say(
                f"{n_pairs} pairs to compare. --by-timecode looks only where the timecode puts "
                "them, and is quicker."
            )
        by_name = {take.path: take for take in known}
        differences: list[ClockDifference] = []
        try:
            with bar("reading and comparing") as told:
                compared, problems = sync_takes(
                    sources,
                    n_first=n_first,
                    bounds=near if narrow else None,
                    clock_s=partial(_clock_s, by_name) if by_timecode else None,
                    take_of=partial(_take_of, by_name),
                    listener=told,
                )
            stays = _not_looked_for_again(opened, compared, narrow=narrow)
            if around is None:
                compared, differences = look_by_clocks(
                    compared,
                    sources,
                    partial(_take_of, by_name),
                    before=stays,
                    known=known,
                )
        except KeyboardInterrupt:
            say("Stopped; nothing was kept.")
            raise typer.Exit(STOPPED) from None
        compared, others = follow_joins(compared, stays, known)
        if how is not As.TABLE:
            print_data(DATA_COLUMNS, [_row(one) for one in compared], how)
        elif compared:
            _print(compared)
        kept = _keep(opened, compared, by_name.keys(), narrow=narrow)
    if how is As.TABLE and compared:
        for difference in differences:
            say(str(difference))
        _tell(compared, kept, log, by_timecode=by_timecode)
        _tell_others(others, compared)
    elif how is As.TABLE:
        say("Nothing could be compared.")
    say_problems(problems)
    end(problems, done=bool(compared))


def _print(compared: Sequence[Comparison]) -> None:
    """Print what was compared; of many pairs, those that have something in common."""
    from calltag.edit.sync.comparing import Outcome

    common = [one for one in compared if one.outcome is not Outcome.NOTHING]
    apart = len(compared) - len(common)
    spared = sum(map(_spared, compared))
    listed = common if apart > MANY_PAIRS else compared
    left_out = print_table(COLUMNS, [_cells(one) for one in listed]) if listed else []
    if "why" in left_out:
        unsure = Counter(one.reason for one in common if one.outcome is Outcome.UNSURE)
        for reason, n in unsure.items():
            say(f"{counted(n, 'pair')} unsure: {reason}.")
    if listed is common:
        if spared:
            say(f"{counted(spared, 'pair')} did not run at once, by the clocks of those lined up.")
        what = counted(apart - spared, "pair has", "pairs have")
        say(f"{what} no common sound (--as csv lists all).")


def _tell(compared: Sequence[Comparison], kept: _Kept, log: Path, *, by_timecode: bool) -> None:
    """Say what was kept in the log, what was not, and why."""
    from calltag.edit.sync.comparing import Outcome

    n_kept, n_left, forgotten = kept
    say(f"{counted(n_kept, 'pair')} kept in {log}." if n_kept else "No pair was kept in a log.")
    by_clocks = sum(one.outcome is Outcome.BY_CLOCKS for one in compared)
    if by_clocks:
        what = counted(by_clocks, "pair is", "pairs are")
        say(f"{what} placed by the clocks alone: that is told here, and not kept.")
    if forgotten:
        say(
            f"Lined up before, and not kept any more: {first_few(forgotten, 3)}. Look there "
            "alone with --around to have such a pair again."
        )
    if n_left:
        what = counted(n_left, "pair that was lined up stays", "pairs that were lined up stay")
        say(f"{what} so: this did not look everywhere.")
    if by_timecode and all(one.outcome is Outcome.NOTHING for one in compared):
        say(
            "The takes have nothing in common where their timecode puts them: if a clock was "
            "wrong, look without --by-timecode."
        )


def _not_looked_for_again(
    log: Log, compared: Sequence[Comparison], *, narrow: bool
) -> list[Alignment]:
    """What the log knows and this look leaves as it is."""
    looked_for = {one.pair for one in compared if not narrow and not _spared(one)}
    return [p for p in log.alignments() if p.pair not in looked_for]


def _tell_others(others: Sequence[Alignment], compared: Sequence[Comparison]) -> None:
    """Name the files that were not named, in which those that were go on."""
    named = {name for one in compared for name in (one.take_a, one.take_b)}
    found = {name for pair in others for name in (pair.take_a, pair.take_b)} - named
    if found:
        files = first_few(sorted(found, key=name_order))
        say(f"These go on in other files, which are in place too: {files}.")


def _sources(names: Sequence[str], known: Sequence[Take]) -> Iterator[list[Source]]:
    """Yield the takes of each name, each once; of copies in folders, the first."""
    from calltag.edit.sync.lining_up import Source

    logged = {take.file.resolve(): take.path for take in known}
    names_of_log = set(logged.values())
    contents = {take.file.resolve(): take.digest for take in known}
    seen: set[Path | str] = set()
    for name in names:
        file = Path(name)
        files = [file.resolve()] if is_file(file) else _named(name, known)
        if len(files) == 1 and files[0] in seen:
            raise InputError(f"{name}: named twice; name two takes of the same moment")
        of_name = []
        for path in files:
            content = contents.get(path)
            if path not in seen and (len(files) == 1 or content not in seen):
                seen |= {path, content or path}
                # another file of a logged take's name, as cameras give them, is not that take
                unlogged = str(path) if path.name in names_of_log else path.name
                of_name.append(Source(logged.get(path, unlogged), path))
        yield of_name


def _named(name: str, known: Sequence[Take]) -> list[Path]:
    try:
        chosen = [one.take for one in choose_takes((TakeLog(take=take) for take in known), [name])]
    except InputError:
        paths = [take.path for take in known]
        if not paths:
            raise InputError(
                f"{name}: there is no such file, and no take in a log here; write its whole path"
            ) from None
        raise no_such_take(name, paths, "neither a file nor a take of the log") from None
    exact = [take for take in chosen if take.path == name]
    return [take.file.resolve() for take in exact or chosen]


def _take_of(by_name: Mapping[str, Take], source: Source) -> Take:
    """Tell what is known of a take, by the log or its file."""
    from calltag.media.probe import probe, take_of

    take = by_name.get(source.name)
    if take is not None:
        return take
    return take_of(probe(source.path), path=source.path.as_posix())


def _clock_s(by_name: Mapping[str, Take], source: Source) -> tuple[float, float]:
    """Tell at what time of day a take begins, and how long that day is."""
    from calltag.media.timing.clock import day_s, time_of_day_s

    take = _take_of(by_name, source)
    found = time_of_day_s(take)
    if found is None:
        raise MediaError(source.path, "has no timecode; say with --around where to look")
    return found, day_s(take)


class _Kept(NamedTuple):
    """How many pairs were kept in the log, how many stay in it, and which were forgotten."""

    n_kept: int
    n_left: int
    forgotten: list[str]


def _keep(
    log: Log, compared: Sequence[Comparison], known: Collection[str], *, narrow: bool
) -> _Kept:
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
        elif narrow or _spared(one):
            left += one.pair in before
        else:
            log.remove_alignment(one.take_a, one.take_b)
            if one.pair in before:
                forgotten.append(f"{one.take_a} and {one.take_b}")
    return _Kept(kept, left, forgotten)


def _spared(one: Comparison) -> bool:
    """Whether a pair was not listened to, by the clocks of others."""
    from calltag.edit.sync.lining_up import NOT_BY_CLOCKS

    return one.reason == NOT_BY_CLOCKS


def _by_sound(one: Comparison) -> Alignment | None:
    """How a pair lies, where that was measured: clocks alone say nothing of drift or sureness."""
    return one.alignment if one.alignment and one.alignment.confidence else None


def _row(one: Comparison) -> Row:
    from calltag.edit.tables import rounded

    pair, heard = one.alignment, _by_sound(one)
    return {
        "take_a": one.take_a,
        "take_b": one.take_b,
        "outcome": one.outcome.value,
        "offset_s": rounded(pair.offset_s, 4) if pair else None,
        "drift_ppm": rounded(heard.drift_ppm, 1) if heard else None,
        "confidence": rounded(heard.confidence, 3) if heard else None,
        "overlap_s": rounded(pair.overlap_s, 2) if pair else None,
        "reason": one.reason,
    }


def _cells(one: Comparison) -> list[str]:
    pair, heard = one.alignment, _by_sound(one)
    return [
        one.take_a,
        one.take_b,
        one.outcome.value,
        f"{pair.offset_s:+z.3f} s" if pair else "",
        f"{heard.drift_ppm:+z.0f} ppm" if heard else "",
        sure(heard.confidence) if heard else "",
        f"{pair.overlap_s:.1f} s" if pair else "",
        one.reason,
    ]
