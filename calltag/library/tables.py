"""Kept calls as rows of data: what is told of each, under which name and to how many decimals."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from calltag.edit.tables import LIST_MARK, Row, rounded
from calltag.library.catalogue.catalogue import Kept
from calltag.library.kept_file.story import Story
from calltag.library.search.doubles import Double

_STORY_COLUMNS = (
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
)
KEPT_COLUMNS = (
    "id",
    *_STORY_COLUMNS,
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
CREDIT_COLUMNS = (
    "file",
    *_STORY_COLUMNS,
    "start_tc",
    "labelled_by",
    "confidence",
    "length_s",
    "loudness_lufs",
    "gain_db",
    "id",
)
_DECIMALS = {
    "low_hz": 0,
    "high_hz": 0,
    "snr_db": 1,
    "level_dbfs": 1,
    "loudness_lufs": 1,
    "confidence": 3,
}


def kept_row(kept: Kept, doubles: Sequence[Double]) -> Row:
    """Tell of a kept call, as a list of them does.

    Parameters
    ----------
    kept : Kept
        The call.
    doubles : sequence of Double
        Kept calls that are the same.

    Returns
    -------
    Row
        By the names of `KEPT_COLUMNS`; ``start_s`` and ``end_s`` are seconds of the take.
    """
    story = kept.story
    return _told(story, KEPT_COLUMNS) | {
        "start_s": rounded(story.source_start_s, 3),
        "end_s": rounded(story.source_end_s, 3),
        "noise": LIST_MARK.join(story.noise),
        "doubles": LIST_MARK.join(f"{one.path} ({one.why})" for one in doubles),
        "file": str(kept.file),
    }


def credit_row(file: Path, story: Story, gain_db: float) -> Row:
    """Tell of a copy of a kept call who recorded what, and how it may be used.

    Parameters
    ----------
    file : Path
        The copy.
    story : Story
        Its story.
    gain_db : float
        By how much it was turned up.

    Returns
    -------
    Row
        By the names of `CREDIT_COLUMNS`.
    """
    return _told(story, CREDIT_COLUMNS) | {
        "file": file.name,
        "length_s": rounded(story.call.length_s, 3),
        "gain_db": rounded(gain_db, 2),
    }


def _told(story: Story, columns: Sequence[str]) -> Row:
    """The columns that a story has under their own names."""
    row: Row = {name: getattr(story, name) for name in columns if hasattr(story, name)}
    for name in row.keys() & _DECIMALS.keys():
        value = getattr(story, name)
        row[name] = None if value is None else rounded(value, _DECIMALS[name])
    return row
