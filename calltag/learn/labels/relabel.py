"""What becomes of a take's labels when one sound in it gets another, or none any more.

The new label stands for the sound alone. Where an older one, drawn more loosely, spoke for several
finds, it is taken apart: the others keep what it said, each with its own ends.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from calltag.learn.labels.by_hand import finds_with_labels, matched
from calltag.records.found import Call
from calltag.records.label import Label

Place = tuple[str, float, float]
"""The stretch of a label: take, start and end."""


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
    def place(self) -> Place:
        """The stretch."""
        label = self.after or self.before
        assert label is not None
        return place(label)


def place(label: Label) -> Place:
    """Tell which stretch a label speaks for.

    Parameters
    ----------
    label : Label
        A label.

    Returns
    -------
    tuple of str, float and float
        Take, start and end: the log holds one label for each.
    """
    return label.take, label.start_s, label.end_s


def relabelled(
    calls: Sequence[Call], labels: Sequence[Label], sound: Call, new: Label | None
) -> tuple[Change, ...]:
    """Give a sound another label, or take away the one that it has.

    Parameters
    ----------
    calls : sequence of Call
        What the log holds of the take: what was found, and, `by_hand`, what was measured.
    labels : sequence of Label
        The labels of the take.
    sound : Call
        The one of `calls` that gets a label.
    new : Label or None
        Its label, or None for none. Without a group it takes that of the label that spoke for the
        sound.

    Returns
    -------
    tuple of Change
        What becomes of the labels, the new one last; none where there was no label to take away.
    """
    by_place = {place(label): label for label in labels}
    old = _label_of(sound, labels)
    after: dict[Place, Label | None] = {}
    if old is not None:
        after[place(old)] = None
        # a stretch that has a label of its own, as a whole take, loses it for all that is in it
        others = [] if new is None and sound.by_hand else _others_under(calls, sound, labels, old)
        for other in others:
            if place(other) not in by_place:
                after[place(other)] = other
        new = new and replace(new, group=new.group or old.group)
    if new is not None:
        after.pop(place(new), None)
        after[place(new)] = new
    return tuple(Change(by_place.get(at), label) for at, label in after.items())


def with_changes(labels: Iterable[Label], changes: Iterable[Change]) -> list[Label]:
    """Make changes to labels.

    Parameters
    ----------
    labels : iterable of Label
        The labels of a take.
    changes : iterable of Change
        What becomes of them.

    Returns
    -------
    list of Label
        The labels after that, in order of start.
    """
    by_place = {place(label): label for label in labels}
    for change in changes:
        if change.after is None:
            by_place.pop(change.place, None)
        else:
            by_place[change.place] = change.after
    return sorted(by_place.values(), key=lambda label: label.span)


def _label_of(sound: Call, labels: Sequence[Label]) -> Label | None:
    """The label that speaks for a sound now."""
    if sound.by_hand:
        return next((label for label in labels if label.span == sound.span), None)
    return matched([sound], labels)[0]


def _others_under(
    calls: Sequence[Call], sound: Call, labels: Sequence[Label], old: Label
) -> list[Label]:
    """Labels of their own for the other finds that a label speaks for."""
    return [
        replace(old, start_s=call.start_s, end_s=call.end_s)
        for call, label in finds_with_labels(calls, labels)
        if label is old and call.span != sound.span
    ]
