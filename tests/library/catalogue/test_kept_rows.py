"""A kept call as rows: what questions go through is made of its story by hand here."""

from __future__ import annotations

import sqlite3

import numpy as np
import pytest

from calltag.library.catalogue.kept_rows import insert_rows, key_of, remove_rows
from calltag.library.catalogue.schema import MIGRATIONS, WORDS
from calltag.library.kept_file.story import BY_HAND, Heard

from ..conftest import plain_story


@pytest.fixture
def db():
    opened = sqlite3.connect(":memory:")
    opened.row_factory = sqlite3.Row
    opened.execute("PRAGMA foreign_keys = ON")
    for step in MIGRATIONS:
        step(opened)
    yield opened
    opened.close()


def rows(db, table):
    return [dict(row) for row in db.execute(f"SELECT * FROM {table}")]


def put(db, story, path="a.wav", key=None):
    insert_rows(db, key, path, story, 100, "f" * 64)
    return key_of(db, path)


def searched(db, **changes):
    put(db, plain_story(**changes))
    (row,) = rows(db, "cuts")
    return row


def test_questions_go_through_narrow_rows(db):
    story = plain_story(
        5,
        label="Marsh Hooter: BOOM",
        species="MARSH Hooter",
        place="Ashmere, NORTH Hide",
        labelled_by=BY_HAND,
        noise=("wind",),
        start_tc="10:00:04:05",
    )
    assert put(db, story, key=7) == 7
    assert rows(db, "cuts") == [
        {
            "id": 7,
            "path": "a.wav",
            "cut_id": story.id,
            "label_key": "marsh hooter: boom",
            "species_key": "marsh hooter",
            "head_key": "marsh hooter",
            "place_key": "ashmere, north hide",
            "recorded": "2026-04-18T05:12:04.000Z",
            "month": 4,
            "clock_s": pytest.approx(36_004.2),  # five frames of 25
            "length_s": 0.5,
            "low_hz": 200.0,
            "high_hz": 500.0,
            "snr_db": 20.0,
            "level_dbfs": -30.0,
            "confidence": 0.9,
            "by_hand": 1,
            "noisy": 1,
            "take_digest": "take 5",
            "sound_hash": story.sound_hash,
        }
    ]


@pytest.mark.parametrize(
    ("recorded", "month"),
    [
        ("2026-12-31T23:59:59Z", 12),
        ("2026-01", 1),
        ("2026", None),
        ("2026-13-01", None),
        ("2026-00-01", None),
        ("2026-041", None),
        ("18.04.2026", None),
        ("", None),
        (None, None),
    ],
)
def test_a_month_is_told_by_a_date_of_iso_8601(db, recorded, month):
    assert searched(db, recorded=recorded)["month"] == month


@pytest.mark.parametrize(
    ("start_tc", "frame_rate", "clock_s"),
    [
        ("01:00:00:00", "25", 3600.0),
        ("01:00:00:00", "30000/1001", 3603.6),  # 108 000 frames, a thousandth longer (SMPTE 12M)
        ("01:00:00;00", "30000/1001", 107_892 * 1001 / 30_000),  # drop-frame: 108 fewer an hour
        ("00:00:00:24", "25", 0.96),
        ("", "25", None),
        ("01:00:00:99", "25", None),
        ("noon", "25", None),
        ("01:00:00:00", "0", None),
        ("01:00:00:00", "1/0", None),
        ("01:00:00:00", "fast", None),
    ],
)
def test_a_time_of_day_is_told_by_timecode_at_its_rate(db, start_tc, frame_rate, clock_s):
    told = searched(db, start_tc=start_tc, frame_rate=frame_rate)["clock_s"]
    assert told == (None if clock_s is None else pytest.approx(clock_s, abs=1e-9))


def test_all_words_are_found_in_the_column_that_they_are_of(db):
    of_each = {name: f"word{number}" for number, name in enumerate(WORDS)}
    story = plain_story(**(of_each | {"noise": (of_each["noise"], "rain")}))
    key = put(db, story)
    for name, word in {**of_each, "noise": "rain"}.items():
        asked = db.execute("SELECT rowid FROM words WHERE words MATCH ?", (f"{name}:{word}",))
        assert [row[0] for row in asked] == [key]


def test_each_moment_that_was_heard_has_its_row(db):
    other = Heard("take 9", "B001.MOV", 14.0, 14.5)
    key = put(db, plain_story(5, also_heard=(other,)))
    moments = [tuple(row) for row in db.execute("SELECT * FROM moments")]
    assert moments == [(key, "take 5", 4.0, 4.5), (key, "take 9", 14.0, 14.5)]


@pytest.mark.parametrize(
    ("features", "version", "n_rows"),
    [(np.float32([1, 2]), 3, 1), (np.float32([1, 2]), 0, 0), (None, 3, 0)],
)
def test_measurements_are_kept_with_their_version(db, features, version, n_rows):
    key = put(db, plain_story(features=features, feature_version=version))
    expected = {"cut": key, "version": version, "vector": np.array([1, 2], "<f4").tobytes()}
    assert rows(db, "features") == [expected] * n_rows


def test_what_is_removed_leaves_nothing_and_takes_nothing_else(db):
    whole = {"features": np.float32([1]), "feature_version": 3}
    gone, stays = (put(db, plain_story(i, **whole), f"{i}.wav") for i in (1, 2))
    remove_rows(db, gone)
    assert key_of(db, "1.wav") is None
    for table in ("cuts", "stories", "moments", "features", "words"):
        (left,) = rows(db, table)
        assert left.get("cut", left.get("id", stays)) == stays
    assert [row[0] for row in db.execute("SELECT rowid FROM words")] == [stays]
