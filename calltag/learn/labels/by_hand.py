"""What the user said of a take, laid over what was found in it.

A find belongs to the label that overlaps it most, if they overlap enough. How much that is depends
on what is said: people draw the span of a call loosely, so half of the shorter of the two will do.
That something is no call has to hold for at least half of the find. And a noise is often labelled
over a long stretch, in which calls are still calls: there the label, too, has to be half filled by
the find.

A call type given to a whole take says two things: what calls in it, and what it sounds like as a
whole. So its finds are learnt from, and the whole as well.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from calltag.learn.labels.sameness import ENOUGH, common_s, share_enough
from calltag.learn.labels.vocabulary import is_call_type, noise_kind
from calltag.records.found import Call, NoiseSpan, TakeLog, with_noise
from calltag.records.label import LIKELY, Label
from calltag.records.span import Span

WHOLE = 0.9
"""Share of a take from which on a label is of the whole of it."""

BY_HAND = "labelled by hand"
"""What a noise span says where the user gave it."""


def matched(calls: Sequence[Call], labels: Sequence[Label]) -> list[Label | None]:
    """Find the label that each find belongs to.

    Parameters
    ----------
    calls : sequence of Call
        Finds in one take.
    labels : sequence of Label
        Labels of the same take.

    Returns
    -------
    list of Label or None
        One for each find; None where no label overlaps it enough.

    Examples
    --------
    >>> find = Call(
    ...     start_s=4.0, end_s=4.5, low_hz=900, high_hz=1400, peak_hz=1000, snr_db=12,
    ...     level_dbfs=-30, call_probability=0.9,
    ... )
    >>> loose = Label(take="A001.mov", start_s=3.5, end_s=5.5, label="marsh hooter: boom")
    >>> [label.label for label in matched([find], [loose])]
    ['marsh hooter: boom']
    """
    belongs: list[Label | None] = []
    for call in calls:
        fitting = [
            (common_s(call.span, label.span), label)
            for label in labels
            if speaks_for(label, call.span)
        ]
        belongs.append(max(fitting, key=_common_then_tight)[1] if fitting else None)
    return belongs


def finds_with_labels(
    calls: Iterable[Call], labels: Sequence[Label]
) -> list[tuple[Call, Label | None]]:
    """Pair what was found in a take with what the user said of it.

    Parameters
    ----------
    calls : iterable of Call
        What the log holds of a take: what was found, and, `by_hand`, what was measured.
    labels : sequence of Label
        Labels of that take.

    Returns
    -------
    list of tuple of Call and Label or None
        Each find, with the label that it belongs to by `matched`; what was measured for a label
        alone is none.
    """
    found = [call for call in calls if not call.by_hand]
    return list(zip(found, matched(found, labels), strict=True))


def measured_for_labels(take_log: TakeLog) -> dict[Span, Call]:
    """Look up what was measured for labels alone.

    Parameters
    ----------
    take_log : TakeLog
        A take as the log holds it.

    Returns
    -------
    dict of Span to Call
        Measurements by the stretch of their label.
    """
    return {call.span: call for call in take_log.calls if call.by_hand}


def labels_of_own_sound(take_log: TakeLog, labels: Sequence[Label]) -> list[Label]:
    """List the labels whose own stretch of sound counts, and not only the finds in it.

    That is so where no find belongs to them, and where they are of a whole take.

    Parameters
    ----------
    take_log : TakeLog
        A take as the log holds it.
    labels : sequence of Label
        Labels of that take.

    Returns
    -------
    list of Label
        Some of them, in their order.
    """
    with_finds = {id(label) for _, label in finds_with_labels(take_log.calls, labels)}
    return [
        label for label in labels if id(label) not in with_finds or is_of_whole(label, take_log)
    ]


def speaks_for(label: Label, find: Span) -> bool:
    """Tell whether a label overlaps a find enough to be of it.

    Parameters
    ----------
    label : Label
        A label.
    find : Span
        A find in the same take.

    Returns
    -------
    bool
        Whether it does; of several such labels, `matched` chooses one.
    """
    common = common_s(find, label.span)
    return common > 0 and common >= ENOUGH * _compared_s(find, label)


def _common_then_tight(pair: tuple[float, Label]) -> tuple[float, float]:
    """Of labels that have as much in common with a find, the one drawn more closely counts."""
    common, label = pair
    return common, -label.span.length_s


def _compared_s(find: Span, label: Label) -> float:
    """The length of which enough has to be in both: it depends on what the label says."""
    if is_call_type(label.label):
        return min(find.length_s, label.span.length_s)
    if noise_kind(label.label) is not None:
        return max(find.length_s, label.span.length_s)
    return find.length_s


def unmeasured(take_log: TakeLog, labels: Sequence[Label]) -> list[Label]:
    """List the labels whose own stretch of sound counts, and has not been measured.

    Parameters
    ----------
    take_log : TakeLog
        A take as the log holds it.
    labels : sequence of Label
        Labels of that take.

    Returns
    -------
    list of Label
        Those whose stretch of sound has to be measured.
    """
    measured = measured_for_labels(take_log)
    return [label for label in labels_of_own_sound(take_log, labels) if label.span not in measured]


def with_labels(take_log: TakeLog, labels: Sequence[Label]) -> TakeLog:
    """Lay the user's labels over what was found in a take: where they differ, the user is right.

    A find takes the call type of its label, and confidence 1. One labelled as no call, or as a
    noise, is no call any more. A labelled call that was not found is added, with what was measured
    of its sound. Labelled noise becomes noise of the take, and of the calls that it overlaps. Noise
    that was heard anyway takes the detail that the user, or a model taught by the user, gives to
    sounds in it.

    Parameters
    ----------
    take_log : TakeLog
        A take as the log holds it.
    labels : sequence of Label
        Labels of that take.

    Returns
    -------
    TakeLog
        The take as the user wants to see it.
    """
    measured = measured_for_labels(take_log)
    calls: list[Call] = []
    sources: dict[int, Call] = {}
    for call, label in finds_with_labels(take_log.calls, labels):
        if label is None:
            calls.append(call)
            continue
        sources[id(label)] = call
        if is_call_type(label.label):
            calls.append(_named(call, label))
    noise = [_detailed(span, take_log.calls, labels) for span in take_log.noise]
    by_user: list[NoiseSpan] = []
    for label in labels:
        source = sources.get(id(label)) or measured.get(label.span)
        if source is None:
            continue
        if is_call_type(label.label) and id(label) not in sources:
            calls.append(_named(source, label))
        elif noise_kind(label.label) is not None:
            by_user.append(_noise_by_hand(source, label))
    # what was heard anyway has taken the label's detail
    new = [given for given in by_user if not any(_covers(span, given) for span in noise)]
    calls.sort(key=lambda call: call.span)
    return replace(
        take_log,
        calls=with_noise(calls, [*noise, *by_user]) if by_user else tuple(calls),
        noise=tuple(sorted([*noise, *new], key=lambda span: span.span)),
    )


def is_of_whole(label: Label, take_log: TakeLog) -> bool:
    """Tell whether a label gives a call type to a whole take.

    Parameters
    ----------
    label : Label
        A label of the take.
    take_log : TakeLog
        The take as the log holds it.

    Returns
    -------
    bool
        Whether it reaches over `WHOLE` of the take.
    """
    enough_s = WHOLE * take_log.take.duration_s
    return is_call_type(label.label) and label.span.length_s >= enough_s > 0


def _detailed(noise: NoiseSpan, found: Sequence[Call], labels: Sequence[Label]) -> NoiseSpan:
    """Give a noise the detail that is given to sounds of its kind in it, the user's own first.

    Where nothing was found in it, an excerpt of its own may have been named. Hum is known by what
    it is, and is nobody's hedge trimmer.
    """
    if noise.is_hum:
        return noise
    by_user = [
        (common_s(noise.span, label.span), label.label)
        for label in labels
        if _is_detail(label.label, noise) and share_enough(noise.span, label.span)
    ]
    by_model = [
        (common_s(noise.span, call.span), call.label)
        for call in found
        if _is_detail(call.label, noise) and not call.by_hand and call.confidence >= LIKELY
    ]
    for told in (by_user, by_model):
        seconds: dict[str, float] = defaultdict(float)
        for common, name in told:
            seconds[name] += common
        best = max(seconds, key=lambda name: seconds[name], default="")
        if best and seconds[best] > 0:
            return replace(noise, kind=best)
    return replace(noise, kind=noise.taught) if _is_detail(noise.taught, noise) else noise


def _is_detail(name: str, noise: NoiseSpan) -> bool:
    """Whether a name says more of a noise than its kind."""
    return "/" in name and noise_kind(name) == noise.kind


def _covers(heard: NoiseSpan, given: NoiseSpan) -> bool:
    """Whether noise of the labelled kind was heard for the larger part of the label."""
    return (
        noise_kind(heard.kind) == noise_kind(given.kind)
        and not heard.is_hum
        and common_s(heard.span, given.span) > ENOUGH * given.span.length_s
    )


def _noise_by_hand(source: Call, label: Label) -> NoiseSpan:
    return NoiseSpan(
        start_s=label.start_s,
        end_s=label.end_s,
        kind=label.label,
        confidence=1.0,
        level_dbfs=source.level_dbfs,
        low_hz=source.low_hz,
        high_hz=source.high_hz,
        detail=BY_HAND,
    )


def _named(call: Call, label: Label) -> Call:
    return replace(call, label=label.label, confidence=1.0, by_hand=True)
