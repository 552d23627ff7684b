"""The log as it is read and written: its queries.

What goes in and comes out are the records of `calltag.records`. Each take is written in one
transaction, so that a run that is killed leaves whole takes behind.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np

from calltag.database import BUSY_TIMEOUT_S, Closing, Database, Kind
from calltag.errors import LogError, NameTakenError
from calltag.log._rows import (
    CALL_COLUMNS,
    NOISE_COLUMNS,
    PICTURE_COLUMNS,
    TAKE_COLUMNS,
    call_of,
    call_row,
    marks,
    noise_of,
    noise_row,
    picture_of,
    picture_row,
    take_of,
    take_row,
)
from calltag.log.recordings import SAME_LENGTH_S, earlier_name, is_another
from calltag.log.schema import APPLICATION_ID, MIGRATIONS
from calltag.records import (
    Alignment,
    Call,
    FloatArray,
    Label,
    NoiseSpan,
    Picture,
    Problem,
    Take,
    TakeLog,
)
from calltag.stored import pack_features, unpack_features

_KIND = Kind(
    name="log",
    error=LogError,
    application_id=APPLICATION_ID,
    elsewhere="name the log with --log",
    mend="log the rushes again into a new one",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A take as the log knows it, without its finds.

    Attributes
    ----------
    take : Take
        The clip.
    feature_version : int
        Version of the measurements that its calls were stored with.
    model : str or None
        Name of the model that gave its calls their types; None where none has.
    """

    take: Take
    feature_version: int
    model: str | None = None


