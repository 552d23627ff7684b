"""`calltag library`: the call library searched, handed out, learnt from, looked after."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli import FAILED
from calltag.cli._help import App
from calltag.cli._kept import COLUMNS, ROW_COLUMNS, kept_cells, kept_row, print_kept
from calltag.cli._library import (
    LIBRARY,
    Ids,
    LibraryFolder,
    MaxLength,
    MaxLevel,
    MinLength,
    MinLevel,
    Months,
    Place,
    Since,
    Until,
    Words,
    bar,
    library_folder,
    months_of,
    warn_unfinished,
)
from calltag.cli._options import (
    As,
    ByHand,
    ListedAs,
    MinConfidence,
    MinSnr,
    Noise,
    OpenBrowser,
    Replace,
    Types,
)
from calltag.cli._output import Column, end, print_data, print_table, say
from calltag.cli.library_teach import teach_command
from calltag.errors import InputError
from calltag.words import CARE, counted, first_few, position

if TYPE_CHECKING:
    from calltag.library.find import Query


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
        warn_unfinished(catalogue)
        found = find(catalogue, query)
        again = doubles_of(catalogue, [one.key for one in found.kept])
        total = catalogue.count()
    print_kept(found.kept, again, how)
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
    browser: OpenBrowser = True,
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
    replace: Replace = False,
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
        warn_unfinished(catalogue)
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
        warn_unfinished(catalogue)
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
        rows = [{"alike": round(one.score, 3), **kept_row(one.kept, ())} for one in alike]
        print_data(("alike", *ROW_COLUMNS), rows, how)
        return
    what = "the call" if sample.is_call else "no call was found; the loud part"
    say(f"Compared: {what} at {position(sample.span.start_s)}-{position(sample.span.end_s)}.")
    if not alike:
        say("Nothing in the library can be compared with it.")
        return
    print_table(
        (Column("alike", right=True), *COLUMNS[:-1]),
        [[f"{one.score:.2f}", *kept_cells(one.kept, ())[:-1]] for one in alike],
    )


group.command("teach")(teach_command)


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
