"""The takes of the log, with what was found in them, and the takes that could not be read."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from calltag.errors import NameTakenError
from calltag.log._rows import (
    CALL_COLUMNS,
    NOISE_COLUMNS,
    PICTURE_COLUMNS,
    TAKE_COLUMNS,
    call_of,
    marks,
    noise_of,
    noise_row,
    picture_of,
    picture_row,
    take_of,
    take_row,
)
from calltag.log.queries import Queries, insert_calls
from calltag.log.recordings import SAME_LENGTH_S, Begun, earlier_name, is_another
from calltag.records.found import Picture, TakeLog, with_noise
from calltag.records.take import Problem, Take
from calltag.spelling import name_order


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A take as the log knows it, without its finds.

    Attributes
    ----------
    take : Take
        The take.
    feature_version : int
        Version of the measurements that its calls were stored with.
    model : str or None
        Name of the model that gave its calls their types; None where none has.
    """

    take: Take
    feature_version: int
    model: str | None = None


class TakeQueries(Queries):
    """The takes, by their paths."""

    def takes(self) -> list[Take]:
        """Return all takes, in order of path, as `calltag.spelling.name_order` has it.

        Returns
        -------
        list of Take
            One for each take that was logged.
        """
        return [entry.take for entry in self.entries()]

    def entries(self) -> list[Entry]:
        """Return all takes with what a new run has to know of them, in order of path.

        Returns
        -------
        list of Entry
            One for each take that was logged.
        """
        rows = self._read(f"SELECT feature_version, model, {TAKE_COLUMNS} FROM takes")
        entries = [
            Entry(take=take_of(row), feature_version=feature_version, model=model)
            for feature_version, model, *row in rows
        ]
        return sorted(entries, key=lambda entry: name_order(entry.take.path))

    def take_logs(self, *, features: bool = False) -> Iterator[TakeLog]:
        """Yield all takes with what was found in them, in order of path.

        Parameters
        ----------
        features : bool
            Whether to read the calls' measurements too.

        Yields
        ------
        TakeLog
            A take, its calls and its noise.
        """
        rows = self._read("SELECT id, path FROM takes")
        for take_id, _ in sorted(rows, key=lambda row: name_order(row[1])):
            found = self._take_log("id = ?", take_id, features=features)
            if found is not None:  # another command may have taken it out of the log meanwhile
                yield found

    def take_log(self, path: str, *, features: bool = False) -> TakeLog:
        """Return one take with what was found in it.

        Parameters
        ----------
        path : str
            Its path below the rushes folder.
        features : bool
            Whether to read the calls' measurements too.

        Returns
        -------
        TakeLog
            The take, its calls and its noise.

        Raises
        ------
        LogError
            If the log has no such take.
        """
        found = self._take_log("path = ?", path, features=features)
        if found is None:
            raise self._no_take(path)
        return found

    def _take_log(self, where: str, value: object, *, features: bool) -> TakeLog | None:
        """Read a take and all that was found in it, as it is at one moment."""
        columns = CALL_COLUMNS if features else CALL_COLUMNS.replace("features", "NULL")
        of_take = "WHERE take_id = ? ORDER BY start_s, end_s"
        with self._reading():
            rows = self._read(f"SELECT id, {TAKE_COLUMNS} FROM takes WHERE {where}", (value,))
            if not rows:
                return None
            take_id, *row = rows[0]
            calls = self._read(f"SELECT label_id, {columns} FROM calls {of_take}", (take_id,))
            noise = self._read(f"SELECT {NOISE_COLUMNS} FROM noise {of_take}", (take_id,))
            pictures = self._read(f"SELECT {PICTURE_COLUMNS} FROM pictures {of_take}", (take_id,))
        spans = tuple(map(noise_of, noise))
        return TakeLog(
            take=take_of(row),
            calls=with_noise(map(call_of, calls), spans),
            noise=spans,
            pictures=tuple(map(picture_of, pictures)),
        )

    def put(self, take_log: TakeLog, *, feature_version: int) -> str | None:
        """Store a take with what was found in it, in place of what the log had under its path.

        The user's labels of that path stay, and, where its length is the same, how it lies against
        other takes. What was measured of its picture stays where the file is the same. If the file
        is another recording than before, all that the log had of the earlier one is kept under a
        name of `earlier_name`: so no label gets to sound that it was not given to.

        Parameters
        ----------
        take_log : TakeLog
            The take, its calls and its noise; its `pictures` are put by `put_pictures`.
        feature_version : int
            Version of the calls' measurements.

        Returns
        -------
        str or None
            The name that an earlier recording is kept under; None where there was none.

        Raises
        ------
        NameTakenError
            If that path is another file's, below another rushes folder; nothing is stored then.
        LogError
            If the log cannot be written.
        """
        take = take_log.take
        with self._writing() as db:
            old = _known_by(db, take.path)
            earlier = None
            if old is not None and old.digest != take.digest:
                if old.rushes != take.rushes:
                    raise NameTakenError(
                        f"{take.path}: the log has this name for a take in {old.rushes}; log it "
                        "again"
                    )
                earlier = _renamed_if_another(db, old, take_log)
            if old is None or earlier is not None:
                take_id = _insert_take(db, take, feature_version)
            else:
                take_id = old.id
                _update_take(db, old, take, feature_version)
            insert_calls(db, take_id, take_log.calls)
            db.executemany(
                f"INSERT INTO noise (take_id, {NOISE_COLUMNS}) VALUES (?, {marks(NOISE_COLUMNS)})",
                [[take_id, *noise_row(span)] for span in take_log.noise],
            )
            db.execute(
                "DELETE FROM problems WHERE rushes = ? AND path = ?", (take.rushes, take.path)
            )
        return earlier

    def put_pictures(self, path: str, pictures: Iterable[Picture]) -> None:
        """Store what was measured of a take's picture, beside what is there already.

        Parameters
        ----------
        path : str
            The take's path in the log; where the log has no such take, nothing is stored.
        pictures : iterable of Picture
            What was measured; the same frames replace what was measured of them before.

        Raises
        ------
        LogError
            If the log cannot be written.
        """
        with self._writing() as db:
            db.executemany(
                f"INSERT OR REPLACE INTO pictures (take_id, {PICTURE_COLUMNS}) "
                f"SELECT id, {marks(PICTURE_COLUMNS)} FROM takes WHERE path = ?",
                [[*picture_row(picture), path] for picture in pictures],
            )

    def move(self, places: Mapping[str, tuple[str, str]]) -> None:
        """Give takes the new places of their files, all at once, so that names may be exchanged.

        Parameters
        ----------
        places : mapping of str to tuple of two str
            Path in the log to the new rushes folder and the new path below it.

        Raises
        ------
        NameTakenError
            If another take has one of the new paths; nothing is moved then.
        LogError
            If the log cannot be written.
        """
        if not places:
            return
        with self._writing() as db:
            # By way of names that no file can have: a path is unique in the table at every step.
            between = {f"\0{number}": old for number, old in enumerate(places)}
            db.executemany("UPDATE takes SET path = ? WHERE path = ?", between.items())
            for name, old in between.items():
                rushes, new = places[old]
                if _has_take(db, name) and _has_take(db, new):
                    raise NameTakenError(
                        f"{new}: another command gave this name to a take meanwhile; log the "
                        "rushes again"
                    )
                db.execute(
                    "UPDATE takes SET rushes = ?, path = ? WHERE path = ?", (rushes, new, name)
                )

    def forget(self, paths: Iterable[str]) -> None:
        """Take takes out of the log, with all that was found in them and their labels.

        Parameters
        ----------
        paths : iterable of str
            Their paths in the log.

        Raises
        ------
        LogError
            If the log cannot be written.
        """
        with self._writing() as db:
            db.executemany("DELETE FROM takes WHERE path = ?", [(path,) for path in paths])


