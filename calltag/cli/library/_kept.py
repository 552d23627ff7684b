"""Kept calls as the library's commands print them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calltag.cli._options import As
from calltag.cli._output import Column, print_data, print_table
from calltag.words import how_sure

if TYPE_CHECKING:
    from calltag.library.catalogue.catalogue import Kept
    from calltag.library.search.doubles import Double

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


def print_kept(kept: Sequence[Kept], again: dict[int, tuple[Double, ...]], how: As) -> None:
    """Print kept calls, each with those that are the same; of no calls, no table."""
    from calltag.library.tables import KEPT_COLUMNS, kept_row

    if how is not As.TABLE:
        print_data(KEPT_COLUMNS, [kept_row(one, again.get(one.key, ())) for one in kept], how)
    elif kept:
        print_table(COLUMNS, [kept_cells(one, again.get(one.key, ())) for one in kept])


def kept_cells(kept: Kept, doubles: Sequence[Double]) -> list[str]:
    """What is told of a kept call in a table, in the order of `COLUMNS`."""
    story = kept.story
    return [
        kept.short_id,
        story.label,
        story.place,
        (story.recorded or "")[:16].replace("T", " "),
        f"{story.call.length_s:.2f} s",
        "" if story.snr_db is None else f"{story.snr_db:.0f} dB",
        how_sure(story.confidence, by_hand=story.by_hand),
        ", ".join(story.noise),
        str(len(doubles) or ""),
    ]
