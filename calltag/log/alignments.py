"""How takes that heard the same moment lie against each other."""

from __future__ import annotations

import sqlite3

from calltag.log.queries import Queries
from calltag.records.alignment import Alignment
from calltag.spelling import name_order


class AlignmentQueries(Queries):
    """How takes lie against each other, by pair of takes."""

    def alignments(self) -> list[Alignment]:
        """Return how takes lie against each other, in order of their paths.

        Returns
        -------
        list of Alignment
            One for each pair of takes that was lined up.
        """
        rows = self._read(
            "SELECT a.path, b.path, offset_s, drift_ppm, confidence, overlap_s FROM alignments "
            "JOIN takes a ON a.id = a_id JOIN takes b ON b.id = b_id"
        )
        alignments = [
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
        return sorted(alignments, key=lambda one: (name_order(one.take_a), name_order(one.take_b)))

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


def _forget_pair(db: sqlite3.Connection, one: str, other: str) -> None:
    for pair in ((one, other), (other, one)):
        db.execute(
            "DELETE FROM alignments WHERE a_id = (SELECT id FROM takes WHERE path = ?) "
            "AND b_id = (SELECT id FROM takes WHERE path = ?)",
            pair,
        )
