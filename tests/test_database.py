from __future__ import annotations

import os
import sqlite3
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

import pytest

from calltag.database import Database, Kind, uri_of
from calltag.errors import LibraryError, LogError
from calltag.library.catalogue.catalogue import Catalogue
from calltag.log import Log

KIND = Kind(
    name="log", error=LogError, application_id=0x41534D52, elsewhere="name it", mend="copy it"
)


def two_tables(db: sqlite3.Connection) -> None:
    db.execute("CREATE TABLE takes (name TEXT)")
    db.execute("CREATE TABLE calls (take TEXT)")


def a_column_more(db: sqlite3.Connection) -> None:
    db.execute("ALTER TABLE takes ADD COLUMN fps TEXT")


def made_elsewhere(path: Path) -> bool:
    """Fill the file as another process would; tells whether it was let."""
    other = sqlite3.connect(path, timeout=0, isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        two_tables(other)
        other.execute(f"PRAGMA application_id = {KIND.application_id}")
        other.execute("PRAGMA user_version = 1")
        other.execute("COMMIT")
    except sqlite3.OperationalError:
        return False
    finally:
        other.close()
    return True


@pytest.mark.parametrize("before", ["user_version", "application_id", "count(*)"])
def test_another_process_makes_the_file_while_it_is_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: str
) -> None:
    path = tmp_path / "new.db"
    tried: list[bool] = []

    class Overtaken(sqlite3.Connection):
        def execute(self, query: str, *values: Any) -> sqlite3.Cursor:
            if before in query and "=" not in query and not tried:
                tried.append(made_elsewhere(path))
            return super().execute(query, *values)

    connect = sqlite3.connect

    def overtaken(path: Path, **options: Any) -> sqlite3.Connection:
        ours = "isolation_level" in options and options.get("timeout") != 0
        return connect(path, factory=Overtaken if ours else sqlite3.Connection, **options)

    monkeypatch.setattr("calltag.database.sqlite3.connect", overtaken)
    database = Database(path, KIND, [two_tables])
    assert tried
    assert database.read("SELECT count(*) FROM sqlite_master") == [(2,)]
    assert database.read("PRAGMA user_version") == [(1,)]
    database.close()


def test_looking_leaves_no_transaction_behind(tmp_path: Path) -> None:
    path = tmp_path / "new.db"
    Database(path, KIND, [two_tables]).close()
    database = Database(path, KIND, [two_tables])
    with database.writing() as db:
        db.execute("INSERT INTO takes VALUES ('A001.mov')")
    assert database.read("SELECT name FROM takes") == [("A001.mov",)]
    database.close()


@pytest.mark.skipif(os.name != "posix" or os.getuid() != 0, reason="gives up rights, as root may")
@pytest.mark.parametrize("name", ["kept.db", "100% of a #day?.db", os.fsdecode(b"pond\xff.db")])
def test_a_file_where_nothing_can_be_written_is_read(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In WAL mode SQLite wants two files beside it even to read, unless it is told."""
    monkeypatch.setattr(os, "access", lambda *_: True)  # what Windows says of any folder
    folder = tmp_path / "archive"
    folder.mkdir()
    before = Database(folder / name, KIND, [two_tables])
    with before.writing() as db:
        db.execute("INSERT INTO takes VALUES ('A001.mov')")
    before.close()
    folder.chmod(0o555)
    for above in (tmp_path, *tmp_path.parents[:-1]):
        above.chmod(above.stat().st_mode | 0o055)
    os.setresuid(65534, 65534, 0)
    try:
        kept = Database(folder / name, KIND, [two_tables])
        assert kept.read("SELECT name FROM takes") == [("A001.mov",)]
        with pytest.raises(LogError, match=r"may not be written to; copy it"), kept.writing() as db:
            db.execute("INSERT INTO takes VALUES ('A002.mov')")
        kept.close()
        with pytest.raises(LogError, match=r"may not be written to; copy it"):
            Database(folder / name, KIND, [two_tables, a_column_more])
    finally:
        os.setresuid(0, 0, 0)
    assert [path.name for path in folder.iterdir()] == [name]


@pytest.mark.skipif(os.name != "posix" or os.getuid() != 0, reason="gives up rights, as root may")
def test_a_file_in_a_folder_that_may_not_be_entered_is_not_said_to_be_missing(
    tmp_path: Path,
) -> None:
    """Python 3.14 says of such a file that there is none."""
    folder = tmp_path / "locked"
    folder.mkdir()
    Log(folder / "calltag.db").close()
    Catalogue(folder, create=True).close()
    for above in (tmp_path, *tmp_path.parents[:-1]):
        above.chmod(above.stat().st_mode | 0o055)
    folder.chmod(0o600)
    os.setresuid(65534, 65534, 0)
    try:
        told = r"cannot be reached \(permission denied\); check that you may enter its folder"
        with pytest.raises(LogError, match=told):
            Log(folder / "calltag.db", create=False)
        with pytest.raises(LogError, match=told):
            Log(folder / "card1" / "calltag.db")
        with pytest.raises(LibraryError, match=told):
            Catalogue(folder)
    finally:
        os.setresuid(0, 0, 0)
    with pytest.raises(LogError, match="there is no log here"):
        Log(folder / "other.db", create=False)


def test_sqlite_is_told_of_no_other_computer() -> None:
    """A share of Windows is a folder to it; a host in the URI it refuses."""
    paths = [
        PurePosixPath("/ash mere/#1.db"),
        PureWindowsPath("E:\\ash mere\\a.db"),
        PureWindowsPath("\\\\nas\\rushes\\a.db"),
    ]
    assert [uri_of(path) for path in paths] == [
        "file:///ash%20mere/%231.db",
        "file:///E:/ash%20mere/a.db",
        "file:////nas/rushes/a.db",
    ]
    for path in paths:
        with pytest.raises(sqlite3.OperationalError, match="unable to open database file"):
            sqlite3.connect(f"{uri_of(path)}?mode=ro", uri=True)
