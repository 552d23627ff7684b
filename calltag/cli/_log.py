"""The log as the user wants to see it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from calltag.log import Log
    from calltag.records import TakeLog


def read_takes(log: Log, *, features: bool = False) -> Iterator[TakeLog]:
    """Yield all takes of a log, in order, with the user's labels laid over what was found.

    A take whose file is away has the place of a copy of it.
    """
    from calltag.learn.by_hand import with_labels
    from calltag.media.copies import with_copies
    from calltag.naming import labels_by_take

    labels = labels_by_take(log)
    takes = {take.path: take for take in with_copies(log.takes())}
    for take_log in log.take_logs(features=features):
        path = take_log.take.path
        placed = replace(take_log, take=takes.get(path, take_log.take))
        yield with_labels(placed, labels.get(path, []))
