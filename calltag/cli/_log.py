"""The log as the user wants to see it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from calltag.cli._choose import choose_takes

if TYPE_CHECKING:
    from calltag.log import Log
    from calltag.records.alignment import Alignment
    from calltag.records.found import TakeLog
    from calltag.records.label import Label
    from calltag.records.take import Problem


class Shoot(NamedTuple):
    """What a log says of all its takes, as `read_takes` and `read_alignments` tell it.

    `unread` are files that could not be read, each with its rushes; `labels` the user's, by take.
    """

    every: list[TakeLog]
    alignments: list[Alignment]
    unread: list[tuple[str, Problem]]
    labels: dict[str, list[Label]]

    def choose(
        self, takes: Collection[str] | None, types: Collection[str] | None = None
    ) -> list[TakeLog]:
        """Choose the takes that are named, once it is sure that there are calls of these types."""
        from calltag.edit.call_filter import check_types

        check_types(self.every, types or ())
        return list(choose_takes(self.every, takes or (), self.unread))


def read_shoot(path: Path) -> Shoot:
    """Read all of a log; `LogError` if there is none."""
    from calltag.log import Log

    with Log(path, create=False) as log:
        return Shoot(
            every=list(read_takes(log)),
            alignments=read_alignments(log),
            unread=log.problems(),
            labels=log.labels_by_take(),
        )


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
