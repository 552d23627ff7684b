"""What is wrong with one sound stream, as it is noticed while the stream is read."""

from __future__ import annotations

from dataclasses import dataclass, field

from calltag.records.span import Span


@dataclass(slots=True)
class Flaws:
    """What is wrong with one sound stream, in seconds of the take.

    Attributes
    ----------
    damage : list of Span
        Where its sound cannot be decoded.
    missing : list of Span
        Where its clock leaves a gap.
    leaps : list of float
        Where its clock was set forward; sound is taken to go on.
    anew : list of float
        Where its clock begins anew, as where another clip was joined on; sound is taken to go on.
    impossible : bool
        Whether samples are no numbers.
    """

    damage: list[Span] = field(default_factory=list)
    missing: list[Span] = field(default_factory=list)
    leaps: list[float] = field(default_factory=list)
    anew: list[float] = field(default_factory=list)
    impossible: bool = False
