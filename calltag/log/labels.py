"""The user's labels, and what was measured of the sound under them."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterable

from calltag.log.queries import Queries, insert_calls
from calltag.records.found import Call
from calltag.records.label import Label
from calltag.spelling import name_order


class LabelQueries(Queries):
    """The user's labels, by take and stretch."""

    def labels(self) -> list[Label]:
        """Return the user's labels, in order of take and start.

        Returns
        -------
        list of Label
            All labels of takes in the log.
        """
        rows = self._read(
            "SELECT path, start_s, end_s, label, together FROM labels "
            "JOIN takes ON takes.id = take_id ORDER BY start_s, end_s"
        )
        labels = [
            Label(take=path, start_s=start_s, end_s=end_s, label=label, group=group)
            for path, start_s, end_s, label, group in rows
        ]
        return sorted(labels, key=lambda label: name_order(label.take))

    def labels_by_take(self) -> dict[str, list[Label]]:
        """Return the user's labels by take.

        Returns
        -------
        dict of str to list of Label
            Labels by the path of their take, in order of start.
        """
        by_take: dict[str, list[Label]] = defaultdict(list)
        for label in self.labels():
            by_take[label.take].append(label)
        return dict(by_take)

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
                    insert_calls(db, take_id, [call], label=label.label, label_id=label_id)


def _remove_labels(db: sqlite3.Connection, labels: Iterable[Label]) -> None:
    db.executemany(
        "DELETE FROM labels WHERE start_s = ? AND end_s = ? "
        "AND take_id = (SELECT id FROM takes WHERE path = ?)",
        [(label.start_s, label.end_s, label.take) for label in labels],
    )
