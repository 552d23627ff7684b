"""Kept calls as rows of data and of tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calltag.cli._options import As
from calltag.cli._output import Column, print_data, print_table
from calltag.words import sure

if TYPE_CHECKING:
    from calltag.edit.tables import Row
    from calltag.library.catalogue import Kept
    from calltag.library.doubles import Double

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


def print_kept(kept: Sequence[Kept], again: dict[int, tuple[Double, ...]], how: As) -> None:
    """Print kept calls, each with those that are the same; of no calls, no table."""
    if how is not As.TABLE:
        print_data(ROW_COLUMNS, [kept_row(one, again.get(one.key, ())) for one in kept], how)
    elif kept:
        print_table(COLUMNS, [kept_cells(one, again.get(one.key, ())) for one in kept])


def kept_row(kept: Kept, doubles: Sequence[Double]) -> Row:
    """What is told of a kept call as data, by the names of `ROW_COLUMNS`."""
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
        "by hand" if story.by_hand else sure(story.confidence),
        ", ".join(story.noise),
        str(len(doubles) or ""),
    ]
