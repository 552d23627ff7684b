"""What can be learnt from a take: labelled sounds with their measurements, and unlabelled ones."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from calltag.arrays import FloatArray
from calltag.learn.labels.by_hand import (
    finds_with_labels,
    labels_of_own_sound,
    measured_for_labels,
)
from calltag.records.found import TakeLog
from calltag.records.label import Label
from calltag.records.span import Span


class Example(NamedTuple):
    """What is known of a labelled sound.

    Attributes
    ----------
    features : np.ndarray, shape (n_features,), float32
        Measurements.
    label : str
        The user's label.
    group : str
        What validation leaves out together: the label's group, or else the take.
    take : str
        The take that it is in.
    span : Span
        Where in it.
    counts : bool
        Whether figures count it; the finds in a take that was labelled as a whole do not, the whole
        does.
    """

    features: FloatArray
    label: str
    group: str
    take: str
    span: Span
    counts: bool = True


class Sound(NamedTuple):
    """What is known of a find without a label.

    Attributes
    ----------
    features : np.ndarray, shape (n_features,), float32
        Measurements.
    take : str
        The take that it is in.
    span : Span
        Where in it.
    """

    features: FloatArray
    take: str
    span: Span


def examples(take_log: TakeLog, labels: Sequence[Label]) -> list[Example]:
    """Collect what can be learnt from the labels of a take.

    Parameters
    ----------
    take_log : TakeLog
        The take as the log holds it, with the calls' measurements.
    labels : sequence of Label
        Labels of that take.

    Returns
    -------
    list of Example
        One for each find that belongs to a label, and one for each label whose sound was measured
        because no find belongs to it, or because it is of the whole take.
    """
    pairs = [
        (call, label)
        for call, label in finds_with_labels(take_log.calls, labels)
        if label is not None
    ]
    measured = measured_for_labels(take_log)
    own = [
        (measured[label.span], label)
        for label in labels_of_own_sound(take_log, labels)
        if label.span in measured
    ]
    counted_as_whole = {id(label) for _, label in own}
    return [
        Example(
            features=call.features,
            label=label.label,
            group=label.group or take_log.take.path,
            take=take_log.take.path,
            span=call.span,
            counts=call.by_hand or id(label) not in counted_as_whole,
        )
        for call, label in [*pairs, *own]
        if call.features is not None
    ]


def unlabelled(take_log: TakeLog, labels: Sequence[Label]) -> list[Sound]:
    """Collect the finds of a take that belong to no label.

    Parameters
    ----------
    take_log : TakeLog
        The take as the log holds it, with the calls' measurements.
    labels : sequence of Label
        Labels of that take.

    Returns
    -------
    list of Sound
        One for each find that was measured.
    """
    return [
        Sound(features=call.features, take=take_log.take.path, span=call.span)
        for call, label in finds_with_labels(take_log.calls, labels)
        if label is None and call.features is not None
    ]
