"""Whether two finds are one call: whether they share a band and time, how far apart they end.

How a find is held against a reference is `calltag.learn.scoring.counting`'s; the limits stand here.
"""

from __future__ import annotations

import math

from calltag.records.span import Span

ENOUGH = 0.5
"""Share of a span that another has in common with it, for both to be of one sound."""

ONSET_COLLAR_S = 0.2
"""So far may a find's ends lie off those of a reference that it meets."""

OFFSET_SHARE = 0.2
"""So far off, as a share of the reference's length, may its end lie where that is more."""


def common_s(one: Span, other: Span) -> float:
    """Measure how long two spans overlap.

    Parameters
    ----------
    one, other : Span
        Spans of the same take.

    Returns
    -------
    float
        Seconds; 0 where they do not overlap.
    """
    return max(0.0, min(one.end_s, other.end_s) - max(one.start_s, other.start_s))


def in_one_band(
    low_hz: float | None,
    high_hz: float | None,
    other_low_hz: float | None,
    other_high_hz: float | None,
) -> bool:
    """Tell whether half of the narrower of two bands, in octaves, is in the other.

    Parameters
    ----------
    low_hz, high_hz : float or None
        Edges of a band; None or not a number where they are not known.
    other_low_hz, other_high_hz : float or None
        Edges of another.

    Returns
    -------
    bool
        Whether it is; an unknown band is in any.

    Examples
    --------
    >>> in_one_band(200, 500, 250, 600), in_one_band(300, 900, 4000, 6000)
    (True, False)
    """
    edges = [
        math.log2(max(edge, 1.0))
        for edge in (low_hz, high_hz, other_low_hz, other_high_hz)
        if edge is not None and math.isfinite(edge)
    ]
    if len(edges) < 4:
        return True
    return share_enough(Span(*edges[:2]), Span(*edges[2:]))


def share_enough(one: Span, other: Span) -> bool:
    """Tell whether half of the shorter of two spans is in the other.

    Parameters
    ----------
    one, other : Span
        Spans on one clock.

    Returns
    -------
    bool
        Whether it is.
    """
    return common_s(one, other) >= ENOUGH * min(one.length_s, other.length_s)


def ends_apart_s(one: Span, other: Span) -> float:
    """Measure how far the ends of two spans lie apart.

    Parameters
    ----------
    one, other : Span
        Spans on one clock.

    Returns
    -------
    float
        Seconds between their starts and between their ends, together.
    """
    return abs(one.start_s - other.start_s) + abs(one.end_s - other.end_s)
