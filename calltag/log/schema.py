"""The log's tables, and the steps from each version of them to the next."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Callable

APPLICATION_ID = 0x63746C67
"""Marks the file as ours in SQLite's header: "ctlg"."""


def _first_schema(db: sqlite3.Connection) -> None:
    for statement in (
        """CREATE TABLE takes (
            id INTEGER PRIMARY KEY,
            path TEXT NOT NULL UNIQUE,
            rushes TEXT NOT NULL,
            digest TEXT NOT NULL,
            size_bytes INTEGER NOT NULL,
            duration_s REAL NOT NULL,
            fps TEXT,
            variable_rate INTEGER NOT NULL,
            start_tc TEXT,
            time_reference INTEGER,
            recorded TEXT,
            sample_rate_hz INTEGER,
            channels INTEGER NOT NULL,
            width INTEGER NOT NULL,
            height INTEGER NOT NULL,
            peak_dbfs REAL,
            clipped INTEGER,
            loudness_lufs REAL,
            floor_dbfs REAL,
            channel TEXT,
            faults TEXT,
            feature_version INTEGER NOT NULL,
            logged_at TEXT NOT NULL)""",
        "CREATE INDEX takes_by_digest ON takes (digest)",
        """CREATE TABLE labels (
            id INTEGER PRIMARY KEY,
            take_id INTEGER NOT NULL REFERENCES takes (id) ON DELETE CASCADE,
            start_s REAL NOT NULL,
            end_s REAL NOT NULL,
            label TEXT NOT NULL,
            together TEXT,
            UNIQUE (take_id, start_s, end_s))""",
        """CREATE TABLE calls (
            id INTEGER PRIMARY KEY,
            take_id INTEGER NOT NULL REFERENCES takes (id) ON DELETE CASCADE,
            label_id INTEGER UNIQUE REFERENCES labels (id) ON DELETE CASCADE,
            start_s REAL NOT NULL,
            end_s REAL NOT NULL,
            low_hz REAL,
            high_hz REAL,
            peak_hz REAL,
            snr_db REAL,
            level_dbfs REAL,
            call_probability REAL,
            label TEXT NOT NULL,
            confidence REAL,
            noise TEXT NOT NULL,
            features BLOB)""",
        "CREATE INDEX calls_by_take ON calls (take_id, start_s)",
        """CREATE TABLE noise (
            take_id INTEGER NOT NULL REFERENCES takes (id) ON DELETE CASCADE,
            start_s REAL NOT NULL,
            end_s REAL NOT NULL,
            kind TEXT NOT NULL,
            confidence REAL,
            level_dbfs REAL,
            low_hz REAL,
            high_hz REAL,
            detail TEXT NOT NULL)""",
        "CREATE INDEX noise_by_take ON noise (take_id, start_s)",
        """CREATE TABLE problems (
            rushes TEXT NOT NULL,
            path TEXT NOT NULL,
            reason TEXT NOT NULL,
            PRIMARY KEY (rushes, path))""",
    ):
        db.execute(statement)


def _model_of_each_take(db: sqlite3.Connection) -> None:
    db.execute("ALTER TABLE takes ADD COLUMN model TEXT")


def _takes_lined_up(db: sqlite3.Connection) -> None:
    db.execute(
        """CREATE TABLE alignments (
            a_id INTEGER NOT NULL REFERENCES takes (id) ON DELETE CASCADE,
            b_id INTEGER NOT NULL REFERENCES takes (id) ON DELETE CASCADE,
            offset_s REAL NOT NULL,
            drift_ppm REAL NOT NULL,
            confidence REAL NOT NULL,
            overlap_s REAL NOT NULL,
            PRIMARY KEY (a_id, b_id))"""
    )