class Log(Closing):
    """The log of a shoot, open for reading and writing; a context manager.

    Takes are named by `Take.path`, which no two takes of a log share.

    Parameters
    ----------
    path : Path
        The SQLite file.
    create : bool
        Whether to begin a new log where there is none.
    busy_timeout_s : float
        How long to wait for another process that is writing.

    Raises
    ------
    LogError
        If there is no file and `create` is false, or if the file is no log, is damaged, cannot be
        opened, or was written by a newer version of calltag.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> take = Take(
    ...     path="gauge/A001.mov", rushes="/ashmere", digest="d1", size_bytes=9, duration_s=4.0
    ... )
    >>> with Log(Path(folder.name) / "calltag.db") as log:
    ...     _ = log.put(TakeLog(take=take), feature_version=1)
    ...     [t.path for t in log.takes()]
    ['gauge/A001.mov']
    >>> folder.cleanup()
    """

    def __init__(
        self, path: Path, *, create: bool = True, busy_timeout_s: float = BUSY_TIMEOUT_S
    ) -> None:
        self.path = path
        if not create and not path.is_file():
            raise LogError(
                f"{path}: there is no log here; make one with `calltag log RUSHES`, "
                "or name another with --log"
            )
        self._database = Database(path, _KIND, MIGRATIONS, busy_timeout_s=busy_timeout_s)
        self._writing = self._database.writing
        self._read = self._database.read

    def check_writable(self) -> None:
        """Make sure that the log can be written, before the work that goes into it.

        Raises
        ------
        LogError
            If it cannot.
        """
        self._database.check_writable()

    # Takes

    def takes(self) -> list[Take]:
        """Return all takes, in order of path.

        Returns
        -------
        list of Take
            One for each clip that was logged.
        """
        return [entry.take for entry in self.entries()]

    def entries(self) -> list[Entry]:
        """Return all takes with what a new run has to know of them, in order of path.

        Returns
        -------
        list of Entry
            One for each clip that was logged.
        """
        rows = self._read(f"SELECT feature_version, model, {TAKE_COLUMNS} FROM takes ORDER BY path")
        return [
            Entry(take=take_of(row), feature_version=feature_version, model=model)
            for feature_version, model, *row in rows
        ]

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
        for take in self.takes():
            yield self._take_log(take, features=features)

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
        rows = self._read(f"SELECT {TAKE_COLUMNS} FROM takes WHERE path = ?", (path,))
        if not rows:
            raise self._no_take(path)
        return self._take_log(take_of(rows[0]), features=features)

    def _take_log(self, take: Take, *, features: bool) -> TakeLog:
        where = "WHERE take_id = (SELECT id FROM takes WHERE path = ?) ORDER BY start_s, end_s"
        columns = CALL_COLUMNS if features else CALL_COLUMNS.replace("features", "NULL")
        calls = self._read(f"SELECT label_id, {columns} FROM calls {where}", (take.path,))
        noise = self._read(f"SELECT {NOISE_COLUMNS} FROM noise {where}", (take.path,))
        pictures = self._read(f"SELECT {PICTURE_COLUMNS} FROM pictures {where}", (take.path,))
        return TakeLog(
            take=take,
            calls=tuple(call_of(row) for row in calls),
            noise=tuple(noise_of(row) for row in noise),
            pictures=tuple(picture_of(row) for row in pictures),
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
            _insert_calls(db, take_id, take_log.calls)
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
        LogError
            If the log cannot be written.
        """
        if not places:
            return
        with self._writing() as db:
            # By way of names that no file can have: a path is unique in the table at every step.
            db.executemany(
                "UPDATE takes SET path = ? WHERE path = ?",
                [(f"\0{number}", old) for number, old in enumerate(places)],
            )
            db.executemany(
                "UPDATE takes SET rushes = ?, path = ? WHERE path = ?",
                [(*new, f"\0{number}") for number, new in enumerate(places.values())],
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

    # Takes that could not be read

    def problems(self) -> list[tuple[str, Problem]]:
        """Return the takes that could not be read.

        Returns
        -------
        list of tuple of str and Problem
            Rushes folder and problem, in order of path.
        """
        rows = self._read("SELECT rushes, path, reason FROM problems ORDER BY path, rushes")
        return [(rushes, Problem(path=path, reason=reason)) for rushes, path, reason in rows]

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

    # Labels

    def labels(self) -> list[Label]:
        """Return the user's labels, in order of take and start.

        Returns
        -------
        list of Label
            All labels of takes in the log.
        """
        rows = self._read(
            "SELECT path, start_s, end_s, label, together FROM labels "
            "JOIN takes ON takes.id = take_id ORDER BY path, start_s, end_s"
        )
        return [
            Label(take=path, start_s=start_s, end_s=end_s, label=label, group=group)
            for path, start_s, end_s, label, group in rows
        ]

    def change_labels(self, *, remove: Iterable[Label] = (), put: Iterable[Label] = ()) -> None:
        """Take labels out of the log and store others, all at once.

        Parameters
        ----------
        remove : iterable of Label
            Those to remove, with what was measured for them; ones that are not there are passed
            over.
        put : iterable of Label
            Their takes have to be in the log; one for the same stretch of the same take replaces
            the earlier one.

        Raises
        ------
        LogError
            If a take is not in the log, or the log cannot be written; then nothing is changed.
        """
        with self._writing() as db:
            _remove_labels(db, remove)
            for label in put:
                self._put_label(db, label)

    def _put_label(self, db: sqlite3.Connection, label: Label) -> None:
        take_id = self._take_id(db, label.take)
        # What was measured under an earlier label of this stretch takes the new name.
        db.execute(
            "INSERT INTO labels (take_id, start_s, end_s, label, together) "
            "VALUES (?, ?, ?, ?, ?) ON CONFLICT (take_id, start_s, end_s) "
            "DO UPDATE SET label = excluded.label, together = excluded.together",
            (take_id, label.start_s, label.end_s, label.label, label.group),
        )
        db.execute(
            "UPDATE calls SET label = ? WHERE label_id = (SELECT id FROM labels "
            "WHERE take_id = ? AND start_s = ? AND end_s = ?)",
            (label.label, take_id, label.start_s, label.end_s),
        )

    def put_measured(self, measured: Iterable[tuple[Label, Call]]) -> None:
        """Store what was measured of the sound under labels where nothing had been found.

        Such calls come back with `by_hand` set, the label's name and confidence 1; they go with
        their label.

        Parameters
        ----------
        measured : iterable of tuple of Label and Call
            The label, and the measurements of its stretch.

        Raises
        ------
        LogError
            If the log cannot be written.
        """
        with self._writing() as db:
            for label, call in measured:
                row = db.execute(
                    "SELECT labels.id, take_id FROM labels JOIN takes ON takes.id = take_id "
                    "WHERE path = ? AND start_s = ? AND end_s = ?",
                    (label.take, label.start_s, label.end_s),
                ).fetchone()
                if row is not None:
                    label_id, take_id = row
                    db.execute("DELETE FROM calls WHERE label_id = ?", (label_id,))
                    _insert_calls(db, take_id, [call], label=label.label, label_id=label_id)

    def unmeasured_noise(self, path: str) -> list[NoiseSpan]:
        """Return the noise of a take of which no excerpt was measured.

        Parameters
        ----------
        path : str
            The take.

        Returns
        -------
        list of NoiseSpan
            In order of start.
        """
        rows = self._read(
            f"SELECT {NOISE_COLUMNS} FROM noise WHERE features IS NULL AND "
            "take_id = (SELECT id FROM takes WHERE path = ?) ORDER BY start_s, end_s",
            (path,),
        )
        return [noise_of(row) for row in rows]

    def put_measured_noise(
        self, path: str, measured: Iterable[tuple[NoiseSpan, FloatArray]]
    ) -> None:
        """Store what was measured of excerpts of noise; the take is to be named again.

        Parameters
        ----------
        path : str
            The take.
        measured : iterable of tuple of NoiseSpan and np.ndarray
            The noise as `unmeasured_noise` gave it, and its features, shape (n_features,).

        Raises
        ------
        LogError
            If the log cannot be written.
        """
        with self._writing() as db:
            db.executemany(
                "UPDATE noise SET features = ? WHERE kind = ? AND start_s = ? AND end_s = ? AND "
                "take_id = (SELECT id FROM takes WHERE path = ?)",
                [
                    (pack_features(features), span.kind, span.start_s, span.end_s, path)
                    for span, features in measured
                ],
            )
            db.execute("UPDATE takes SET model = NULL WHERE path = ?", (path,))

    # Takes that heard the same moment

    def alignments(self) -> list[Alignment]:
        """Return how takes lie against each other, in order of their paths.

        Returns
        -------
        list of Alignment
            One for each pair of takes that was lined up.
        """
        rows = self._read(
            "SELECT a.path, b.path, offset_s, drift_ppm, confidence, overlap_s FROM alignments "
            "JOIN takes a ON a.id = a_id JOIN takes b ON b.id = b_id ORDER BY a.path, b.path"
        )
        return [
            Alignment(
                take_a=take_a,
                take_b=take_b,
                offset_s=offset_s,
                drift_ppm=drift_ppm,
                confidence=confidence,
                overlap_s=overlap_s,
            )
            for take_a, take_b, offset_s, drift_ppm, confidence, overlap_s in rows
        ]

    def put_alignment(self, alignment: Alignment) -> None:
        """Store how two takes lie against each other, in place of what was known of the pair.

        Parameters
        ----------
        alignment : Alignment
            Its takes have to be in the log.

        Raises
        ------
        LogError
            If a take is not in the log, or the log cannot be written.
        """
        pair = (alignment.take_a, alignment.take_b)
        with self._writing() as db:
            ids = [self._take_id(db, path) for path in pair]
            _forget_pair(db, *pair)
            db.execute(
                "INSERT INTO alignments (a_id, b_id, offset_s, drift_ppm, confidence, overlap_s) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                (
                    *ids,
                    alignment.offset_s,
                    alignment.drift_ppm,
                    alignment.confidence,
                    alignment.overlap_s,
                ),
            )

    def remove_alignment(self, take_a: str, take_b: str) -> None:
        """Forget how two takes lie against each other.

        Parameters
        ----------
        take_a, take_b : str
            Paths of the takes, in any order.

        Raises
        ------
        LogError
            If the log cannot be written.
        """
        with self._writing() as db:
            _forget_pair(db, take_a, take_b)

    # Call types

    def give_types(
        self,
        tag: Callable[[FloatArray], Iterable[tuple[str, float]]],
        *,
        feature_version: int,
        model: str,
    ) -> int:
        """Give all found calls, and measured noise, the labels a model hears in their measurements.

        Parameters
        ----------
        tag : callable
            Takes measurements, shape (n, n_features), and returns n labels with their confidence.
        feature_version : int
            Takes with measurements of another version are left as they are.
        model : str
            Name of the model, kept with the takes.

        Returns
        -------
        int
            How many calls were looked at.

        Raises
        ------
        LogError
            If the log cannot be written.
        """
        # One transaction, so that a take which another process logs meanwhile is not passed over.
        with self._writing() as db:
            calls = _tagged(db, tag, "calls", "label_id IS NULL", feature_version)
            db.executemany("UPDATE calls SET label = ?, confidence = ? WHERE rowid = ?", calls)
            noise = _tagged(db, tag, "noise", "TRUE", feature_version)
            db.executemany(
                "UPDATE noise SET taught = ? WHERE rowid = ?",
                [(label, key) for label, _, key in noise],
            )
            db.execute(
                "UPDATE takes SET model = ? WHERE feature_version = ?", (model, feature_version)
            )
        return len(calls)

    def _take_id(self, db: sqlite3.Connection, path: str) -> int:
        row = db.execute("SELECT id FROM takes WHERE path = ?", (path,)).fetchone()
        if row is None:
            raise self._no_take(path)
        return int(row[0])

    def _no_take(self, path: str) -> LogError:
        return LogError(
            f"{path}: no such take in {self.path.name}; `calltag takes` lists their names"
        )


def _has_take(db: sqlite3.Connection, path: str) -> bool:
    return db.execute("SELECT 1 FROM takes WHERE path = ?", (path,)).fetchone() is not None


def _tagged(
    db: sqlite3.Connection,
    tag: Callable[[FloatArray], Iterable[tuple[str, float]]],
    table: str,
    where: str,
    feature_version: int,
) -> list[tuple[str, float, int]]:
    """Labels of what was measured, their confidence, and the rows they are for."""
    rows = db.execute(
        f"SELECT {table}.rowid, features FROM {table} JOIN takes ON takes.id = take_id "
        f"WHERE {where} AND features IS NOT NULL AND feature_version = ?",
        (feature_version,),
    ).fetchall()
    if not rows:
        return []
    tags = tag(np.stack([unpack_features(blob) for _, blob in rows]))
    return [
        (label, float(confidence), key)
        for (label, confidence), (key, _) in zip(tags, rows, strict=True)
    ]


def _forget_pair(db: sqlite3.Connection, one: str, other: str) -> None:
    for pair in ((one, other), (other, one)):
        db.execute(
            "DELETE FROM alignments WHERE a_id = (SELECT id FROM takes WHERE path = ?) "
            "AND b_id = (SELECT id FROM takes WHERE path = ?)",
            pair,
        )


def _remove_labels(db: sqlite3.Connection, labels: Iterable[Label]) -> None:
    db.executemany(
        "DELETE FROM labels WHERE start_s = ? AND end_s = ? "
        "AND take_id = (SELECT id FROM takes WHERE path = ?)",
        [(label.start_s, label.end_s, label.take) for label in labels],
    )


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
    begun = (old.start_tc, old.time_reference, old.recorded)
    other_length = not old.has_length_of(take_log.take)
    if not is_another(db, old.id, begun, take_log, other_length=other_length):
        return None
    earlier = earlier_name(take_log.take.path, lambda name: _has_take(db, name))
    db.execute("UPDATE takes SET path = ? WHERE id = ?", (earlier, old.id))
    return earlier


_LOGGED_COLUMNS = f"{TAKE_COLUMNS}, feature_version, model, logged_at"


def _logged_row(take: Take, feature_version: int) -> list[object]:
    return [*take_row(take), feature_version, None, datetime.now(UTC).isoformat(" ", "seconds")]


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


def _insert_calls(
    db: sqlite3.Connection,
    take_id: int | None,
    calls: Iterable[Call],
    *,
    label: str | None = None,
    label_id: int | None = None,
) -> None:
    columns = f"take_id, label_id, {CALL_COLUMNS}"
    db.executemany(
        f"INSERT INTO calls ({columns}) VALUES ({marks(columns)})",
        [[take_id, label_id, *call_row(call, label)] for call in calls],
    )
