"""An SQLite file of ours: opened, checked, brought up to date; its errors told in one sentence.

The file is in WAL mode [1]_: one process may write while others read. What is in it is the business
of who opens it, `calltag.log` or `calltag.library.catalogue.catalogue`.

References
----------
.. [1] SQLite, "Write-Ahead Logging", sqlite.org/wal.html.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any, Self
from urllib.parse import quote

from calltag.errors import CalltagError, reason_of, says_gone
from calltag.own_files import WAL_SUFFIX
from calltag.paths import is_file, is_folder

BUSY_TIMEOUT_S = 30.0
"""How long to wait for another process that is writing."""

_MAY_BE_LOCKED = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY)

Migration = Callable[[sqlite3.Connection], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of file, and how its errors are worded.

    Attributes
    ----------
    name : str
        What the user calls it, as in "this log".
    error : type of CalltagError
        What is raised.
    application_id : int
        Marks the file as ours in SQLite's header.
    elsewhere : str
        What to do where the file is another program's.
    mend : str
        What to do where it is damaged.
    """

    name: str
    error: type[CalltagError]
    application_id: int
    elsewhere: str
    mend: str


class Database:
    """An open SQLite file of ours.

    Parameters
    ----------
    path : Path
        The file; begun anew where there is none.
    kind : Kind
        What it is.
    migrations : sequence of callable
        Steps from each schema version to the next, each given the connection.
    busy_timeout_s : float
        How long to wait for another process that is writing.

    Raises
    ------
    CalltagError
        The kind's error, if the file is not ours, is damaged, cannot be opened, or was written by a
        newer version of calltag.
    """

    def __init__(
        self,
        path: Path,
        kind: Kind,
        migrations: Sequence[Migration],
        *,
        busy_timeout_s: float = BUSY_TIMEOUT_S,
    ) -> None:
        self.path = path
        self._kind = kind
        refuse_locked(path, kind)
        if not is_folder(path.parent):
            raise kind.error(f"{path}: the folder {path.parent} does not exist; make it first")
        try:
            self._open(path, migrations, busy_timeout_s)
        except kind.error as error:
            if _code(error.__cause__) not in _MAY_BE_LOCKED or not self._is_settled():
                raise
            # The disk may be kept for archive. SQLite cannot make its files beside this one there,
            # and reads it all the same once it is told that nobody writes.
            self._open(f"{uri_of(path.absolute())}?immutable=1", migrations, busy_timeout_s)

    def _open(
        self, place: Path | str, migrations: Sequence[Migration], busy_timeout_s: float
    ) -> None:
        with self._told():
            self._db = sqlite3.connect(
                place, timeout=busy_timeout_s, isolation_level=None, uri=isinstance(place, str)
            )
        try:
            with self._told():
                self._prepare(migrations)
        except BaseException:
            self._db.close()
            raise

    def close(self) -> None:
        """Close the file; the object is of no use afterwards."""
        self._db.close()

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Write in one transaction: all of it is stored, or, after an error, nothing.

        Yields
        ------
        sqlite3.Connection
            The connection, inside the transaction.

        Raises
        ------
        CalltagError
            The kind's error, if the file cannot be written.
        """
        with self._told():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:  # a full disk has ended it already
                    self._db.execute("ROLLBACK")
                raise

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Read the file as it was at one moment, whoever writes to it meanwhile.

        Raises
        ------
        CalltagError
            The kind's error, if the file cannot be read.
        """
        with self._told():
            self._db.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")

    def check_writable(self) -> None:
        """Make sure that the file can be written, before the work that goes into it.

        Raises
        ------
        CalltagError
            The kind's error, if it cannot.
        """
        with self.writing() as db:
            (version,) = db.execute("PRAGMA user_version").fetchone()
            db.execute(f"PRAGMA user_version = {version}")

    def read(self, query: str, values: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        """Ask for rows.

        Parameters
        ----------
        query : str
            An SQL query.
        values : sequence
            What its question marks stand for.

        Returns
        -------
        list of tuple
            All rows.

        Raises
        ------
        CalltagError
            The kind's error, if the file cannot be read.
        """
        with self._told():
            return self._db.execute(query, values).fetchall()

    def add_function(
        self, name: str, function: Callable[..., int | float | str | None], n_values: int
    ) -> None:
        """Let questions call a function.

        Parameters
        ----------
        name : str
            What they call it.
        function : callable
            Gives the same for the same values; NULL is None to it.
        n_values : int
            How many values it takes.
        """
        self._db.create_function(name, n_values, function, deterministic=True)

    def _is_settled(self) -> bool:
        """Tell whether all is in the file, and nothing beside it that a killed writer left."""
        beside = self.path.with_name(f"{self.path.name}{WAL_SUFFIX}")
        return is_file(self.path) and not (beside.is_file() and beside.stat().st_size)

    def _prepare(self, migrations: Sequence[Migration]) -> None:
        self._db.execute("PRAGMA foreign_keys = ON")
        newest = len(migrations)
        with self.reading():
            version = self._checked_version(newest)
        if version < newest:
            with self.writing() as db:
                # Looked at again, now alone: two processes may open a new file at the same time.
                for step in migrations[self._checked_version(newest) :]:
                    step(db)
                db.execute(f"PRAGMA application_id = {self._kind.application_id}")
                db.execute(f"PRAGMA user_version = {newest}")
        with suppress(sqlite3.OperationalError):  # busy, or a disk that cannot: works without, too
            self._db.execute("PRAGMA journal_mode = WAL")

    def _checked_version(self, newest: int) -> int:
        """Tell how new the file is; call it within a transaction, as it asks more than once."""
        kind = self._kind
        (version,) = self._db.execute("PRAGMA user_version").fetchone()
        (mark,) = self._db.execute("PRAGMA application_id").fetchone()
        (tables,) = self._db.execute("SELECT count(*) FROM sqlite_master").fetchone()
        if mark != kind.application_id and (mark or tables):
            raise kind.error(f"{self.path}: this is another program's file; {kind.elsewhere}")
        if version > newest:
            raise kind.error(
                f"{self.path}: this {kind.name} was written by a newer calltag "
                f"({kind.name} version {version}, this one knows {newest}); update calltag"
            )
        return int(version)

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Turn SQLite's errors into one sentence for the user."""
        try:
            yield
        except (sqlite3.ProgrammingError, sqlite3.IntegrityError):  # defects of ours
            raise
        except sqlite3.DatabaseError as error:
            raise self._kind.error(f"{self.path}: {self._reason(error)}") from error

    def _reason(self, error: sqlite3.DatabaseError) -> str:
        name, kind = self._kind.name, self._kind
        full = "the disk is full; make room and start again"
        if getattr(error, "sqlite_errorcode", 0) == sqlite3.SQLITE_IOERR_SHMSIZE:
            return full  # to read alone it makes a file beside this one, and asks room for it
        return {
            sqlite3.SQLITE_NOTADB: f"this is not a {name} of calltag; {kind.elsewhere}",
            sqlite3.SQLITE_CORRUPT: f"this {name} is damaged; {kind.mend}",
            # SQLite says the same of a disk without file locking, as some shares are.
            sqlite3.SQLITE_BUSY: f"another program is writing to this {name}; try again when it is "
            "done (where none is, its disk cannot lock files: keep it on one of this computer)",
            sqlite3.SQLITE_READONLY: f"this {name} may not be written to; copy it to a folder of "
            "yours",
            sqlite3.SQLITE_CANTOPEN: f"this {name} cannot be opened; check that it is a file you "
            "may write to, in a folder you may write to",
            sqlite3.SQLITE_FULL: full,
            sqlite3.SQLITE_IOERR: "the disk does not answer; check it and start again",
        }.get(_code(error), f"this {name} cannot be used ({error})")


def refuse_locked(path: Path, kind: Kind) -> None:
    """Tell of a file that lies where the user may not look, as in a folder of somebody else.

    Parameters
    ----------
    path : Path
        The file.
    kind : Kind
        What it is.

    Raises
    ------
    CalltagError
        The kind's error, if nobody can say whether there is such a file.
    """
    try:
        path.stat()
    except PermissionError as error:
        if not says_gone(error):
            raise kind.error(
                f"{path}: this {kind.name} cannot be reached ({reason_of(error)}); check that you"
                " may enter its folder"
            ) from error
    except (OSError, ValueError):
        pass  # there is none, as is told elsewhere


def uri_of(path: PurePath) -> str:
    """Write a path as SQLite's URI.

    Parameters
    ----------
    path : PurePath
        An absolute path.

    Returns
    -------
    str
        Its URI, with no host in it: that of a share of Windows has four slashes, not a name that
        SQLite would take for another computer's.

    Examples
    --------
    >>> from pathlib import PureWindowsPath
    >>> uri_of(PureWindowsPath("//nas/rushes/calltag.db"))
    'file:////nas/rushes/calltag.db'
    """
    address = quote(os.fsencode(path.as_posix()), safe="/:")
    return f"file://{address}" if address.startswith("/") else f"file:///{address}"


def is_damage(error: CalltagError) -> bool:
    """Tell whether a file could not be used because it is damaged, or is no database at all.

    Parameters
    ----------
    error : CalltagError
        What a `Database` raised.

    Returns
    -------
    bool
        Whether SQLite said so; False where the file only cannot be reached, or is another's.
    """
    return _code(error.__cause__) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def _code(error: BaseException | None) -> int:
    """SQLite's own number for what went wrong, without the details; 0 for anything else."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


class Closing:
    """What has an open file of ours and closes it; a context manager."""

    _database: Database

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; the object is of no use afterwards."""
        self._database.close()
