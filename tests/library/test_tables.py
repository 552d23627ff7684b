"""Kept calls as rows of data: columns are a contract, and numbers have their decimals."""

from __future__ import annotations

from pathlib import Path

import pytest

from calltag.library.catalogue.catalogue import Kept
from calltag.library.search.doubles import Double, Sameness
from calltag.library.tables import CREDIT_COLUMNS, KEPT_COLUMNS, credit_row, kept_row

from .conftest import plain_story

STORY = plain_story(
    7,
    id="0123456789abcdef",
    behaviour="booms at dusk",
    sex="male",
    life_stage="adult",
    equipment="camera A",
    rights="free for this film",
    source_start_s=4.00349,
    source_end_s=4.56789,
    call_start_s=1.0,
    call_end_s=1.5674,
    start_tc="10:00:04:00",
    low_hz=199.6,
    high_hz=500.4,
    snr_db=20.04,
    level_dbfs=-29.96,
    loudness_lufs=-0.04,
    confidence=0.91449,
    noise=("wind", "water"),
)

SAID = {
    "label": "marsh hooter: boom",
    "species": "marsh hooter",
    "behaviour": "booms at dusk",
    "sex": "male",
    "life_stage": "adult",
    "place": "Ashmere",
    "recorded": "2026-04-18T05:12:04.000Z",
    "recordist": "A. Keeper",
    "equipment": "camera A",
    "rights": "free for this film",
    "take": "A007.MOV",
    "start_tc": "10:00:04:00",
    "labelled_by": "calltag.model 1",
    "confidence": 0.914,
    "loudness_lufs": 0.0,
    "id": "0123456789abcdef",
}


def kept(story):
    return Kept(
        key=3,
        path="hooter/boom.wav",
        file=Path("calls", "hooter", "boom.wav"),
        size_bytes=100,
        file_hash="f" * 64,
        story=story,
    )


def test_a_kept_call_is_told_with_what_is_the_same():
    doubles = [
        Double(Sameness.SOUND, 4, "a.wav", "4" * 16),
        Double(Sameness.MOMENT, 5, "b/c.wav", "5" * 16),
    ]
    row = kept_row(kept(STORY), doubles)
    assert set(row) == set(KEPT_COLUMNS)
    assert row == SAID | {
        "start_s": 4.003,
        "end_s": 4.568,
        "low_hz": 200,
        "high_hz": 500,
        "snr_db": 20.0,
        "level_dbfs": -30.0,
        "noise": "wind; water",
        "doubles": "a.wav (same sound); b/c.wav (same moment from another camera)",
        "file": str(Path("calls", "hooter", "boom.wav")),
    }
    assert str(row["loudness_lufs"]) == "0.0", "with no minus before it"


def test_a_copy_is_told_with_what_was_done_to_it():
    row = credit_row(Path("edit", "boom.wav"), STORY, -2.345)
    assert set(row) == set(CREDIT_COLUMNS)
    assert row == SAID | {"length_s": 0.567, "gain_db": -2.35, "file": "boom.wav"}


@pytest.mark.parametrize(
    "name", ["low_hz", "high_hz", "snr_db", "level_dbfs", "loudness_lufs", "recorded"]
)
def test_what_is_not_known_is_empty(name):
    assert kept_row(kept(plain_story(**{name: None})), ())[name] is None


def test_columns_stay_in_their_order():
    """Others read them by it; a new one comes last."""
    assert ",".join(KEPT_COLUMNS) == (
        "id,label,species,behaviour,sex,life_stage,place,recorded,recordist,equipment,rights,take,"
        "start_s,end_s,start_tc,low_hz,high_hz,snr_db,level_dbfs,loudness_lufs,confidence,"
        "labelled_by,noise,doubles,file"
    )
    assert ",".join(CREDIT_COLUMNS) == (
        "file,label,species,behaviour,sex,life_stage,place,recorded,recordist,equipment,rights,"
        "take,start_tc,labelled_by,confidence,length_s,loudness_lufs,gain_db,id"
    )
