"""Files that are no log, and several processes with one."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from calltag.errors import LogError
from calltag.log import APPLICATION_ID, SCHEMA_VERSION, Log
from calltag.records.found import TakeLog

from .conftest import call, take

ROOT = Path(__file__).resolve().parents[2]


def sentence(error: pytest.ExceptionInfo[LogError]) -> str:
    text = str(error.value)
    assert "\n" not in text
    return text


@pytest.mark.parametrize("content", [b"not a database, but a shot list\n" * 40, b"RIFF"])
def test_a_file_that_is_no_database_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "shots.txt"
    path.write_bytes(content)
    with pytest.raises(LogError) as error:
        Log(path)
    assert sentence(error).endswith(
        "shots.txt: this is not a log of calltag; name the log with --log"
    )
    assert path.read_bytes() == content


def test_a_database_of_another_program_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE takes (name TEXT)")
    db.close()
    before = path.read_bytes()
    with pytest.raises(LogError, match=r"other\.db: this is another program's file"):
        Log(path)
    assert path.read_bytes() == before


def test_an_empty_file_becomes_a_log(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    path.touch()
    with Log(path) as log:
        assert log.takes() == []


def test_a_newer_log_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    Log(path).close()
    with sqlite3.connect(path) as db:
        db.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    db.close()
    with pytest.raises(LogError) as error:
        Log(path)
    assert "written by a newer calltag" in sentence(error)
    assert "update calltag" in sentence(error)


def test_a_log_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(
        LogError, match=r"there is no log here; make one .*, or go to the folder that"
    ):
        Log(tmp_path / "calltag.db", create=False)
    assert not (tmp_path / "calltag.db").exists()


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(LogError, match=r"the folder .* does not exist; make it first"):
        Log(tmp_path / "day2" / "calltag.db")


def test_a_folder_is_no_log(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="this log cannot be opened; check that it is a file"):
        Log(tmp_path)


def test_a_damaged_log_is_told(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    with Log(path) as log:
        for number in range(300):
            log.put(TakeLog(take=take(f"A{number:04}.mov"), calls=(call(1),)), feature_version=1)
    content = bytearray(path.read_bytes())
    content[8192:] = bytes(len(content) - 8192)
    path.write_bytes(content)
    with Log(path) as log, pytest.raises(LogError) as error:
        list(log.take_logs())
    assert "this log is damaged; log the rushes again into a new one" in sentence(error)


def test_two_processes_may_open_write_and_read_at_once(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    program = """
import sys
from pathlib import Path
from calltag.log import Log
from calltag.records.found import TakeLog
from calltag.records.take import Take
path, mine = Path(sys.argv[1]), sys.argv[2]
sys.stdin.readline()
with Log(path) as log:
    for number in range(40):
        take = Take(path=f"{mine}{number}", rushes="/r", digest="d", size_bytes=1, duration_s=1.0)
        log.put(TakeLog(take=take), feature_version=1)
        assert any(found.path == take.path for found in log.takes())
"""
    workers = [
        subprocess.Popen(
            [sys.executable, "-c", program, str(path), name], cwd=ROOT, stdin=subprocess.PIPE
        )
        for name in ("left", "right")
    ]
    for worker in workers:
        worker.stdin.write(b"go\n")
        worker.stdin.flush()
    for worker in workers:
        worker.communicate(timeout=180)
        assert worker.returncode == 0
    with Log(path) as log:
        assert len(log.takes()) == 80


def test_a_disk_that_has_no_room_to_read_a_log_is_told_to_be_full(tmp_path: Path) -> None:
    """SQLite says then that input or output failed; a limit to the size of files brings it to."""
    resource = pytest.importorskip("resource")
    with Log(tmp_path / "calltag.db") as log:
        log.put(TakeLog(take=take("A001.mov"), calls=(call(1),)), feature_version=1)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
    try:
        with pytest.raises(LogError) as error:
            Log(tmp_path / "calltag.db", create=False)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert sentence(error).endswith("calltag.db: the disk is full; make room and start again")
    with Log(tmp_path / "calltag.db", create=False) as log:
        assert len(log.entries()) == 1


def test_a_full_disk_is_told_and_leaves_what_was_there(tmp_path: Path) -> None:
    """SQLite imitates it: a file that may have no more pages."""
    path = tmp_path / "calltag.db"
    with Log(path) as log:
        log.put(TakeLog(take=take("A001.mov"), calls=(call(1),)), feature_version=1)
        ((pages,),) = log._database.read("PRAGMA page_count")
        log._database.read(f"PRAGMA max_page_count = {pages + 1}")
        many = tuple(call(float(number)) for number in range(500))
        with pytest.raises(LogError) as error:
            log.put(TakeLog(take=take("A001.mov"), calls=many), feature_version=2)
        assert sentence(error).endswith("calltag.db: the disk is full; make room and start again")
        (entry,) = log.entries()
        assert entry.feature_version == 1
        assert len(log.take_log("A001.mov").calls) == 1
        log._database.read(f"PRAGMA max_page_count = {pages + 100}")
        log.put(TakeLog(take=take("A001.mov"), calls=many), feature_version=2)
    with Log(path) as log:
        assert len(log.take_log("A001.mov").calls) == 500


def test_a_locked_log_is_told(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    with Log(path, busy_timeout_s=0.05) as log:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(
            LogError,
            match=r"another program is writing to this log; try again .*disk cannot lock files",
        ):
            log.put(TakeLog(take=take()), feature_version=1)
        assert log.takes() == [], "reading goes on"
        other.execute("ROLLBACK")
        other.close()
        log.put(TakeLog(take=take()), feature_version=1)


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no SIGKILL")
def test_a_process_killed_while_writing_leaves_whole_takes(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    program = """
import os, signal, sys
from pathlib import Path
import calltag.log
from calltag.log import Log
from calltag.records.found import Call, TakeLog
from calltag.records.take import Take
def call(start_s):
    return Call(start_s=start_s, end_s=2.0, low_hz=1, high_hz=2, peak_hz=1, snr_db=1, level_dbfs=-1,
                call_probability=1)
def calls_then_death():
    yield call(0.0)
    yield call(1.0)
    os.kill(os.getpid(), signal.SIGKILL)
def take(path):
    return Take(path=path, rushes="/r", digest="d", size_bytes=1, duration_s=1.0)
log = Log(Path(sys.argv[1]))
log.put(TakeLog(take=take("whole"), calls=(call(0.0), call(1.0))), feature_version=1)
log.put(TakeLog(take=take("half"), calls=calls_then_death()), feature_version=1)
"""
    done = subprocess.run([sys.executable, "-c", program, str(path)], cwd=ROOT, check=False)
    assert done.returncode == -signal.SIGKILL
    with Log(path) as log:
        assert [t.path for t in log.takes()] == ["whole"]
        assert len(log.take_log("whole").calls) == 2


def test_the_file_carries_its_mark_and_version(tmp_path: Path) -> None:
    """Offsets 60 and 68 of the header: SQLite's file format document, section 1.3."""
    path = tmp_path / "calltag.db"
    Log(path).close()
    header = path.read_bytes()[:100]
    assert header[:16] == b"SQLite format 3\0"
    assert int.from_bytes(header[60:64], "big") == SCHEMA_VERSION
    assert int.from_bytes(header[68:72], "big") == APPLICATION_ID
    assert (header[18], header[19]) == (2, 2), "2 means write-ahead log"
    assert [p.name for p in tmp_path.iterdir()] == ["calltag.db"], "closed, so nothing beside it"
