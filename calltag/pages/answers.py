"""What a user says of a sound, written into the log at once, and taken back again.

The answer stands for the sound alone. Where an older label, drawn more loosely, spoke for several
finds, it is taken apart: the others keep what it said, each with its own ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from calltag.errors import InputError
from calltag.learn.by_hand import matched
from calltag.learn.labels import parse_label
from calltag.log import Log
from calltag.naming import labels_by_take
from calltag.pages.heard import Heard
from calltag.records import Label, Span

SHORTEST_S = 0.01
"""A sound may be drawn no shorter."""


@dataclass(frozen=True, slots=True)
class Change:
    """What became of one label.

    Attributes
    ----------
    before, after : Label or None
        The label of a stretch, None where there was, or is, none.
    """

    before: Label | None
    after: Label | None

    @property
    def place(self) -> tuple[str, float, float]:
        """The stretch: take, start and end."""
        label = self.after or self.before
        assert label is not None
        return _place(label)


Answer = tuple[Change, ...]
"""All that one answer changed."""


def answer(log: Log, heard: Heard, text: str, span: Span) -> tuple[str, Answer]:
    """Store what the user says of a sound.

    Parameters
    ----------
    log : Log
        The log.
    heard : Heard
        The sound.
    text : str
        The label as typed.
    span : Span
        The sound's ends as the user has them.

    Returns
    -------
    label : str
        The label, as it is kept.
    changes : tuple of Change
        What it changed, to take it back with.

    Raises
    ------
    InputError
        If the text is no label, or the ends are none.
    LogError
        If the log cannot be written.
    """
    name = parse_label(text)
    duration_s = heard.take.duration_s
    if not 0 <= span.start_s < span.end_s <= duration_s + SHORTEST_S:
        raise InputError(
            f"{span.start_s:g} to {span.end_s:g} s is no stretch of a take of {duration_s:g} s"
        )
    if span.length_s < SHORTEST_S - 1e-6:
        raise InputError("the start and the end lie on each other; move one of them")
    take = heard.take.path
    labels = labels_by_take(log).get(take, [])
    by_place = {_place(label): label for label in labels}
    old = _label_of(heard, labels)
    after: dict[tuple[str, float, float], Label | None] = {}
    group = old.group if old else None
    if old is not None:
        after[_place(old)] = None
        for other in _others_under(log, heard, labels, old):
            if _place(other) not in by_place:
                after[_place(other)] = other
    new = Label(take=take, start_s=span.start_s, end_s=span.end_s, label=name, group=group)
    after[_place(new)] = new
    changes = tuple(Change(by_place.get(place), label) for place, label in after.items())
    _make(log, changes)
    return name, changes


def take_back(log: Log, changes: Answer) -> None:
    """Take an answer back.

    Parameters
    ----------
    log : Log
        The log.
    changes : tuple of Change
        What it changed.

    Raises
    ------
    InputError
        If the labels were changed again meanwhile; then they are left as they are.
    LogError
        If the log cannot be written.
    """
    now = {_place(label): label for label in log.labels()}
    if any(now.get(change.place) != change.after for change in changes):
        raise InputError("this label was changed again meanwhile, so it is left as it is")
    _make(log, tuple(Change(change.after, change.before) for change in changes))


def _make(log: Log, changes: Answer) -> None:
    log.change_labels(
        remove=[one.before for one in changes if one.before is not None and one.after is None],
        put=[one.after for one in changes if one.after is not None],
    )


def _label_of(heard: Heard, labels: Sequence[Label]) -> Label | None:
    """The label that speaks for a sound now, whatever the page knew."""
    if heard.call.by_hand:
        return next((label for label in labels if label.span == heard.call.span), None)
    return matched([heard.call], labels)[0]


def _others_under(log: Log, heard: Heard, labels: Sequence[Label], old: Label) -> list[Label]:
    """Labels of their own for the other finds that a label speaks for."""
    found = [call for call in log.take_log(heard.take.path).calls if not call.by_hand]
    return [
        replace(old, start_s=call.start_s, end_s=call.end_s)
        for call, label in zip(found, matched(found, labels), strict=True)
        if label is old and call.span != heard.call.span
    ]


def _place(label: Label) -> tuple[str, float, float]:
    return label.take, label.start_s, label.end_s
