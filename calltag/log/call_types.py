"""The names that a taught model gives to calls and noise, and the measurements it needs."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.log._rows import NOISE_COLUMNS, noise_of
from calltag.log.queries import Queries
from calltag.records.found import NoiseSpan
from calltag.stored import pack_features, unpack_features

Tagging: TypeAlias = Callable[[FloatArray, npt.NDArray[np.int64]], Iterable[tuple[str, float]]]
"""Gives labels, with their confidence, to measurements and to what belongs together of them."""


class CallTypeQueries(Queries):
    """Names of calls and noise by a taught model."""

    def give_types(
        self,
        tag: Tagging,
        *,
        feature_version: int,
        model: str,
    ) -> int:
        """Give all found calls, and measured noise, the labels a model hears in their measurements.

        Parameters
        ----------
        tag : callable
            Takes measurements, shape (n, n_features), and what belongs together, shape (n,): calls
            of one take do, excerpts of noise do not. Returns n labels with their confidence.
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
            calls = _tagged(
                db, tag, "calls", "label_id IS NULL", feature_version, together="take_id"
            )
            db.executemany("UPDATE calls SET label = ?, confidence = ? WHERE rowid = ?", calls)
            noise = _tagged(db, tag, "noise", "TRUE", feature_version, together="noise.rowid")
            db.executemany(
                "UPDATE noise SET taught = ? WHERE rowid = ?",
                [(label, key) for label, _, key in noise],
            )
            db.execute(
                "UPDATE takes SET model = ? WHERE feature_version = ?", (model, feature_version)
            )
        return len(calls)

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


def _tagged(
    db: sqlite3.Connection,
    tag: Tagging,
    table: str,
    where: str,
    feature_version: int,
    *,
    together: str,
) -> list[tuple[str, float, int]]:
    """Labels of what was measured, their confidence, and the rows they are for."""
    rows = db.execute(
        f"SELECT {table}.rowid, {together}, features "
        f"FROM {table} JOIN takes ON takes.id = take_id "
        f"WHERE {where} AND features IS NOT NULL AND feature_version = ?",
        (feature_version,),
    ).fetchall()
    if not rows:
        return []
    keys, belong, blobs = zip(*rows, strict=True)
    tags = tag(np.stack([unpack_features(blob) for blob in blobs]), np.array(belong))
    return [
        (label, float(confidence), key) for (label, confidence), key in zip(tags, keys, strict=True)
    ]
