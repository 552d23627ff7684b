"""A clip file, and where it is read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from calltag.records.take import Take

TAKE = Take(path="card1/A001.mov", rushes="/ashmere", digest="d", size_bytes=9, duration_s=4.0)


def test_a_take_is_read_where_its_copy_is() -> None:
    assert TAKE.file == Path("/ashmere/card1/A001.mov")
    away = replace(TAKE, found_at=replace(TAKE, path="spare/A001.mov", rushes="/backup"))
    assert away.file == Path("/backup/spare/A001.mov")
    assert away == TAKE, "where it was found is not what it is"


def test_sound_and_picture_are_told_by_what_is_stated() -> None:
    assert (TAKE.has_sound, TAKE.has_picture) == (False, False)
    both = replace(TAKE, sample_rate_hz=48_000, width=64, height=36)
    assert (both.has_sound, both.has_picture) == (True, True)
