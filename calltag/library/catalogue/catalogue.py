"""The catalogue of a call library: an SQLite file with full text, made of what the files say.

The files are the library; the catalogue only finds them fast. It knows them by their path below the
library's folder, so that the folder may be moved or copied as a whole; `calltag.library.rebuild`
makes it anew from the files alone. Two processes may use it at once. An open catalogue belongs to
the thread that opened it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from calltag.database import Database, Kind, refuse_locked
from calltag.errors import LibraryError, reason_of
from calltag.learn.labels.sameness import in_one_band
from calltag.library.catalogue.kept_rows import insert_rows, key_of, remove_rows
from calltag.library.catalogue.measured import MeasuredQueries
from calltag.library.catalogue.schema import MIGRATIONS
from calltag.library.kept_file.sound_file import sound_files
from calltag.library.kept_file.story import Story, from_plain
from calltag.own_files import CATALOGUE_ID, CATALOGUE_NAME
from calltag.paths import is_file, is_folder

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
_CACHE_KB = 65_536


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


class Catalogue(MeasuredQueries):
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
        self._database.add_function("in_one_band", in_one_band, 4)
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
                key = key_of(db, path)
                if key is not None:
                    remove_rows(db, key)
                insert_rows(db, key, path, story, size_bytes, file_hash)

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
                key = key_of(db, path)
                if key is not None:
                    remove_rows(db, key)

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

        Raises
        ------
        LibraryError
            If the catalogue cannot be read.
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

        Raises
        ------
        LibraryError
            If the catalogue cannot be read, or what it holds of a call is damaged.
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
