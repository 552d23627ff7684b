"""What the catalogue holds of measurements: of kept calls, and of what was found beside them."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from calltag.arrays import FloatArray
from calltag.database import Closing
from calltag.records.span import Span
from calltag.stored import pack_features, unpack_features

_AT_ONCE = 5000  # rows of measurements that are held in memory
_HALF = np.dtype("<f2")  # likeness to a thousandth, in half the room


class MeasuredQueries(Closing):
    """Measurements of kept calls, vectors made of them, and what else was found beside the calls.

    `calltag.library.catalogue.catalogue.Catalogue` has them, and names a kept call by its
    `Kept.key`.
    """

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
        rows = self._database.read("SELECT version, vector FROM features WHERE cut = ?", (key,))
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
        rows = self._database.read(
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
        rows = self._database.read("SELECT cut, vector FROM vectors WHERE version = ?", (version,))
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
        rows = self._database.read(
            "SELECT digest, start_s, end_s, vector FROM company WHERE version = ? AND digest IN "
            "(SELECT take_digest FROM cuts) ORDER BY digest, start_s, end_s",
            (version,),
        )
        return [
            (digest, Span(start_s, end_s), unpack_features(vector))
            for digest, start_s, end_s, vector in rows
        ]
