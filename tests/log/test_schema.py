"""Logs of earlier versions."""

from __future__ import annotations

import json
import shutil
import sqlite3
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from calltag.log import MIGRATIONS, SCHEMA_VERSION, Log
from calltag.log._rows import TAKE_COLUMNS
from calltag.records.take import ChannelFault, FaultKind
from calltag.sound.channels.faults import said

from .conftest import picture

FIRST_LOG = Path(__file__).resolve().parents[1] / "data" / "log_v1.db"


def test_a_log_of_the_first_version_is_brought_up_to_date(tmp_path: Path) -> None:
    """data/log_v1.db was written by the program as it was when the log had version 1."""
    path = tmp_path / "calltag.db"
    shutil.copy(FIRST_LOG, path)
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (1,)
    db.close()
    with Log(path) as log:
        first, second = log.entries()
        assert first.model is second.model is None
        assert first.take.fps == Fraction(30000, 1001)
        assert first.take.picture_s is None
        assert first.take.levels is not None
        assert first.take.levels.faults == ("channel 2 is dead",)
        assert first.take.levels.channel_faults == (ChannelFault(FaultKind.DEAD, (2,)),)
        assert not second.take.has_sound
        calls = log.take_log("causeway/A001.mov", features=True).calls
        assert [(c.start_s, c.label, c.by_hand) for c in calls] == [
            (1.0, "call", False),
            (4.0, "call", False),
            (8.0, "pit rail", True),
        ]
        np.testing.assert_array_equal(calls[0].features, np.float32([1.0, 1.6, 900.0, 1400.0]))
        assert [label.group for label in log.labels()] == ["first light", None]
        assert [problem.path for _, problem in log.problems()] == ["causeway/A003.mov"]
        log.give_types(lambda rows, _: [("x", 0.5)] * len(rows), feature_version=1, model="m")
        assert log.entries()[0].model == "m"
        log.put_pictures("causeway/A001.mov", [picture()])
        assert log.take_log("causeway/A001.mov").pictures == (picture(),)
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
    db.close()


@pytest.mark.parametrize(
    ("faults", "broken", "version"),
    [
        (["channel 2 is dead"], (), 4),
        (["sound ends at 40.0 s, 20.0 s before the end of the take"], ((40.0, 60.0),), 4),
        (["the file cannot be read beyond 40.0 s"], ((40.0, 60.0),), 4),
        (["sound starts 1.5 s after the picture"], ((0.0, 1.5),), 4),
        (
            [
                "sound is missing between 20.00 and 20.50 s",
                "sound is damaged between 3.25 and 4.00 s",
            ],
            ((3.25, 4.0), (20.0, 20.5)),
            4,
        ),
        (
            [
                "sound is damaged between 3.00 and 4.00 s",
                "sound is damaged between 5.00 and 6.00 s",
                "sound is damaged between 7.00 and 8.00 s",
                "sound is damaged in 2 more places",
            ],
            ((3.0, 4.0), (5.0, 6.0), (7.0, 8.0)),
            0,  # so that it is analysed again
        ),
        (None, None, 4),
    ],
)
def test_what_a_log_of_version_5_says_of_broken_sound_is_understood(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, faults, broken, version
) -> None:
    path = tmp_path / "calltag.db"
    monkeypatch.setattr("calltag.log.store.MIGRATIONS", MIGRATIONS[:5])
    Log(path).close()
    monkeypatch.undo()
    db = sqlite3.connect(path)
    with db:
        db.execute(
            "INSERT INTO takes (path, rushes, digest, size_bytes, duration_s, variable_rate, "
            "channels, width, height, clipped, channel, faults, feature_version, logged_at) "
            "VALUES ('A001.mov', '/r', 'd', 1, 60.0, 0, 1, 0, 0, 0, ?, ?, 4, '2026-05-03')",
            (None, None) if faults is None else ("1", json.dumps(faults)),
        )
    db.close()
    with Log(path) as log:
        (entry,) = log.entries()
    assert entry.feature_version == version
    levels = entry.take.levels
    assert (levels and levels.broken) == broken
    assert levels is None or levels.faults == tuple(faults)


CHANNEL_FAULTS = (
    ChannelFault(FaultKind.NO_SOUND, (1, 2, 3, 4, 5)),
    ChannelFault(FaultKind.DEAD, (2,)),
    ChannelFault(FaultKind.DEAD, (1, 3, 5)),
    ChannelFault(FaultKind.DEAD, (3, 4, 5)),
    ChannelFault(FaultKind.STOPS, (1,), at_s=40.5),
    ChannelFault(FaultKind.STOPS, at_s=7.0),
    ChannelFault(FaultKind.STARTS, at_s=1.5),
    ChannelFault(FaultKind.QUIETER, (2,), other=1, amount=34),
    ChannelFault(FaultKind.HISS, (2,)),
    ChannelFault(FaultKind.COPY_INVERTED, (2,), other=1),
    ChannelFault(FaultKind.INVERTED, (2,), other=1),
    ChannelFault(FaultKind.SAME, (1, 2)),
    ChannelFault(FaultKind.WINDY, (2,), other=1),
    ChannelFault(FaultKind.CLIPPED, (1,), amount=12_345),
    ChannelFault(FaultKind.OFFSET, (1,), amount=-0.25),
    ChannelFault(FaultKind.DROPS_OUT, at_s=1.234, amount=0.083),
    ChannelFault(FaultKind.DROPS_OUT, (2,), at_s=1.234, amount=0.083),
    ChannelFault(FaultKind.MORE_DROPOUTS, amount=5),
)


