"""`calltag library out`: kept calls copied to a folder, for an edit."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calltag.cli._library import LIBRARY, LibraryFolder, library_folder, warn_unfinished
from calltag.cli._options import ByHand, MinConfidence, MinSnr, Noise, Replace, Types, wrong_use
from calltag.cli._output import end, say
from calltag.cli._progress import bar
from calltag.cli.library._query import (
    ORDER_WORDS,
    Ids,
    MaxLength,
    MaxLevel,
    MinLength,
    MinLevel,
    Months,
    Place,
    Since,
    Until,
    Words,
    make_query,
)
from calltag.library.search.order import Order
from calltag.words import CARE


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("out")(out_command)


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
    by: Annotated[Order, typer.Option(help=f"Which come first: {ORDER_WORDS}.")] = Order.SNR,
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
            help="Frame rate that the markers count at, e.g. 25 or 29.97df. Without it, that of "
            "most of the takes.",
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
    from calltag.library.catalogue.catalogue import Catalogue
    from calltag.library.hand_out import hand_out, report_lines
    from calltag.library.search.find import check_types, find
    from calltag.media.timing.timecode import parse_rate

    with wrong_use():
        rate = parse_rate(fps) if fps is not None else None
    query = make_query(
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
    home = library_folder(library)
    with Catalogue(home) as catalogue:
        warn_unfinished(catalogue)
        check_types(catalogue, query.types)
        kept = find(catalogue, query).kept
    with bar("copying") as told:
        report = hand_out(
            kept,
            folder,
            library=home,
            loudness_lufs=loudness,
            rate=rate,
            replace_existing=replace,
            told=lambda done: told(done, len(kept)),
        )
    for line in report_lines(report, folder, loudness):
        say(line)
    say(CARE)
    end(report.problems, done=bool(report.copies))