class ProblemQueries(Queries):
    """The takes that could not be read, by rushes folder and path."""

    def problems(self) -> list[tuple[str, Problem]]:
        """Return the takes that could not be read.

        Returns
        -------
        list of tuple of str and Problem
            Rushes folder and problem, in order of path.
        """
        rows = self._read("SELECT rushes, path, reason FROM problems ORDER BY rushes")
        problems = [(rushes, Problem(path=path, reason=reason)) for rushes, path, reason in rows]
        return sorted(problems, key=lambda one: name_order(one[1].path))

    def put_problem(self, rushes: str, problem: Problem) -> None:
        """Store that a take could not be read, in place of an earlier reason.

        Parameters
        ----------
        rushes : str
            Absolute path of the rushes folder.
        problem : Problem
            The take and the reason.

        Raises
        ------
        LogError
            If the log cannot be written.
        """
        with self._writing() as db:
            db.execute(
                "INSERT OR REPLACE INTO problems (rushes, path, reason) VALUES (?, ?, ?)",
                (rushes, problem.path, problem.reason),
            )

    def clear_problems(self, places: Iterable[tuple[str, str]]) -> None:
        """Take problems out of the log.

        Parameters
        ----------
        places : iterable of tuple of two str
            Rushes folder and path of each.

        Raises
        ------
        LogError
            If the log cannot be written.
        """
        with self._writing() as db:
            db.executemany("DELETE FROM problems WHERE rushes = ? AND path = ?", places)


