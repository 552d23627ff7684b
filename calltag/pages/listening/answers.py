"""What a user says of a sound, written into the log at once, and taken back again."""

from __future__ import annotations

from calltag.errors import InputError
from calltag.learn.labels.label_file import SLACK_S
from calltag.learn.labels.relabel import Change, place, relabelled
from calltag.learn.labels.vocabulary import parse_label
from calltag.log import Log
from calltag.media.copies import copies_of
from calltag.pages.listening.heard import Heard
from calltag.records.label import Label
from calltag.records.span import Span
from calltag.records.take import Take

SHORTEST_S = 0.01
"""A sound may be drawn no shorter."""


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
        If the text is no label, the ends are none, or the log has no such take any more.
    LogError
        If the log cannot be written.
    """
    name = parse_label(text)
    duration_s = heard.take.duration_s
    if span.start_s < duration_s < span.end_s <= duration_s + SLACK_S:  # older logs have such finds
        span = Span(span.start_s, duration_s)
    if not 0 <= span.start_s < span.end_s <= duration_s:
        raise InputError(
            f"{span.start_s:g} to {span.end_s:g} s is no stretch of a take of {duration_s:g} s"
        )
    if span.length_s < SHORTEST_S - 1e-6:
        raise InputError("the start and the end lie on each other; move one of them")
    new = Label(take=heard.take.path, start_s=span.start_s, end_s=span.end_s, label=name)
    take = _logged(log, heard).path
    own = log.labels_by_take().get(take, [])
    changes = relabelled(log.take_log(take).calls, own, heard.call, new)
    _make(log, changes)
    return name, changes


def take_away(log: Log, heard: Heard) -> Answer:
    """Take away the label of a sound, whenever and however it was given.

    What was said of it in copies of its take goes too: it would speak next.

    Parameters
    ----------
    log : Log
        The log.
    heard : Heard
        The sound.

    Returns
    -------
    tuple of Change
        What that changed, to take it back with; other sounds that the label spoke for keep it.

    Raises
    ------
    InputError
        If the sound has no label in the log, or the log has no such take any more.
    LogError
        If the log cannot be written.
    """
    take = _logged(log, heard)
    labels = log.labels_by_take()
    calls = log.take_log(take.path).calls
    changes = relabelled(calls, labels.get(take.path, []), heard.call, None)
    for copy in copies_of(take, log.takes()):
        calls = log.take_log(copy.path).calls
        same = next((call for call in calls if call.span == heard.call.span), None)
        if same is not None:
            changes += relabelled(calls, labels.get(copy.path, []), same, None)
    if not changes:
        raise InputError("this sound has no label to take away; load the page again")
    _make(log, changes)
    return changes


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
    now = {place(label): label for label in log.labels()}
    if any(now.get(change.place) != change.after for change in changes):
        raise InputError("this label was changed again meanwhile, so it is left as it is")
    _make(log, tuple(Change(change.after, change.before) for change in changes))


def _logged(log: Log, heard: Heard) -> Take:
    """The take of a sound as the log has it now."""
    path = heard.take.path
    for take in log.takes():
        if take.path == path:
            return take
    raise InputError(f"{path}: gone from the log, or renamed; load the page again")


def _make(log: Log, changes: Answer) -> None:
    log.change_labels(
        remove=[one.before for one in changes if one.before is not None and one.after is None],
        put=[one.after for one in changes if one.after is not None],
    )
