"""The catalogue of a call library: an SQLite file with full text, made of what the files say.

The files are the library; the catalogue only finds them fast. It knows them by their path below the
library's folder, so that the folder may be moved or copied as a whole; `calltag.library.rebuild`
makes it anew from the files alone. Two processes may use it at once. An open catalogue belongs to
the thread that opened it.
"""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path, PurePosixPath

import numpy as np

from calltag.arrays import FloatArray
from calltag.database import Closing, Database, Kind, refuse_locked
from calltag.errors import InputError, LibraryError, reason_of
from calltag.files import is_file, is_folder
from calltag.learn.labels import species_of
from calltag.learn.sameness import in_one_band
from calltag.library.schema import MIGRATIONS, WORDS
from calltag.library.sound_file import sound_files
from calltag.library.story import Story, from_plain, to_plain
from calltag.media.timecode import frame_to_seconds, parse_timecode
from calltag.own_files import CATALOGUE_ID, CATALOGUE_NAME
from calltag.records.span import Span
from calltag.stored import pack_features, unpack_features

NAME = CATALOGUE_NAME
"""The catalogue's file, in the library's folder."""

_KIND = Kind(
    name="catalogue",
    error=LibraryError,
    application_id=CATALOGUE_ID,
    elsewhere="name the folder of your call library with --library",
    mend="`calltag library rebuild` makes it anew from the files",
)

_UNFINISHED = "rebuilding"
_DATED = re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])(?![0-9])")
_CACHE_KB = 65_536
_AT_ONCE = 5000  # rows of measurements that are held in memory
_HALF = np.dtype("<f2")  # likeness to a thousandth, in half the room


@dataclass(frozen=True, slots=True)
class Kept:
    """A kept call, as the catalogue knows it.

    Attributes
    ----------
    key : int
        Its number in this catalogue; another one after a rebuild.
    path : str
        Where its file lies below the library's folder, with ``/`` between its parts.
    file : Path
        The same file, from the working folder: its sound, with its handles.
    size_bytes : int
        Size of the file.
    file_hash : str
        SHA-256 of the whole file, when it was taken in.
    story : Story
        Its story, without the measurements.
    """

    key: int
    path: str
    file: Path
    size_bytes: int
    file_hash: str
    story: Story

    @property
    def short_id(self) -> str:
        """The first letters of its id, enough to name it by."""
        return self.story.id[:8]