def _has_take(db: sqlite3.Connection, path: str) -> bool:
    return db.execute("SELECT 1 FROM takes WHERE path = ?", (path,)).fetchone() is not None


class _Known(NamedTuple):
    """What the log has of a take that is put again."""

    id: int
    duration_s: float
    digest: str
    rushes: str
    start_tc: str | None
    time_reference: int | None
    recorded: str | None

    def has_length_of(self, take: Take) -> bool:
        return abs(self.duration_s - take.duration_s) <= SAME_LENGTH_S


def _known_by(db: sqlite3.Connection, path: str) -> _Known | None:
    row = db.execute(
        f"SELECT {', '.join(_Known._fields)} FROM takes WHERE path = ?", (path,)
    ).fetchone()
    return None if row is None else _Known(*row)


def _renamed_if_another(db: sqlite3.Connection, old: _Known, take_log: TakeLog) -> str | None:
    """Give an earlier recording a name of its own; None where the new file is the same one."""
    before = Begun(old.start_tc, old.time_reference, old.recorded)
    other_length = not old.has_length_of(take_log.take)
    if not is_another(db, old.id, before, take_log, other_length=other_length):
        return None
    earlier = earlier_name(take_log.take.path, lambda name: _has_take(db, name))
    db.execute("UPDATE takes SET path = ? WHERE id = ?", (earlier, old.id))
    return earlier


_LOGGED_COLUMNS = f"{TAKE_COLUMNS}, feature_version, model"


def _logged_row(take: Take, feature_version: int) -> list[object]:
    return [*take_row(take), feature_version, None]


def _insert_take(db: sqlite3.Connection, take: Take, feature_version: int) -> int:
    take_id = db.execute(
        f"INSERT INTO takes ({_LOGGED_COLUMNS}) VALUES ({marks(_LOGGED_COLUMNS)})",
        _logged_row(take, feature_version),
    ).lastrowid
    assert take_id is not None  # as after every INSERT
    return take_id


def _update_take(db: sqlite3.Connection, old: _Known, take: Take, feature_version: int) -> None:
    """Put a take in place of what was known; what no longer holds of it goes."""
    db.execute(
        f"UPDATE takes SET ({_LOGGED_COLUMNS}) = ({marks(_LOGGED_COLUMNS)}) WHERE id = ?",
        [*_logged_row(take, feature_version), old.id],
    )
    db.execute("DELETE FROM calls WHERE take_id = ?", (old.id,))
    db.execute("DELETE FROM noise WHERE take_id = ?", (old.id,))
    if old.digest != take.digest:
        db.execute("DELETE FROM pictures WHERE take_id = ?", (old.id,))
    if not old.has_length_of(take):
        db.execute("DELETE FROM alignments WHERE ? IN (a_id, b_id)", (old.id,))
