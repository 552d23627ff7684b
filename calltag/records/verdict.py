"""What a take's sound is good for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


class Usable(NamedTuple):
    """A usable stretch of a take, and in plain words what its sound can be used for."""

    start_s: float
    end_s: float
    purpose: str

    @property
    def length_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What a take's sound is good for.

    Attributes
    ----------
    grade : str
        ``"clean"``, ``"part"`` or ``"picture-only"``.
    usable : tuple of Usable
        Usable stretches, in order, none overlapping another.
    reasons : tuple of str
        Why, in plain words; never empty.
    """

    grade: str
    usable: tuple[Usable, ...]
    reasons: tuple[str, ...]

    @property
    def clean_s(self) -> float:
        """Seconds of usable sound."""
        return sum(stretch.length_s for stretch in self.usable)
