"""`calltag library`: the call library searched, handed out, learnt from, looked after."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli import FAILED
from calltag.cli._help import App
from calltag.cli._library import (
    LIBRARY,
    ByHand,
    Ids,
    LibraryFolder,
    MaxLength,
    MaxLevel,
    MinLength,
    MinLevel,
    Months,
    Noise,
    Place,
    Since,
    Until,
    Words,
    bar,
    library_folder,
    months_of,
)
from calltag.cli._options import LOG_NAME, As, ListedAs, LogFile, MinConfidence, MinSnr, Types
from calltag.cli._output import Column, end, print_data, print_table, say
from calltag.errors import InputError
from calltag.words import CARE, counted, first_few, position, sure

if TYPE_CHECKING:
    from calltag.edit.tables import Row
    from calltag.library.catalogue import Catalogue, Kept
    from calltag.library.doubles import Double
    from calltag.library.find import Query
    from calltag.library.lessons import LabelledTake, Lessons

ROW_COLUMNS = (
    "id",
    "label",
    "species",
    "behaviour",
    "sex",
    "life_stage",
    "place",
    "recorded",
    "recordist",
    "equipment",
    "rights",
    "take",
    "start_s",
    "end_s",
    "start_tc",
    "low_hz",
    "high_hz",
    "snr_db",
    "level_dbfs",
    "loudness_lufs",
    "confidence",
    "labelled_by",
    "noise",
    "doubles",
    "file",
)
COLUMNS = (
    Column("id"),
    Column("call type", folds=True),
    Column("place", folds=True, rank=1),
    Column("recorded", rank=2),
    Column("length", right=True, rank=3),
    Column("above background", right=True, rank=4),
    Column("sure", right=True, rank=5),
    Column("noise", rank=6),
    Column("again", right=True, rank=7),
)


class ListOrder(StrEnum):
    """What kept calls may be listed by."""

    NEWEST = "newest"
    TYPE = "type"
    SNR = "snr"
    LEVEL = "level"
    LENGTH = "length"
    CONFIDENCE = "confidence"


group = App()


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(group, name="library")


@group.callback()
def library() -> None:
    """Search your call library, hand out from it, and look after it.

    The library is a folder of sound files, each with its own story, and a catalogue to find them
    by. `calltag keep` puts calls into it.

    \b
    Examples:
      calltag library find --type "marsh hooter" --month May
      calltag library browse
      calltag library out D:/edit/calls --type "marsh hooter: boom" --best 5
    """


@group.command("find")
def find_command(
    words: Words = None,
    library: LibraryFolder = LIBRARY,
    types: Types = None,
    place: Place = "",
    months: Months = None,
    since: Since = None,
    until: Until = None,
    min_snr: MinSnr = None,
    min_level: MinLevel = None,
    max_level: MaxLevel = None,
    min_length: MinLength = None,
    max_length: MaxLength = None,
    min_confidence: MinConfidence = 0.0,
    noise: Noise = None,
    by_hand: ByHand = False,
    ids: Ids = None,
    doubles: Annotated[
        bool,
        typer.Option(
            "--doubles",
            help="Only calls that are there more than once; says which are the same.",
        ),
    ] = False,
    by: Annotated[
        ListOrder, typer.Option(help="Order: newest, type, or the highest first.")
    ] = ListOrder.NEWEST,
    best: Annotated[
        int, typer.Option(min=0, metavar="N", help="How many to list; 0 lists all.")
    ] = 50,
    how: ListedAs = As.TABLE,
) -> None:
    """Find kept calls.

    A call that is there more than once, by another camera or cut twice, is listed each time; the
    column `again` says how often it is there besides.

    \b
    Examples:
      calltag library find hoot ashmere
      calltag library find --type "pit rail" --month May --clean --min-snr 20
      calltag library find --doubles
    """
    from calltag.library.catalogue import Catalogue
    from calltag.library.doubles import doubles_of, pairs
    from calltag.library.find import find

    query = _query(
        words=" ".join(words or ()),
        types=types,
        place=place,
        months=months,
        since=since,
        until=until,
        min_snr=min_snr,
        min_level=min_level,
        max_level=max_level,
        min_length=min_length,
        max_length=max_length,
        min_confidence=min_confidence,
        noise=noise,
        by_hand=by_hand,
        ids=ids,
        doubles=doubles,
        by=by,
        best=best,
    )
    with Catalogue(library_folder(library)) as catalogue:
        _warn_unfinished(catalogue)
        found = find(catalogue, query)
        again = doubles_of(catalogue, [one.key for one in found.kept])
        total = catalogue.count()
    _print(found.kept, again, how)
    if how is not As.TABLE:
        return
    if doubles:
        for one, double in pairs(found.kept, again):
            say(f"  {one.short_id} and {double.short_id}: {double.why}")
    listed = len(found.kept)
    text = f"{counted(listed, 'kept call')} listed"
    if found.total > listed:
        text += f" of {found.total} (--best 0 lists all)"
    say(f"{text}; the library holds {total}.")


@group.command("browse")
def browse_command(
    library: LibraryFolder = LIBRARY,
    to: Annotated[
        Path,
        typer.Option(metavar="FOLDER", help="The folder that the page proposes to hand out to."),
    ] = Path("handed-out"),
    browser: Annotated[
        bool,
        typer.Option(
            "--open/--no-open", help="Whether to open the browser; the address is printed anyway."
        ),
    ] = True,
) -> None:
    """Look, listen and pick in your browser, and hand out.

    The page is for this computer alone. Ctrl-C ends it.

    \b
    Example:
      calltag library browse --to D:/edit/calls
    """
    from calltag.cli._pages import serve_page
    from calltag.pages.browsing import browsing_app

    place = library_folder(library)
    serve_page(browsing_app(place, target=to), "The library page", browser=browser)


@group.command("out")
def out_command(
    folder: Annotated[
        Path,
        typer.Argument(metavar="FOLDER", help="Where to copy to.", show_default=False),
    ],
    words: Words = None,
    library: LibraryFolder = LIBRARY,
    types: Types = None,
    place: Place = "",
    months: Months = None,
    since: Since = None,
    until: Until = None,
    min_snr: MinSnr = None,
    min_level: MinLevel = None,
    max_level: MaxLevel = None,
    min_length: MinLength = None,
    max_length: MaxLength = None,
    min_confidence: MinConfidence = 0.0,
    noise: Noise = None,
    by_hand: ByHand = False,
    ids: Ids = None,
    by: Annotated[
        ListOrder, typer.Option(help="Which come first: newest, type, or the highest.")
    ] = ListOrder.SNR,
    best: Annotated[
        int, typer.Option(min=0, metavar="N", help="Only the first N of that order; 0 is all.")
    ] = 0,
    loudness: Annotated[
        float | None,
        typer.Option(
            "--loudness",
            metavar="LUFS",
            min=-70.0,
            max=0.0,
            help="Bring all to this loudness; -23 is what broadcasters use (EBU R 128). No true "
            "peak goes above -1 dBTP. Without it, levels stay as they are.",
            show_default=False,
        ),
    ] = None,
    fps: Annotated[
        str | None,
        typer.Option(
            "--fps",
            metavar="FPS",
            help="Frame rate that the markers count at, as 25 or 29.97df. Without it, that of most "
            "of the takes.",
            show_default=False,
        ),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace files that exist already.")
    ] = False,
) -> None:
    """Copy kept calls to a folder, for an edit.

    Copies are wave files with start time, a cue on the call, and its story. Beside them come
    calls.otio, a timeline (OpenTimelineIO) with a marker on each call, and credits.csv, which says
    who recorded what and how it may be used.

    \b
    Examples:
      calltag library out D:/edit/calls --type "marsh hooter: boom" --best 5
      calltag library out D:/edit/calls --id 1a2b3c4d --loudness -23
    """
    from calltag.library.catalogue import Catalogue
    from calltag.library.find import find
    from calltag.library.hand_out import hand_out, report_lines
    from calltag.media.timecode import parse_rate

    query = _query(
        words=" ".join(words or ()),
        types=types,
        place=place,
        months=months,
        since=since,
        until=until,
        min_snr=min_snr,
        min_level=min_level,
        max_level=max_level,
        min_length=min_length,
        max_length=max_length,
        min_confidence=min_confidence,
        noise=noise,
        by_hand=by_hand,
        ids=ids,
        by=by,
        best=best,
    )
    place_of = library_folder(library)
    with Catalogue(place_of) as catalogue:
        _warn_unfinished(catalogue)
        kept = find(catalogue, query).kept
    with bar("copying") as told:
        report = hand_out(
            kept,
            folder,
            library=place_of,
            loudness_lufs=loudness,
            rate=parse_rate(fps) if fps else None,
            replace_existing=replace,
            told=lambda done: told(done, len(kept)),
        )
    for line in report_lines(report, folder, loudness):
        say(line)
    say(CARE)
    end(report.problems, done=bool(report.copies))


@group.command("like")
def like_command(
    sound: Annotated[
        str,
        typer.Argument(
            metavar="SOUND",
            help="A sound file or a take, or the id of a kept call.",
            show_default=False,
        ),
    ],
    library: LibraryFolder = LIBRARY,
    at: Annotated[
        float | None,
        typer.Option(
            "--at",
            min=0.0,
            metavar="SECONDS",
            help="Where in the file the sound begins. Without it, the call that stands out most.",
            show_default=False,
        ),
    ] = None,
    length: Annotated[
        float,
        typer.Option("--length", min=0.05, metavar="SECONDS", help="With --at, how long it is."),
    ] = 0.5,
    best: Annotated[int, typer.Option(min=1, metavar="N", help="How many to list.")] = 10,
    how: ListedAs = As.TABLE,
) -> None:
    """List the kept calls that are most like a sound.

    The column `alike` goes from 0.00, nothing in common, to 1.00, the same sound. It compares what
    is measured of the calls, not their levels, and is no probability: that two calls are alike does
    not say that one animal made them.

    \b
    Examples:
      calltag library like A007.MOV --at 12.4
      calltag library like 1a2b3c4d --best 5
    """
    from calltag.library.catalogue import Catalogue
    from calltag.library.find import by_name
    from calltag.library.like import like, sample_of_file, sample_of_kept
    from calltag.records import Span

    with Catalogue(library_folder(library)) as catalogue:
        _warn_unfinished(catalogue)
        file = Path(sound)
        if file.is_file():
            sample = sample_of_file(file, None if at is None else Span(at, at + length))
        elif file.suffix:
            raise InputError(f"{sound}: there is no such file")
        else:
            sample = sample_of_kept(catalogue, by_name(catalogue, sound))
        without = [sample.kept_id] if sample.kept_id else []
        alike = like(catalogue, sample.features, limit=best, without=without)
    if how is not As.TABLE:
        rows = [{"alike": round(one.score, 3), **_row(one.kept, ())} for one in alike]
        print_data(("alike", *ROW_COLUMNS), rows, how)
        return
    what = "the call" if sample.is_call else "no call was found; the loud part"
    say(f"Compared: {what} at {position(sample.span.start_s)}-{position(sample.span.end_s)}.")
    if not alike:
        say("Nothing in the library can be compared with it.")
        return
    print_table(
        (Column("alike", right=True), *COLUMNS[:-1]),
        [[f"{one.score:.2f}", *_cells(one.kept, ())[:-1]] for one in alike],
    )


@group.command("teach")
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
            help="Of calls that were not labelled by you, only those that are at least this sure.",
        ),
    ] = 0.8,
    model: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Where to store the model; calltag.model beside the log unless given.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Learn call types from the library and the log's labels.

    What you taught calltag last spring works this spring. If there is a log, its calls are named at
    once; if there is none yet, `calltag log` names what it finds by the model. Labels of the log
    stand above what is kept of the same call.

    \b
    Example:
      calltag library teach
    """
    from calltag.library.catalogue import Catalogue
    from calltag.library.lessons import lessons
    from calltag.log import Log
    from calltag.naming import MODEL_NAME, teach_log, teach_without_log

    target = model or log.with_name(MODEL_NAME)
    has_log = log.is_file()
    with Catalogue(library_folder(library)) as catalogue:
        _warn_unfinished(catalogue)
        learnt = lessons(
            catalogue,
            min_confidence=min_confidence,
            only_by_hand=by_hand,
            takes=_labelled_takes(log) if has_log else None,
        )
    if has_log:
        with Log(log, create=False) as opened:
            report, notes = teach_log(opened, target, more=learnt.examples)
    else:
        report, notes = teach_without_log(learnt.examples, target), []
    typer.echo(report.text())
    for note in (*learnt.notes, *notes):
        say(note)
    for line in _lessons(learnt):
        say(line)
    if has_log:
        say(f"The model is {target}; all calls in the log have their names by it.")
    else:
        say(f"The model is {target}; `calltag log RUSHES` names what it finds by it.")


