"""The log as the user wants to see it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calltag.log import Log
    from calltag.records.alignment import Alignment
    from calltag.records.found import TakeLog


def read_takes(log: Log, *, features: bool = False) -> Iterator[TakeLog]:
    """Yield all takes of a log, in order, with the user's labels laid over what was found.

    A take whose file is away has the place of a copy of it.
    """
    from calltag.learn.labels.by_hand import with_labels
    from calltag.media.copies import at_hand

    labels = log.labels_by_take()
    for take_log in at_hand(log.take_logs(features=features), log.takes()):
        yield with_labels(take_log, labels.get(take_log.take.path, []))


def read_alignments(log: Log) -> list[Alignment]:
    """Return how takes lie against each other: as they were heard, and over files that go on."""
    from calltag.media.joins import with_joins

    return with_joins(log.alignments(), log.takes())
