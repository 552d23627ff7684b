"""A stretch of time."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple


class Span(NamedTuple):
    """A stretch of a take: from `start_s` up to, not including, `end_s`."""

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s

    @property
    def middle_s(self) -> float:
        """The middle of it."""
        return (self.start_s + self.end_s) / 2

    def overlaps(self, other: Span) -> bool:
        """Tell whether it has time in common with another.

        Parameters
        ----------
        other : Span
            A stretch of the same take.

        Returns
        -------
        bool
            Whether it has; not where the one ends as the other begins.
        """
        return self.start_s < other.end_s and other.start_s < self.end_s

    def holds(self, other: Span) -> bool:
        """Tell whether another belongs to it, rather than to what is beside it.

        Parameters
        ----------
        other : Span
            A stretch of the same take.

        Returns
        -------
        bool
            Whether the middle of that lies in it.
        """
        return self.start_s <= other.middle_s < self.end_s


def merged(spans: Iterable[Span], gap_s: float) -> list[Span]:
    """Join spans that overlap, or have next to nothing between them.

    Parameters
    ----------
    spans : iterable of Span
        In any order.
    gap_s : float
        What may lie between two.

    Returns
    -------
    list of Span
        In order, further apart than that.

    Examples
    --------
    >>> merged([Span(5, 6), Span(0, 2), Span(2.5, 3)], gap_s=1.0)
    [Span(start_s=0, end_s=3), Span(start_s=5, end_s=6)]
    """
    joined: list[Span] = []
    for span in sorted(spans):
        if joined and span.start_s <= joined[-1].end_s + gap_s:
            joined[-1] = Span(joined[-1].start_s, max(joined[-1].end_s, span.end_s))
        else:
            joined.append(span)
    return joined