@group.command("rebuild")
def rebuild_command(library: LibraryFolder = LIBRARY) -> None:
    """Make the catalogue anew from the files alone.

    For when the catalogue is lost or damaged, or you put files into the library's folder, moved
    them there or took some out. The files are only read.

    \b
    Example:
      calltag library rebuild
    """
    from calltag.library.rebuild import rebuild

    with bar("reading") as told:
        report = rebuild(library_folder(library), told=told)
    if report.laid_aside is not None:
        say(f"The catalogue was damaged; it is now called {report.laid_aside.name}.")
    say(f"{counted(report.taken, 'kept call')} in the catalogue.")
    if report.gone:
        say(f"No longer in it: {first_few(report.gone, 3)}.")
    for path in report.doubtful:
        say(f"{path}: its story is damaged, or was changed by another program; taken as it is")
    for problem in report.strangers:
        say(f"{problem.path}: {problem.reason}; not taken in")


@group.command("check")
def check_command(
    library: LibraryFolder = LIBRARY,
) -> None:
    """Look whether every kept call is still what it was.

    Each file holds checksums of its own sound and story. What is damaged is named; take it from a
    copy of the library, which you should have.

    \b
    Example:
      calltag library check
    """
    from calltag.library.catalogue import Catalogue
    from calltag.library.check import check

    with Catalogue(library_folder(library)) as catalogue, bar("checking") as told:
        report = check(catalogue, told=told)
    for one in report.findings:
        say(f"{one.path}: {one.trouble}{f' ({one.detail})' if one.detail else ''}")
    say(
        f"{counted(report.checked, 'file')} checked: "
        + (f"{report.damaged} damaged or gone." if report.damaged else "none is damaged.")
    )
    if report.damaged:
        raise typer.Exit(FAILED)


