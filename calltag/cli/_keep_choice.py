"""Which calls `calltag keep` cuts: by second, or by a table; each once."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace as changed
from pathlib import Path
from typing import TYPE_CHECKING

from calltag.cli._choose import Found
from calltag.errors import InputError

if TYPE_CHECKING:
    from calltag.library.keep import Wanted
    from calltag.log import Log
    from calltag.records.alignment import Alignment
    from calltag.records.found import Call, TakeLog
    from calltag.records.span import Span
    from calltag.records.take import Problem

AT_SLACK_S = 0.25
"""How far from a call `--at` may point."""


def at_seconds(chosen: Sequence[TakeLog], seconds: Sequence[float]) -> list[Found]:
    """Find the calls at some seconds of the one take that was named, of copies one."""
    from calltag.learn.labels.vocabulary import is_call
    from calltag.media.copies import without_copies

    chosen = without_copies(chosen)
    if len(chosen) != 1:
        several = ", ".join(one.take.path for one in chosen[:2]) + ", …" * (len(chosen) > 2)
        raise InputError(
            "--at counts the seconds of one take; name it with --take, in full where several are "
            f"called so (here {len(chosen)}: {several})"
        )
    (one,) = chosen
    calls = [call for call in one.calls if is_call(call.label)]
    found: list[Found] = []
    for at_s in seconds:
        call = min(calls, key=lambda call: (_away_s(call, at_s), call.span.length_s), default=None)
        if call is None or not _away_s(call, at_s) <= AT_SLACK_S:
            near = f"the nearest is at {call.start_s:.2f} s" if call else "it has no call at all"
            raise InputError(f"{one.take.path}: no call was found at {at_s:g} s; {near}")
        if all(other is not call for _, other in found):
            found.append((one, call))
    return found


def _away_s(call: Call, at_s: float) -> float:
    return max(call.start_s - at_s, at_s - call.end_s, 0.0)


def from_table(
    every: Sequence[TakeLog],
    source: Path,
    chosen: Sequence[TakeLog],
    unread: Collection[Problem] = (),
) -> list[Found]:
    """Find the calls that the rows of a table name, of the takes that were chosen."""
    from calltag.learn.labels.label_file import read_labels
    from calltag.learn.labels.sameness import ends_apart_s
    from calltag.learn.labels.user_table import known_take
    from calltag.learn.labels.vocabulary import is_call

    by_path = {one.take.path: one for one in every}
    paths = {one.take.path for one in chosen}
    found: dict[int, Found] = {}
    for row in read_labels(source):
        try:
            one = by_path[known_take(row.take, by_path, unread)]
        except InputError as error:
            raise InputError(f"{source.name}: {error}") from None
        call = min(
            (call for call in one.calls if is_call(call.label) and _overlap(call.span, row.span)),
            key=lambda call: ends_apart_s(call.span, row.span),
            default=None,
        )
        if call is None:
            raise InputError(
                f"{source.name}: no call was found in {one.take.path} from {row.start_s:.2f} to "
                f"{row.end_s:.2f} s; label it first"
            )
        found[id(call)] = (one, call)
    return [(one, call) for one, call in found.values() if one.take.path in paths]


def _overlap(one: Span, other: Span) -> bool:
    """Whether two spans share enough of the shorter."""
    from calltag.learn.labels.sameness import common_s, share_enough

    return common_s(one, other) > 0 and share_enough(one, other)


def heard_once(found: Sequence[Found], alignments: Sequence[Alignment]) -> list[Found]:
    """Take only the best of a call that several cameras heard."""
    from calltag.edit.heard_twice import merge_heard_twice

    by_take: dict[str, TakeLog] = {}
    for one, call in found:
        own = by_take.get(one.take.path) or changed(one, calls=())
        by_take[one.take.path] = changed(own, calls=(*own.calls, call))
    seen = merge_heard_twice(by_take.values(), alignments)
    return [(one.best.take_log, one.best.call) for one in seen]


def without_calls_of_copies(found: Sequence[Found]) -> list[Found]:
    """Leave out the calls that another copy of their take has before them."""
    before: dict[str, list[Found]] = {}
    left = []
    for one, call in found:
        of_content = before.setdefault(one.take.digest or one.take.path, [])
        if not any(
            other.take.path != one.take.path and _overlap(call.span, earlier.span)
            for other, earlier in of_content
        ):
            left.append((one, call))
            of_content.append((one, call))
    return left


def with_origins(
    found: Sequence[Found], every: Sequence[TakeLog], alignments: Sequence[Alignment], log: Log
) -> list[Wanted]:
    """Give each call what its story has to say: how it was found, and who else heard it."""
    from calltag.library.keep import Wanted, heard_elsewhere

    entries = {entry.take.path: entry for entry in log.entries()}
    elsewhere = heard_elsewhere(every, alignments)
    return [
        Wanted(
            take=one.take,
            call=call,
            model=entries[one.take.path].model,
            feature_version=entries[one.take.path].feature_version,
            also_heard=elsewhere.get((one.take.path, call.span), ()),
        )
        for one, call in found
    ]