def _pictures_measured(db: sqlite3.Connection) -> None:
    db.execute(
        """CREATE TABLE pictures (
            take_id INTEGER NOT NULL REFERENCES takes (id) ON DELETE CASCADE,
            start_s REAL NOT NULL,
            end_s REAL NOT NULL,
            drift_permille_per_s REAL,
            jitter_permille REAL,
            blur_permille REAL,
            pixel_permille REAL NOT NULL,
            PRIMARY KEY (take_id, start_s, end_s))"""
    )


def _noise_taught(db: sqlite3.Connection) -> None:
    db.execute("ALTER TABLE noise ADD COLUMN features BLOB")
    db.execute("ALTER TABLE noise ADD COLUMN taught TEXT NOT NULL DEFAULT ''")


# How stretches without sound were told before they were kept.
_BETWEEN = re.compile(r"sound is (?:damaged|missing) between ([\d.]+) and ([\d.]+) s")
_UP_TO = re.compile(r"(?:sound ends at|cannot be read beyond) ([\d.]+) s")
_FROM = re.compile(r"sound starts ([\d.]+) s after the picture")
_COUNTED = re.compile(r"sound is (?:damaged|missing) in \d+ more places")


def _broken_stretches(db: sqlite3.Connection) -> None:
    """Keep stretches without sound; a take of which some were only counted is analysed again."""
    db.execute("ALTER TABLE takes ADD COLUMN broken TEXT")
    for take_id, duration_s, faults in db.execute(
        "SELECT id, duration_s, faults FROM takes WHERE faults IS NOT NULL"
    ).fetchall():
        spans = set()
        for fault in json.loads(faults):
            if place := _BETWEEN.search(fault):
                spans.add((float(place[1]), float(place[2])))
            elif place := _UP_TO.search(fault):
                spans.add((float(place[1]), duration_s))
            elif place := _FROM.search(fault):
                spans.add((0.0, float(place[1])))
            elif _COUNTED.search(fault):
                db.execute("UPDATE takes SET feature_version = 0 WHERE id = ?", (take_id,))
        db.execute("UPDATE takes SET broken = ? WHERE id = ?", (json.dumps(sorted(spans)), take_id))


# How faults of channels were told before they were kept as data: the kind of each, and in the
# sentence its channels, the one beside them, its start, its amount and what that is divided by.
_CHANNELS = r"channels? (?P<channels>\d[\d, andto]*)"
_TOLD_FAULTS = (
    ("no sound", r"there is no sound: (?P<all>every|the) channel is silent", 1),
    ("dead", rf"{_CHANNELS} (?:is|are) dead", 1),
    ("stops", rf"(?:{_CHANNELS}|sound) stops at (?P<at_s>[\d.]+) s", 1),
    ("starts", r"sound starts at (?P<at_s>[\d.]+) s", 1),
    ("quieter", rf"{_CHANNELS} is (?P<amount>\d+) dB quieter than channel (?P<other>\d+)", 1),
    ("hiss", rf"{_CHANNELS} carries nothing but hiss", 1),
    ("copy inverted", rf"{_CHANNELS} is channel (?P<other>\d+) turned upside down \(inverted\)", 1),
    (
        "inverted",
        rf"{_CHANNELS} is turned upside down against channel (?P<other>\d+) \(inverted\)",
        1,
    ),
    ("same", rf"{_CHANNELS} are the same", 1),
    (
        "windy",
        rf"{_CHANNELS} is full of wind or handling noise; channel (?P<other>\d+) is cleaner",
        1,
    ),
    ("clipped", rf"{_CHANNELS} is clipped \((?P<amount>[\d,]+) samples\)", 1),
    ("offset", rf"{_CHANNELS} has a DC offset of (?P<amount>[-+\d.]+) % of full scale", 100),
    (
        "drops out",
        rf"sound(?: of {_CHANNELS})? drops out at (?P<at_s>[\d.]+) s for (?P<amount>\d+) ms",
        1000,
    ),
    ("more dropouts", r"sound drops out (?P<amount>\d+) more times", 1),
)


