"""A kept call as rows of the catalogue's tables: what questions go through, and the rest."""

from __future__ import annotations

import json
import re
import sqlite3
from fractions import Fraction

from calltag.errors import InputError
from calltag.learn.labels.vocabulary import species_of
from calltag.library.catalogue.schema import WORDS
from calltag.library.kept_file.story import Story, to_plain
from calltag.media.timing.timecode import frame_to_seconds, parse_timecode
from calltag.stored import pack_features

_DATED = re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])(?![0-9])")


def key_of(db: sqlite3.Connection, path: str) -> int | None:
    """Find the number of a file.

    Parameters
    ----------
    db : sqlite3.Connection
        The catalogue.
    path : str
        Path below the library's folder.

    Returns
    -------
    int or None
        Its number; None where the catalogue does not know it.
    """
    row = db.execute("SELECT id FROM cuts WHERE path = ?", (path,)).fetchone()
    return None if row is None else int(row[0])


def remove_rows(db: sqlite3.Connection, key: int) -> None:
    """Remove all that is known of a kept call.

    Parameters
    ----------
    db : sqlite3.Connection
        The catalogue, in a transaction.
    key : int
        The number of its file.
    """
    db.execute("DELETE FROM words WHERE rowid = ?", (key,))
    db.execute("DELETE FROM cuts WHERE id = ?", (key,))


def insert_rows(
    db: sqlite3.Connection,
    key: int | None,
    path: str,
    story: Story,
    size_bytes: int,
    file_hash: str,
) -> None:
    """Store what is known of a kept call.

    Parameters
    ----------
    db : sqlite3.Connection
        The catalogue, in a transaction.
    key : int or None
        The number that its file is to have; None for a new one.
    path : str
        Path below the library's folder.
    story : Story
        Its story.
    size_bytes : int
        Size of the file.
    file_hash : str
        SHA-256 of the whole file.
    """
    row = {"id": key, "path": path, **_searched(story)}
    key = db.execute(
        f"INSERT INTO cuts ({', '.join(row)}) VALUES ({_marks(len(row))})", list(row.values())
    ).lastrowid
    plain = json.dumps(to_plain(story, features=False), ensure_ascii=False)
    db.execute("INSERT INTO stories VALUES (?, ?, ?, ?)", (key, size_bytes, file_hash, plain))
    words = [
        " ".join(value) if isinstance(value := getattr(story, name), tuple) else value
        for name in WORDS
    ]
    db.execute(
        f"INSERT INTO words (rowid, {', '.join(WORDS)}) VALUES ({_marks(1 + len(WORDS))})",
        [key, *words],
    )
    own = (story.take_digest, *story.source)
    heard = [(one.digest, one.start_s, one.end_s) for one in story.also_heard]
    db.executemany(
        "INSERT INTO moments (cut, digest, start_s, end_s) VALUES (?, ?, ?, ?)",
        [(key, *moment) for moment in (own, *heard)],
    )
    if story.features is not None and story.feature_version:
        db.execute(
            "INSERT INTO features (cut, version, vector) VALUES (?, ?, ?)",
            (key, story.feature_version, pack_features(story.features)),
        )


def _searched(story: Story) -> dict[str, object]:
    """What questions go through of a story, by the columns of `cuts`."""
    dated = _DATED.match(story.recorded or "")
    return {
        "cut_id": story.id,
        "label_key": story.label.casefold(),
        "species_key": story.species.casefold(),
        "head_key": species_of(story.label).casefold(),
        "place_key": story.place.casefold(),
        "recorded": story.recorded,
        "month": int(dated[1]) if dated else None,
        "clock_s": _clock_s(story),
        "length_s": story.call.length_s,
        "low_hz": story.low_hz,
        "high_hz": story.high_hz,
        "snr_db": story.snr_db,
        "level_dbfs": story.level_dbfs,
        "confidence": story.confidence,
        "by_hand": story.by_hand,
        "noisy": bool(story.noise),
        "take_digest": story.take_digest,
        "sound_hash": story.sound_hash,
    }


def _marks(n: int) -> str:
    return ", ".join("?" * n)


def _clock_s(story: Story) -> float | None:
    """Seconds since midnight of a call, by its timecode; None where its take states none."""
    if not story.start_tc:
        return None
    try:
        frame, rate = parse_timecode(story.start_tc, Fraction(story.frame_rate))
        return float(frame_to_seconds(frame, rate.fps))
    except (InputError, ValueError, ArithmeticError):
        return None
