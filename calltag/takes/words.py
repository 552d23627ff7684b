"""How many calls do what, and where in a take, in the words that reasons use."""

from __future__ import annotations

from collections.abc import Sequence

from calltag.records.span import Span
from calltag.words import clock, listed

THROUGHOUT = 0.9
"""Part of a take from which on what is in it is called throughout, and cut throughout."""

_NAMED = 3  # stretches named one by one before the rest is counted


def calls_that(some: int, total: int, verb: str) -> str:
    """Say how many of some calls do what.

    Parameters
    ----------
    some : int
        How many do.
    total : int
        How many there are.
    verb : str
        What they do, as ``stand``.

    Returns
    -------
    str
        Beginning of a sentence.

    Examples
    --------
    >>> calls_that(3, 4, "stand"), calls_that(1, 4, "stand")
    ('3 of 4 calls stand', '1 of 4 calls stands')
    >>> calls_that(1, 1, "stand"), calls_that(0, 1, "stand")
    ('the one call there stands', 'the one call there does not stand')
    """
    if total == 1:
        return f"the one call there {f'{verb}s' if some else f'does not {verb}'}"
    return f"{some} of {total} calls {verb}{'s' if some == 1 else ''}"


def stretches(spans: Sequence[Span], duration_s: float | None = None) -> str:
    """Say where in a take something is.

    Parameters
    ----------
    spans : sequence of Span
        Stretches in order, none overlapping another.
    duration_s : float, optional
        Length of the take, if the stretches are to be held against it.

    Returns
    -------
    str
        ``throughout``, or the first stretches by their times and the rest by their number.

    Examples
    --------
    >>> stretches([Span(2, 4), Span(60, 75)], 300)
    'at 0:02-0:04 and 1:00-1:15'
    >>> stretches([Span(10 * i, 10 * i + 4) for i in range(4)])
    'at 0:00-0:04, 0:10-0:14 and 2 more places (16 s)'
    """
    total_s = sum(span.length_s for span in spans)
    if duration_s is not None and total_s >= THROUGHOUT * duration_s:
        return "throughout"
    named = [_stretch(span) for span in spans[:_NAMED]]
    if len(spans) > _NAMED:
        named = [*named[:-1], f"{len(spans) - _NAMED + 1} more places"]
        whole = "" if duration_s is None else f" of {duration_s:.0f} s"
        return f"at {listed(named)} ({total_s:.0f} s{whole})"
    return f"at {listed(named)}"


def _stretch(span: Span) -> str:
    start, end = clock(span.start_s), clock(span.end_s)
    return start if start == end else f"{start}-{end}"