def _query(
    *,
    words: str,
    types: list[str] | None,
    place: str,
    months: list[str] | None,
    since: str | None,
    until: str | None,
    min_snr: float | None,
    min_level: float | None,
    max_level: float | None,
    min_length: float | None,
    max_length: float | None,
    min_confidence: float,
    noise: bool | None,
    by_hand: bool,
    ids: list[str] | None,
    by: ListOrder,
    best: int,
    doubles: bool = False,
) -> Query:
    from calltag.library.find import Order, Query

    return Query(
        words=words,
        types=types or (),
        place=place,
        months=months_of(months or ()),
        since=since,
        until=until,
        min_snr_db=min_snr,
        min_level_dbfs=min_level,
        max_level_dbfs=max_level,
        min_length_s=min_length,
        max_length_s=max_length,
        min_confidence=min_confidence,
        noise=noise,
        by_hand=True if by_hand else None,
        ids=ids or (),
        doubles=doubles,
        order=Order(by),
        limit=best or None,
    )


def _warn_unfinished(catalogue: Catalogue) -> None:
    if catalogue.unfinished:
        say(
            "A rebuild of this catalogue was not finished, so calls may be missing from it; "
            "`calltag library rebuild` goes through all files again."
        )


def _print(kept: Sequence[Kept], again: dict[int, tuple[Double, ...]], how: As) -> None:
    if how is not As.TABLE:
        print_data(ROW_COLUMNS, [_row(one, again.get(one.key, ())) for one in kept], how)
    elif kept:
        print_table(COLUMNS, [_cells(one, again.get(one.key, ())) for one in kept])


