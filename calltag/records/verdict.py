"""What a take's sound is good for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Self


class Usable(NamedTuple):
    """A usable stretch of a take, and in plain words what its sound can be used for."""

    start_s: float
    end_s: float
    purpose: str

    @property
    def length_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s


class Reason(str):
    """A reason of a verdict: a sentence, which also says itself in a few words.

    Attributes
    ----------
    brief : str
        In a few words.
    is_helped : bool
        Whether `calltag rescue` would help.

    Examples
    --------
    >>> reason = Reason("recorded low", "lifting it lifts the hiss too")
    >>> print(reason, reason.brief, sep=" | ")
    recorded low: lifting it lifts the hiss too | recorded low
    """

    __slots__ = ("brief", "is_helped")
    brief: str
    is_helped: bool

    def __new__(
        cls, what: str, more: str = "", *, brief: str = "", is_helped: bool = False
    ) -> Self:
        """Put it into one sentence.

        Parameters
        ----------
        what : str
            What is the matter, and where.
        more : str
            What follows from it, and what to do; it stands after a colon.
        brief : str
            Both in a few words, for one line of many; `what` unless given.
        is_helped : bool
            Whether `calltag rescue` would help.

        Returns
        -------
        Reason
            The sentence.
        """
        reason = super().__new__(cls, f"{what}: {more}" if more else what)
        reason.brief, reason.is_helped = brief or what, is_helped
        return reason


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What a take's sound is good for.

    Attributes
    ----------
    grade : str
        ``"clean"``, ``"part"`` or ``"picture-only"``.
    usable : tuple of Usable
        Usable stretches, in order, none overlapping another.
    reasons : tuple of Reason
        Why, in plain words; never empty.
    """

    grade: str
    usable: tuple[Usable, ...]
    reasons: tuple[Reason, ...]

    @property
    def clean_s(self) -> float:
        """Seconds of usable sound."""
        return sum(stretch.length_s for stretch in self.usable)