def test_what_a_log_of_version_6_says_of_channels_is_understood(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert {fault.kind for fault in CHANNEL_FAULTS} == set(FaultKind)
    path = tmp_path / "calltag.db"
    monkeypatch.setattr("calltag.log.store.MIGRATIONS", MIGRATIONS[:6])
    Log(path).close()
    monkeypatch.undo()
    told = (*map(said, CHANNEL_FAULTS), "sound starts 1.5 s after the picture")
    db = sqlite3.connect(path)
    with db:
        db.execute(
            "INSERT INTO takes (path, rushes, digest, size_bytes, duration_s, variable_rate, "
            "channels, width, height, clipped, channel, faults, broken, feature_version, "
            "logged_at) "
            "VALUES ('A001.mov', '/r', 'd', 1, 60.0, 0, 5, 0, 0, 0, '1', ?, '[]', 4, '2026-05-03')",
            (json.dumps(told),),
        )
    db.close()
    with Log(path) as log:
        (entry,) = log.entries()
    assert entry.take.levels is not None
    assert entry.take.levels.faults == told
    assert entry.take.levels.channel_faults == CHANNEL_FAULTS


def test_what_a_log_of_version_8_says_of_noise_is_what_its_takes_say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Noise was kept with each call as well, by another rule, and could contradict the take's."""
    path = tmp_path / "calltag.db"
    monkeypatch.setattr("calltag.log.store.MIGRATIONS", MIGRATIONS[:8])
    Log(path).close()
    monkeypatch.undo()
    db = sqlite3.connect(path)
    with db:
        db.execute(
            "INSERT INTO takes (path, rushes, digest, size_bytes, duration_s, variable_rate, "
            "channels, width, height, feature_version, logged_at) "
            "VALUES ('A001.mov', '/r', 'd', 1, 60.0, 0, 1, 0, 0, 4, '2026-05-03')"
        )
        db.execute(
            "INSERT INTO noise (take_id, start_s, end_s, kind, detail) VALUES (1, 10, 20, ?, '')",
            ("machine/pump",),
        )
        for start_s, noise in ((5.0, '["machine"]'), (12.0, "[]")):
            db.execute(
                "INSERT INTO calls (take_id, start_s, end_s, label, noise) VALUES (1, ?, ?, ?, ?)",
                (start_s, start_s + 1, "call", noise),
            )
    db.close()
    with Log(path) as log:
        calls = log.take_log("A001.mov").calls
        assert [(call.start_s, call.noise) for call in calls] == [(5.0, ()), (12.0, ("machine",))]


def test_clipped_samples_of_a_log_of_version_9_are_counted_at_their_own_rate(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They were counted as if every take were at 48 kHz."""
    path = tmp_path / "calltag.db"
    monkeypatch.setattr("calltag.log.store.MIGRATIONS", MIGRATIONS[:9])
    Log(path).close()
    monkeypatch.undo()
    kept = json.dumps([("clipped", [2], 0, 0.0, 1200.0), ("offset", [1], 0, 0.0, 0.02)])
    db = sqlite3.connect(path)
    with db:
        db.executemany(
            "INSERT INTO takes (path, rushes, digest, size_bytes, duration_s, variable_rate, "
            "channels, width, height, sample_rate_hz, clipped, channel, faults, broken, "
            "channel_faults, feature_version, logged_at) "
            "VALUES (?, '/r', 'd', 1, 60.0, 0, 2, 0, 0, ?, 1200, '1', ?, '[]', ?, 4, '2026-05-03')",
            [
                (f"{rate_hz}.wav", rate_hz, '["channel 2 is clipped (1,200 samples)"]', kept)
                for rate_hz in (48_000, 96_000)
            ],
        )
    db.close()
    with Log(path) as log:
        told = {take.sample_rate_hz: take.levels for take in log.takes()}
    for rate_hz, clipped in ((48_000, 1200), (96_000, 2400)):
        levels = told[rate_hz]
        assert levels is not None
        assert levels.clipped == clipped
        assert levels.faults == (f"channel 2 is clipped ({clipped:,} samples)",)
        assert [fault.amount for fault in levels.channel_faults] == [clipped, 0.02]


def test_the_log_keeps_of_a_take_what_it_gives_back_and_no_more(tmp_path: Path) -> None:
    """A log of the first version kept when each take was logged, too, and nothing read it."""
    path = tmp_path / "calltag.db"
    shutil.copy(FIRST_LOG, path)
    Log(path).close()
    db = sqlite3.connect(path)
    kept = {name for _, name, *_ in db.execute("PRAGMA table_info(takes)")}
    db.close()
    assert kept == {"id", "feature_version", "model", *TAKE_COLUMNS.split(", ")}


def test_a_step_that_fails_leaves_the_old_log_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "calltag.db"
    shutil.copy(FIRST_LOG, path)

    def fails(db: sqlite3.Connection) -> None:
        db.execute("ALTER TABLE takes ADD COLUMN half_done TEXT")
        raise OSError("power cut")

    monkeypatch.setattr("calltag.log.store.MIGRATIONS", (*MIGRATIONS[:1], fails))
    with pytest.raises(OSError, match="power cut"):
        Log(path)
    monkeypatch.undo()
    with Log(path) as log:
        assert len(log.takes()) == 2
