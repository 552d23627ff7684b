"""The tables of the catalogue, and the steps from each version of them to the next."""

from __future__ import annotations

import sqlite3

WORDS = (
    "label",
    "species",
    "behaviour",
    "sex",
    "life_stage",
    "place",
    "recordist",
    "equipment",
    "rights",
    "take",
    "noise",
)
"""What full text is looked for in, as the newest step has it."""


def _first_schema(db: sqlite3.Connection) -> None:
    for statement in (
        # Narrow, since questions go through all of it; what is wide lies in `stories`.
        """CREATE TABLE cuts (
            id INTEGER PRIMARY KEY,
            path TEXT NOT NULL UNIQUE,
            cut_id TEXT NOT NULL,
            label_key TEXT NOT NULL,
            species_key TEXT NOT NULL,
            head_key TEXT NOT NULL,
            place_key TEXT NOT NULL,
            recorded TEXT,
            month INTEGER,
            clock_s REAL,
            length_s REAL NOT NULL,
            low_hz REAL,
            high_hz REAL,
            snr_db REAL,
            level_dbfs REAL,
            confidence REAL NOT NULL,
            by_hand INTEGER NOT NULL,
            noisy INTEGER NOT NULL,
            take_digest TEXT NOT NULL,
            sound_hash TEXT NOT NULL)""",
        "CREATE INDEX cuts_by_label ON cuts (label_key, recorded DESC, path)",
        "CREATE INDEX cuts_by_species ON cuts (species_key)",
        "CREATE INDEX cuts_by_head ON cuts (head_key)",
        "CREATE INDEX cuts_by_sound ON cuts (sound_hash)",
        "CREATE INDEX cuts_by_id ON cuts (cut_id)",
        "CREATE INDEX cuts_by_clock ON cuts (clock_s)",
        "CREATE INDEX cuts_by_recorded ON cuts (recorded DESC, path)",
        "CREATE INDEX cuts_by_month ON cuts (month)",
        "CREATE INDEX cuts_by_snr ON cuts (snr_db DESC, path)",
        "CREATE INDEX cuts_by_level ON cuts (level_dbfs DESC, path)",
        "CREATE INDEX cuts_by_length ON cuts (length_s DESC, path)",
        "CREATE INDEX cuts_by_confidence ON cuts (confidence DESC, path)",
        """CREATE TABLE stories (
            cut INTEGER PRIMARY KEY REFERENCES cuts (id) ON DELETE CASCADE,
            size_bytes INTEGER NOT NULL,
            file_hash TEXT NOT NULL,
            story TEXT NOT NULL)""",
        """CREATE TABLE moments (
            cut INTEGER NOT NULL REFERENCES cuts (id) ON DELETE CASCADE,
            digest TEXT NOT NULL,
            start_s REAL NOT NULL,
            end_s REAL NOT NULL)""",
        "CREATE INDEX moments_by_take ON moments (digest, start_s)",
        "CREATE INDEX moments_by_cut ON moments (cut)",
        """CREATE TABLE features (
            cut INTEGER PRIMARY KEY REFERENCES cuts (id) ON DELETE CASCADE,
            version INTEGER NOT NULL,
            vector BLOB NOT NULL)""",
        """CREATE TABLE vectors (
            cut INTEGER PRIMARY KEY REFERENCES cuts (id) ON DELETE CASCADE,
            version INTEGER NOT NULL,
            vector BLOB NOT NULL)""",
        """CREATE VIRTUAL TABLE words USING fts5 (
            label, species, behaviour, sex, life_stage, place, recordist, equipment, rights, take,
            noise, tokenize = 'unicode61 remove_diacritics 2')""",
        "CREATE TABLE notes (name TEXT PRIMARY KEY, value TEXT NOT NULL)",
    ):
        db.execute(statement)


def _company(db: sqlite3.Connection) -> None:
    db.execute(
        """CREATE TABLE company (
            digest TEXT NOT NULL,
            start_s REAL NOT NULL,
            end_s REAL NOT NULL,
            version INTEGER NOT NULL,
            vector BLOB NOT NULL,
            PRIMARY KEY (digest, start_s, end_s))"""
    )


MIGRATIONS = (_first_schema, _company)
"""Steps from each schema version to the next. A step is never changed, only followed by another."""
