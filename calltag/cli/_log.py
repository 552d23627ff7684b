"""The log as the user wants to see it."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
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

    `unread` are files that could not be read, each with its rushes; `labels` the user's, by take;
    `alignments` are empty where they were not asked for.
    """

    every: list[TakeLog]
    unread: list[tuple[str, Problem]]
    labels: dict[str, list[Label]]
    alignments: list[Alignment]

    def choose(
        self, takes: Collection[str] | None, types: Collection[str] | None = None
    ) -> list[TakeLog]:
        """Choose the takes that are named, once it is sure that there are calls of these types."""
        from calltag.edit.call_filter import check_types

        check_types(self.every, types or ())
        return list(choose_takes(self.every, takes or (), self.unread))


def read_shoot(path: Path, *, alignments: bool = False) -> Shoot:
    """Read a log, and if so asked how takes lie against each other; `LogError` if there is none."""
    from calltag.log import Log

    with Log(path, create=False) as log:
        labels = log.labels_by_take()
        return Shoot(
            every=list(_labelled(log, labels)),
            unread=log.problems(),
            labels=labels,
            alignments=read_alignments(log) if alignments else [],
        )


def read_takes(log: Log, *, features: bool = False) -> Iterator[TakeLog]:
    """Read all takes of a log, in order, with the user's labels laid over what was found.

    A take whose file is away has the place of a copy of it.
    """
    return _labelled(log, log.labels_by_take(), features=features)


def _labelled(
    log: Log, labels: Mapping[str, Sequence[Label]], *, features: bool = False
) -> Iterator[TakeLog]:
    from calltag.learn.labels.by_hand import with_labels
    from calltag.media.copies import at_hand

    for take_log in at_hand(log.take_logs(features=features), log.takes()):
        yield with_labels(take_log, labels.get(take_log.take.path, []))


def read_alignments(log: Log) -> list[Alignment]:
    """Return how takes lie against each other: as they were heard, and over files that go on."""
    from calltag.media.joins import with_joins

    return with_joins(log.alignments(), log.takes())
