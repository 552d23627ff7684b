"""Clean natural background in the rushes: where it is, and which of it suits a take."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from calltag.learn.labels.vocabulary import is_call
from calltag.media.timing.clock import DAY_S, clocks_apart_s, dates_apart_s, within_half_s
from calltag.records.found import TakeLog
from calltag.records.span import Span
from calltag.records.take import Take
from calltag.takes.usable import NATURAL_SOUND
from calltag.takes.verdict import judge
from calltag.words import clock

FADE_S = 2.0
"""Length of a crossfade."""

LEAST_STRETCH_S = 2 * FADE_S + 1.0
"""Shorter stretches are not used: they would be nothing but fades."""

CALL_MARGIN_S = 0.5
"""Kept clear before and after a call that is avoided."""

_LEAST_TOLD_S = 0.1  # of a stretch that is too short, to say how long the longest is
_TIME_STEP_S = 1800.0  # differences in time of day that are heard: the dawn chorus changes in this


class Stretch(NamedTuple):
    """A clean stretch of a take, and how well it fits the take that needs a bed."""

    take: Take
    span: Span
    same_place: bool
    apart_s: float


def clean_stretches(
    take_logs: Sequence[TakeLog],
    *,
    like: Take | None = None,
    keep_calls: bool = False,
    least_s: float = LEAST_STRETCH_S,
) -> list[Stretch]:
    """Find clean natural background in the rushes.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        The rushes.
    like : Take or None
        The take that the bed is for.
    keep_calls : bool
        Whether calls may sound in it.
    least_s : float
        Shorter stretches are left out.

    Returns
    -------
    list of Stretch
        Those that are long enough, those that fit best first: the same place, then the
        nearest time of day to half an hour, then the longest. Of copies of a take, one is used.
    """
    found = []
    for take_log in take_logs:
        take = take_log.take
        natural = [
            Span(use.start_s, use.end_s)
            for use in judge(take_log).usable
            if use.purpose == NATURAL_SOUND
        ]
        calls = [
            Span(call.start_s - CALL_MARGIN_S, call.end_s + CALL_MARGIN_S)
            for call in (() if keep_calls else take_log.calls)
            if is_call(call.label)  # the doubtful too: background there is enough without them
        ]
        for span in natural:
            found += [
                Stretch(take, free, _same_place(take, like), _time_apart_s(take, like))
                for free in without(span, calls)
                if free.length_s >= least_s
            ]
    found.sort(
        key=lambda s: (not s.same_place, s.apart_s // _TIME_STEP_S, -s.span.length_s, s.take.path)
    )
    fits_best: dict[str, str] = {}  # of takes with the same content
    for stretch in found:
        fits_best.setdefault(stretch.take.digest, stretch.take.path)
    return [s for s in found if not s.take.digest or fits_best[s.take.digest] == s.take.path]


def why_none(
    take_logs: Sequence[TakeLog],
    *,
    keep_calls: bool = False,
) -> str:
    """Say why there is no clean stretch that is long enough, and what to do.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        The rushes.
    keep_calls : bool
        Whether calls may sound in it.

    Returns
    -------
    str
        The reason, without a full stop at the end.
    """
    none = f"no clean background of {LEAST_STRETCH_S:.0f} s or longer"
    with_calls = _longest(take_logs, keep_calls=True)
    if with_calls is None:
        return (
            f"{none} in these rushes: every take is spoilt, and `calltag takes` says by what; log "
            "a take of the place without that"
        )
    if keep_calls or with_calls.span.length_s < LEAST_STRETCH_S:
        return (
            f"{none} in these rushes (at most {_where(with_calls)}): log a longer take of the place"
        )
    free = _longest(take_logs, keep_calls=False)
    at_most = f"at most {_where(free)}" if free else "something calls all the time"
    return (
        f"{none} without a call in these rushes ({at_most}): let calls sound in it with --calls "
        f"keep (up to {_where(with_calls)}), or log a take of the place while nothing calls"
    )


def _longest(take_logs: Sequence[TakeLog], *, keep_calls: bool) -> Stretch | None:
    """The longest clean stretch that is long enough to be named."""
    found = clean_stretches(take_logs, keep_calls=keep_calls, least_s=_LEAST_TOLD_S)
    return max(found, key=lambda stretch: stretch.span.length_s, default=None)


def _where(stretch: Stretch) -> str:
    start_s, end_s = stretch.span
    return f"{end_s - start_s:.1f} s, at {clock(start_s)} in {stretch.take.path}"


def choose(stretches: Sequence[Stretch], seconds: float) -> list[Stretch]:
    """Choose the stretches that a bed is made of.

    Parameters
    ----------
    stretches : sequence of Stretch
        As `clean_stretches` orders them.
    seconds : float
        Length of the bed.

    Returns
    -------
    list of Stretch
        One that is long enough by itself, the nearest in place and time that is; or else as many of
        the best-fitting ones as it takes; or all, where they do not suffice.
    """
    nearest = stretches[0].same_place if stretches else False
    for stretch in stretches:
        if stretch.same_place == nearest and stretch.span.length_s >= seconds + FADE_S:
            return [stretch]
    chosen: list[Stretch] = []
    for stretch in stretches:
        if joined_s([s.span for s in chosen]) >= seconds + FADE_S:
            break
        chosen.append(stretch)
    return chosen


def without(span: Span, holes: Sequence[Span]) -> Iterator[Span]:
    """Yield what is left of a stretch outside of some holes.

    Parameters
    ----------
    span : Span
        The stretch.
    holes : sequence of Span
        What is to be avoided.

    Yields
    ------
    Span
        A part of the stretch, in order.
    """
    at = span.start_s
    for hole in sorted(holes):
        if hole.end_s <= at:
            continue
        if hole.start_s >= span.end_s:
            break
        if hole.start_s > at:
            yield Span(at, hole.start_s)
        at = hole.end_s
    if at < span.end_s:
        yield Span(at, span.end_s)


def joined_s(spans: Sequence[Span]) -> float:
    """Tell how long stretches are that are joined by crossfades.

    Parameters
    ----------
    spans : sequence of Span
        The stretches.

    Returns
    -------
    float
        Seconds.
    """
    return sum(span.length_s for span in spans) - FADE_S * max(0, len(spans) - 1)


def _same_place(take: Take, like: Take | None) -> bool:
    """A day's clips lie in a folder a place, or all in one."""
    return like is not None and Path(take.path).parent == Path(like.path).parent


def _time_apart_s(take: Take, like: Take | None) -> float:
    """Difference in time of day; where neither clock tells, half a day."""
    if like is None:
        return 0.0
    apart_s = dates_apart_s(take, like)
    if apart_s is None:
        apart_s = clocks_apart_s(take, like)
    return DAY_S / 2 if apart_s is None else abs(within_half_s(apart_s))