def _channel_faults_as_data(db: sqlite3.Connection) -> None:
    """Keep what is wrong with which channel, and how much; to the digit that was told."""
    db.execute("ALTER TABLE takes ADD COLUMN channel_faults TEXT")
    for take_id, n_channels, faults in db.execute(
        "SELECT id, channels, faults FROM takes WHERE faults IS NOT NULL"
    ).fetchall():
        found = []
        for fault in json.loads(faults):
            for kind, sentence, divisor in _TOLD_FAULTS:
                if told := re.fullmatch(sentence, fault):
                    parts = told.groupdict(default="") | {"kind": kind}
                    found.append(_as_data(parts, n_channels, divisor))
        db.execute("UPDATE takes SET channel_faults = ? WHERE id = ?", (json.dumps(found), take_id))


def _as_data(parts: dict[str, str], n_channels: int, divisor: int) -> list[object]:
    named = parts.get("channels", "")
    channels = [int(number) for number in re.findall(r"\d+", named)]
    if " to " in named:
        channels = list(range(channels[0], channels[-1] + 1))
    if "all" in parts:
        channels = list(range(1, n_channels + 1))
    amount = float(parts.get("amount", "").replace(",", "") or 0) / divisor
    at_s, other = float(parts.get("at_s") or 0), int(parts.get("other") or 0)
    return [parts["kind"], channels, other, at_s, amount]


def _length_of_picture(db: sqlite3.Connection) -> None:
    db.execute("ALTER TABLE takes ADD COLUMN picture_s REAL")


def _noise_of_calls_told_by_the_takes(db: sqlite3.Connection) -> None:
    """Forget what was heard with each call alone: it may contradict the noise of the take."""
    db.execute("ALTER TABLE calls DROP COLUMN noise")


_SAMPLES = re.compile(r"(?<= is clipped \()[\d,]+(?= samples\))")


def _clipped_samples_at_their_own_rate(db: sqlite3.Connection) -> None:
    """Count clipped samples as they were recorded; before, it was as if all were at 48 kHz."""
    for take_id, rate_hz, clipped, faults, channel_faults in db.execute(
        "SELECT id, sample_rate_hz, clipped, faults, channel_faults FROM takes "
        "WHERE clipped > 0 AND sample_rate_hz != 48000"
    ).fetchall():
        times = rate_hz / 48_000
        said = []
        for fault in json.loads(faults or "[]"):
            if told := _SAMPLES.search(fault):
                samples = round(int(told[0].replace(",", "")) * times)
                fault = f"{fault[: told.start()]}{samples:,}{fault[told.end() :]}"
            said.append(fault)
        found = [
            [kind, channels, other, at_s, amount * times if kind == "clipped" else amount]
            for kind, channels, other, at_s, amount in json.loads(channel_faults or "[]")
        ]
        db.execute(
            "UPDATE takes SET clipped = ?, faults = ?, channel_faults = ? WHERE id = ?",
            (round(clipped * times), json.dumps(said), json.dumps(found), take_id),
        )


def _when_logged_is_not_kept(db: sqlite3.Connection) -> None:
    """Nothing asked when a take was logged: whether it is to be logged again, its versions say."""
    db.execute("ALTER TABLE takes DROP COLUMN logged_at")


MIGRATIONS: tuple[Callable[[sqlite3.Connection], None], ...] = (
    _first_schema,
    _model_of_each_take,
    _takes_lined_up,
    _pictures_measured,
    _noise_taught,
    _broken_stretches,
    _channel_faults_as_data,
    _length_of_picture,
    _noise_of_calls_told_by_the_takes,
    _clipped_samples_at_their_own_rate,
    _when_logged_is_not_kept,
)
"""Steps from each schema version to the next. A step is never changed, only followed by another."""

SCHEMA_VERSION = len(MIGRATIONS)
"""The version that this program writes."""