def _row(kept: Kept, doubles: Sequence[Double]) -> Row:
    from calltag.edit.tables import LIST_MARK, rounded

    story = kept.story
    row: Row = {name: getattr(story, name) for name in ROW_COLUMNS if hasattr(story, name)}
    numbers = {"low_hz": 0, "high_hz": 0, "snr_db": 1, "level_dbfs": 1, "loudness_lufs": 1}
    for name, decimals in numbers.items():
        value = getattr(story, name)
        row[name] = None if value is None else rounded(value, decimals)
    return row | {
        "start_s": rounded(story.source_start_s, 3),
        "end_s": rounded(story.source_end_s, 3),
        "confidence": rounded(story.confidence, 3),
        "noise": LIST_MARK.join(story.noise),
        "doubles": LIST_MARK.join(f"{one.path} ({one.why})" for one in doubles),
        "file": str(kept.file),
    }


def _cells(kept: Kept, doubles: Sequence[Double]) -> list[str]:
    story = kept.story
    return [
        kept.short_id,
        story.label,
        story.place,
        (story.recorded or "")[:16].replace("T", " "),
        f"{story.call.length_s:.2f} s",
        "" if story.snr_db is None else f"{story.snr_db:.0f} dB",
        "by hand" if story.by_hand else sure(story.confidence),
        ", ".join(story.noise),
        str(len(doubles) or ""),
    ]


def _labelled_takes(path: Path) -> dict[str, LabelledTake]:
    """The takes of a log by their content, with the labels of each."""
    from calltag.library.lessons import LabelledTake
    from calltag.log import Log
    from calltag.naming import labels_by_take

    with Log(path, create=False) as log:
        labels = labels_by_take(log)
        return {
            take.digest: LabelledTake(take.path, tuple(labels.get(take.path, ())))
            for take in log.takes()
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
    if learnt.unsure:
        yield f"Left out: {counted(learnt.unsure, 'call')} not labelled by you, or not sure enough."
    if learnt.in_log:
        yield f"{counted(learnt.in_log, 'kept call')} labelled in the log, too; the log counts."
    if learnt.measured:
        yield f"{counted(learnt.measured, 'call')} of another version of calltag measured again."
