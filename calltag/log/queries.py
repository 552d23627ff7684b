"""What all queries of the log rest on: its database, and a take's row by its path."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

from calltag.database import Closing
from calltag.errors import LogError
from calltag.log._rows import CALL_COLUMNS, call_row, marks
from calltag.records.found import Call


class Queries(Closing):
    """Queries of one subject; `calltag.log.Log` has those of all.

    Attributes
    ----------
    path : Path
        The SQLite file.
    """

    path: Path

    def _writing(self) -> AbstractContextManager[sqlite3.Connection]:
        return self._database.writing()

    def _reading(self) -> AbstractContextManager[None]:
        return self._database.reading()

    def _read(self, query: str, values: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        return self._database.read(query, values)

    def _take_id(self, db: sqlite3.Connection, path: str) -> int:
        row = db.execute("SELECT id FROM takes WHERE path = ?", (path,)).fetchone()
        if row is None:
            raise self._no_take(path)
        return int(row[0])

    def _no_take(self, path: str) -> LogError:
        return LogError(
            f"{path}: no such take in {self.path.name}; `calltag takes` lists their names"
        )


def insert_calls(
    db: sqlite3.Connection,
    take_id: int,
    calls: Iterable[Call],
    *,
    label: str | None = None,
    label_id: int | None = None,
) -> None:
    """Store calls of a take.

    Parameters
    ----------
    db : sqlite3.Connection
        The log, in a transaction.
    take_id : int
        The take.
    calls : iterable of Call
        What was found, or measured.
    label : str or None
        The user's name for the calls; None for the names that they have.
    label_id : int or None
        The label that they were measured for; None for what was found.
    """
    columns = f"take_id, label_id, {CALL_COLUMNS}"
    db.executemany(
        f"INSERT INTO calls ({columns}) VALUES ({marks(columns)})",
        [[take_id, label_id, *call_row(call, label)] for call in calls],
    )
