"""`calltag library find`: kept calls searched and listed."""

from __future__ import annotations

from typing import Annotated

import typer

from calltag.cli._library import LIBRARY, LibraryFolder, library_folder, warn_unfinished
from calltag.cli._options import As, ByHand, ListedAs, MinConfidence, MinSnr, Noise, Types
from calltag.cli._output import say
from calltag.cli.library._kept import print_kept
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
from calltag.words import counted


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("find")(find_command)


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
    by: Annotated[Order, typer.Option(help=f"Order: {ORDER_WORDS}.")] = Order.NEWEST,
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
    from calltag.library.catalogue.catalogue import Catalogue
    from calltag.library.search.doubles import doubles_of, pairs
    from calltag.library.search.find import check_types, find

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
        doubles=doubles,
        by=by,
        best=best,
    )
    with Catalogue(library_folder(library)) as catalogue:
        warn_unfinished(catalogue)
        check_types(catalogue, query.types)
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