class Catalogue(Closing):
    """The catalogue of a call library, open for reading and writing; a context manager.

    Parameters
    ----------
    folder : Path
        The library's folder.
    create : bool
        Whether to begin a library where there is none.

    Raises
    ------
    LibraryError
        If there is none and `create` is false, or if the catalogue cannot be used.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> with Catalogue(Path(folder.name) / "calls", create=True) as catalogue:
    ...     catalogue.count()
    0
    >>> folder.cleanup()
    """

    def __init__(self, folder: Path, *, create: bool = False) -> None:
        self.folder = folder
        path = folder / NAME
        if not create and not is_file(path):
            refuse_locked(path, _KIND)
            raise LibraryError(_missing(folder))
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise LibraryError(
                f"{folder}: no call library can be kept there ({reason_of(error)}); name another "
                "folder with --library"
            ) from None
        self._database = Database(path, _KIND, MIGRATIONS)
        self._database.add_function(in_one_band, 4)
        self.read = self._database.read
        self.read(f"PRAGMA cache_size = -{_CACHE_KB}")

    def count(self) -> int:
        """Count the kept calls.

        Returns
        -------
        int
            How many files the catalogue knows.
        """
        return int(self.read("SELECT count(*) FROM cuts")[0][0])

    def put(self, entries: Iterable[tuple[str, Story, int, str]]) -> None:
        """Take files in, in place of what was known of the same paths; all in one transaction.

        Parameters
        ----------
        entries : iterable of tuple of str, Story, int and str
            Path below the folder, story, size of the file in bytes, and its SHA-256.

        Raises
        ------
        LibraryError
            If the catalogue cannot be written.
        """
        with self._database.writing() as db:
            for path, story, size_bytes, file_hash in entries:
                old = db.execute("SELECT id FROM cuts WHERE path = ?", (path,)).fetchone()
                if old is not None:
                    _remove(db, old[0])
                _insert(db, None if old is None else old[0], path, story, size_bytes, file_hash)

    def remove(self, paths: Iterable[str]) -> None:
        """Take files out of the catalogue; the files themselves are left alone.

        Parameters
        ----------
        paths : iterable of str
            Paths below the folder; unknown ones are passed over.

        Raises
        ------
        LibraryError
            If the catalogue cannot be written.
        """
        with self._database.writing() as db:
            for path in paths:
                row = db.execute("SELECT id FROM cuts WHERE path = ?", (path,)).fetchone()
                if row is not None:
                    _remove(db, row[0])

    def paths(self) -> list[str]:
        """Return the paths of all files.

        Returns
        -------
        list of str
            In alphabetical order.
        """
        return [path for (path,) in self.read("SELECT path FROM cuts ORDER BY path")]

    def all_kept(self) -> Iterator[Kept]:
        """Yield all kept calls, in order of their paths.

        Yields
        ------
        Kept
            A kept call.
        """
        for path in self.paths():
            yield from self.kept_where("cuts.path = ?", [path])

    def kept_where(
        self, condition: str, values: Sequence[object] = (), *, order_by: str = "cuts.path"
    ) -> list[Kept]:
        """Return the kept calls that meet a condition of SQL.

        Parameters
        ----------
        condition : str
            What stands after ``WHERE``.
        values : sequence
            What its question marks stand for.
        order_by : str
            What stands after ``ORDER BY``; their paths unless given.

        Returns
        -------
        list of Kept
            In that order.
        """
        rows = self.read(
            "SELECT cuts.id, cuts.path, stories.size_bytes, stories.file_hash, "
            "CAST(stories.story AS BLOB) "  # as it may be no text any more
            "FROM cuts JOIN stories ON stories.cut = cuts.id "
            f"WHERE {condition} ORDER BY {order_by}",
            values,
        )
        return [
            Kept(
                key=key,
                path=path,
                file=self.folder / PurePosixPath(path),
                size_bytes=size_bytes,
                file_hash=file_hash,
                story=self._story(path, story),
            )
            for key, path, size_bytes, file_hash, story in rows
        ]

    def _story(self, path: str, text: bytes) -> Story:
        try:
            return from_plain(json.loads(text))
        except (ValueError, TypeError, AttributeError, RecursionError) as error:
            raise LibraryError(
                f"{self.folder / NAME}: what it holds of {path} is damaged; {_KIND.mend}"
            ) from error

    def holds(self, key: int, cut_id: str) -> bool:
        """Tell whether a call is kept under a key still.

        Parameters
        ----------
        key : int
            `Kept.key`.
        cut_id : str
            Its story's id.

        Returns
        -------
        bool
            Whether it is; where a catalogue was made anew, another call may have that key.
        """
        return bool(self.read("SELECT 1 FROM cuts WHERE id = ? AND cut_id = ?", (key, cut_id)))

    def features_of(self, key: int) -> tuple[int, FloatArray] | None:
        """Return the measurements of a kept call.

        Parameters
        ----------
        key : int
            `Kept.key`.

        Returns
        -------
        tuple of int and np.ndarray of shape (n_features,), or None
            Their version and the measurements; None where there are none.
        """
        rows = self.read("SELECT version, vector FROM features WHERE cut = ?", (key,))
        return (rows[0][0], unpack_features(rows[0][1])) if rows else None

    def put_features(self, key: int, version: int, vector: FloatArray) -> None:
        """Store measurements of a kept call, in place of others.

        Parameters
        ----------
        key : int
            `Kept.key`.
        version : int
            Their version.
        vector : np.ndarray, shape (n_features,)
            The measurements.

        Raises
        ------
        LibraryError
            If the catalogue cannot be written.
        """
        with self._database.writing() as db:
            db.execute(
                "INSERT OR REPLACE INTO features (cut, version, vector) "
                "SELECT id, ?, ? FROM cuts WHERE id = ?",
                (version, pack_features(vector), key),
            )
            db.execute("DELETE FROM vectors WHERE cut = ?", (key,))

    def features_without_vector(
        self, version: int, placed: int, *, after: int = 0
    ) -> list[tuple[int, FloatArray]]:
        """Return the measurements of kept calls that have no vector of a version yet.

        Parameters
        ----------
        version : int
            Version of the measurements.
        placed : int
            Version of the vectors.
        after : int
            Only calls whose `Kept.key` is above this.

        Returns
        -------
        list of tuple of int and np.ndarray of shape (n_features,)
            `Kept.key` of each, in order, and the measurements; of the first `_AT_ONCE`.
        """
        rows = self.read(
            "SELECT cut, vector FROM features WHERE version = ? AND cut > ? AND NOT EXISTS "
            "(SELECT 1 FROM vectors WHERE vectors.cut = features.cut AND version = ?) "
            "ORDER BY cut LIMIT ?",
            (version, after, placed, _AT_ONCE),
        )
        return [(key, unpack_features(blob)) for key, blob in rows]

    def put_vectors(self, version: int, vectors: Iterable[tuple[int, FloatArray]]) -> None:
        """Store what kept calls are compared by.

        Parameters
        ----------
        version : int
            Version of the vectors.
        vectors : iterable of tuple of int and np.ndarray of shape (n_directions,)
            `Kept.key` of each, and its vector; of calls that are gone meanwhile, nothing is stored.

        Raises
        ------
        LibraryError
            If the catalogue cannot be written.
        """
        with self._database.writing() as db:
            db.executemany(
                "INSERT OR REPLACE INTO vectors (cut, version, vector) "
                "SELECT id, ?, ? FROM cuts WHERE id = ?",
                ((version, vector.astype(_HALF).tobytes(), key) for key, vector in vectors),
            )

    def all_vectors(self, version: int) -> tuple[list[int], FloatArray]:
        """Return what all kept calls are compared by.

        Parameters
        ----------
        version : int
            Version of the vectors.

        Returns
        -------
        keys : list of int
            `Kept.key` of each.
        vectors : np.ndarray, shape (n, n_directions), float32
            One row for each.
        """
        rows = self.read("SELECT cut, vector FROM vectors WHERE version = ?", (version,))
        if not rows:
            return [], np.zeros((0, 0), np.float32)
        keys, blobs = zip(*rows, strict=True)
        halves = np.frombuffer(b"".join(blobs), _HALF)
        return list(keys), halves.astype(np.float32).reshape(len(keys), -1)

    def put_company(
        self, digest: str, version: int, finds: Iterable[tuple[Span, FloatArray]]
    ) -> None:
        """Store what else was found in a take, in place of what was known of that.

        Parameters
        ----------
        digest : str
            Identity of the take's content.
        version : int
            Version of the measurements.
        finds : iterable of tuple of Span and np.ndarray of shape (n_features,)
            Where each lies in the take, and its measurements.

        Raises
        ------
        LibraryError
            If the catalogue cannot be written.
        """
        with self._database.writing() as db:
            db.execute("DELETE FROM company WHERE digest = ?", (digest,))
            db.executemany(
                "INSERT OR REPLACE INTO company VALUES (?, ?, ?, ?, ?)",
                ((digest, *span, version, pack_features(vector)) for span, vector in finds),
            )

    def company(self, version: int) -> list[tuple[str, Span, FloatArray]]:
        """Return what else was found in the takes that calls were kept of.

        Parameters
        ----------
        version : int
            Version of the measurements.

        Returns
        -------
        list of tuple of str, Span and np.ndarray of shape (n_features,)
            Identity of the take's content, where in it, and measurements.
        """
        rows = self.read(
            "SELECT digest, start_s, end_s, vector FROM company WHERE version = ? AND digest IN "
            "(SELECT take_digest FROM cuts) ORDER BY digest, start_s, end_s",
            (version,),
        )
        return [
            (digest, Span(start_s, end_s), unpack_features(vector))
            for digest, start_s, end_s, vector in rows
        ]

    @property
    def unfinished(self) -> bool:
        """Whether a rebuild was begun and not finished: files may be missing from the catalogue."""
        return bool(self.read("SELECT 1 FROM notes WHERE name = ?", (_UNFINISHED,)))

    def set_unfinished(self, unfinished: bool) -> None:
        """Note that a rebuild has begun, or is finished.

        Parameters
        ----------
        unfinished : bool
            Whether it goes on.

        Raises
        ------
        LibraryError
            If the catalogue cannot be written.
        """
        with self._database.writing() as db:
            db.execute("DELETE FROM notes WHERE name = ?", (_UNFINISHED,))
            if unfinished:
                db.execute("INSERT INTO notes VALUES (?, '')", (_UNFINISHED,))


def _missing(folder: Path) -> str:
    if is_folder(folder) and next(sound_files(folder), None) is not None:
        return (
            f"{folder}: there is no catalogue here; `calltag library rebuild` makes one from the "
            "files, or name another folder with --library"
        )
    return (
        f"{folder}: there is no call library here; `calltag keep` begins one, or name another "
        "folder with --library"
    )


def _remove(db: sqlite3.Connection, key: int) -> None:
    db.execute("DELETE FROM words WHERE rowid = ?", (key,))
    db.execute("DELETE FROM cuts WHERE id = ?", (key,))


def _insert(
    db: sqlite3.Connection,
    key: int | None,
    path: str,
    story: Story,
    size_bytes: int,
    file_hash: str,
) -> None:
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
