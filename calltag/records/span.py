"""A stretch of time."""

from __future__ import annotations

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
