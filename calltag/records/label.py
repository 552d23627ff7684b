"""What a user says of a stretch of a take, and the words that all labels are made of."""

from __future__ import annotations

from dataclasses import dataclass

from calltag.records.span import Span

CALL = "call"
"""The label of a call whose type is not known."""

NO_CALL = "no call"
"""The label a user gives to a find that is no call."""

LIKELY = 0.5
"""A find whose label is at least this sure counts as a call; less sure ones are doubtful."""

NOISE_KINDS = ("machine", "wind", "water", "voice", "handling")
"""Kinds of noise; a user's label may add a detail: ``machine/hedge trimmer``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What a user said of a stretch of a take.

    Attributes
    ----------
    take : str
        Path of the take below the rushes folder.
    start_s, end_s : float
        The stretch.
    label : str
        A call type, a noise kind with or without detail, or `NO_CALL`.
    group : str or None
        What validation leaves out together; None means the take.
    """

    take: str
    start_s: float
    end_s: float
    label: str
    group: str | None = None

    @property
    def span(self) -> Span:
        """Its ends as a span."""
        return Span(self.start_s, self.end_s)
