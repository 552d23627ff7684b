"""`calltag library like`: the kept calls that are most like a sound."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calltag.cli._library import LIBRARY, LibraryFolder, library_folder, warn_unfinished
from calltag.cli._options import As, ListedAs, WrongUse, finite, second, typed
from calltag.cli._output import Column, print_data, print_table, say
from calltag.cli.library._kept import COLUMNS, kept_cells
from calltag.errors import InputError
from calltag.paths import is_file
from calltag.words import position


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("like")(like_command)


def like_command(
    context: typer.Context,
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
            parser=second,
            metavar="SECONDS",
            help="Where in the file the sound begins, also as `calltag calls` lists it (1:02.35). "
            "Without it, the call that stands out most.",
            show_default=False,
        ),
    ] = None,
    length: Annotated[
        float,
        typer.Option(
            "--length",
            min=0.05,
            callback=finite,
            metavar="SECONDS",
            help="With --at, how long it is.",
        ),
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
      calltag library like D:/ashmere/card1/A007.MOV --at 12.4
      calltag library like 1a2b3c4d --best 5
    """
    from calltag.library.catalogue.catalogue import Catalogue
    from calltag.library.search.find import by_name
    from calltag.library.search.like import like
    from calltag.library.search.sample import sample_of_file, sample_of_kept
    from calltag.library.tables import KEPT_COLUMNS, kept_row
    from calltag.records.span import Span

    if at is None and typed(context, "length"):
        raise WrongUse("--length goes with --at: it says how long the sound there is")
    with Catalogue(library_folder(library)) as catalogue:
        warn_unfinished(catalogue)
        file = Path(sound)
        if is_file(file):
            sample = sample_of_file(file, None if at is None else Span(at, at + length))
        elif file.suffix:
            raise InputError(
                f"{sound}: there is no such file; write the whole path of a take or sound file, as "
                f"D:/ashmere/card1/{file.name}"
            )
        elif at is not None:
            raise InputError(f"--at is a second of a file, and {sound} is none; leave it out")
        else:
            sample = sample_of_kept(catalogue, by_name(catalogue, sound))
        without = [sample.kept_id] if sample.kept_id else []
        alike = like(catalogue, sample.features, limit=best, without=without)
    if how is not As.TABLE:
        rows = [{"alike": round(one.score, 3), **kept_row(one.kept, ())} for one in alike]
        print_data(("alike", *KEPT_COLUMNS), rows, how)
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
