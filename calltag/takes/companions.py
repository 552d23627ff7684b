"""Takes that ran at the same time: another camera's sound may be good where this one's is lost.

Where `calltag sync` has lined the two up on their sound, that tells, or what other pairs that it
lined up say of the clocks of both cameras. Otherwise it is the time of day that the file states:
its timecode or broadcast wave time, and when it was recorded. Clocks of two cameras are seldom the
same to the second, so that is a hint.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import ceil

from calltag.media.timing.clock import (
    DEFAULT_RATE,
    clocks_apart_s,
    dates_apart_s,
    longer_day_s,
    recorded_at,
    within_half_s,
)
from calltag.records.alignment import Alignment
from calltag.records.found import TakeLog
from calltag.records.span import Span
from calltag.records.take import Take
from calltag.takes.verdict import judge
from calltag.takes.words import stretches
from calltag.words import counted

_LEAST_S = 1.0
_HOUR_S = 3600.0
_MOST_ZONE_S = 14.5 * _HOUR_S  # no place is farther from universal time than 14 hours
_CLOCKS_APART_S = 900.0  # cameras set by hand; more, and they did not run at the same time


@dataclass(frozen=True, slots=True, kw_only=True)
class Companion:
    """A take that ran at the same time as another.

    Attributes
    ----------
    take : Take
        The companion.
    during : Span
        When it ran, on the other take's clock.
    usable_s : float
        How much of that its own sound is usable for.
    offset_s : float
        When it began, on the other take's clock.
    lined_up : bool
        Whether the two are lined up on their sound; otherwise that is what their clocks say.
    off_s : float or None
        How far off `offset_s` may be, where other pairs say how far the clocks are apart.
    """

    take: Take
    during: Span
    usable_s: float
    offset_s: float
    lined_up: bool = False
    off_s: float | None = None

    def sentence(self, of: Take) -> str:
        """Say what the companion is good for.

        Parameters
        ----------
        of : Take
            The take that needs its sound.

        Returns
        -------
        str
            One sentence.
        """
        where = stretches([self.during], of.duration_s)
        digits = 3 if self.lined_up else 2
        apart_s = round(self.offset_s, digits)
        side = "before" if apart_s < 0 else "after"
        apart = f"{abs(apart_s):.{digits}f} s {side}" if apart_s else "together with"
        if self.lined_up:
            then = f"it begins {apart} this take"
        elif self.off_s is not None:
            rate = float(of.fps or self.take.fps or DEFAULT_RATE.fps)
            off = counted(ceil(self.off_s * rate), "frame")
            then = f"by the clocks of both cameras it begins {apart} this take, to {off}"
        elif not of.has_sound:
            then = (
                "that goes by their clocks alone, and `calltag sync` cannot line up a take without "
                "sound: look for a moment that both show"
            )
        else:
            then = "line the two up with `calltag sync`"
        return (
            f"{self.take.path} ran at the same time, {where}, with {self.usable_s:.0f} s of usable "
            f"sound: {then}"
        )


def companions(
    take_log: TakeLog,
    others: Iterable[TakeLog],
    alignments: Iterable[Alignment] = (),
    by_clocks: Mapping[str, tuple[float, float]] | None = None,
) -> list[Companion]:
    """Find takes with usable sound that ran at the same time as another.

    Parameters
    ----------
    take_log : TakeLog
        The take that needs sound.
    others : iterable of TakeLog
        The rushes.
    alignments : iterable of Alignment
        Takes that were lined up on their sound.
    by_clocks : mapping of str to tuple of two float, optional
        By path, when takes began on the clock of this one and how far off that may be, where other
        pairs that are lined up say how far the clocks are apart.

    Returns
    -------
    list of Companion
        Those with most usable sound first.
    """
    lined_up = _lined_up(take_log.take.path, alignments)
    placed = by_clocks or {}
    found = []
    for other in others:
        path = other.take.path
        if path == take_log.take.path or not other.take.has_sound:
            continue
        offset_s, off_s = lined_up.get(path), None
        if offset_s is None and path in placed:
            offset_s, off_s = placed[path]
        if offset_s is None:
            offset_s = _offset_s(take_log.take, other.take)
        if offset_s is None:
            continue
        start_s = max(0.0, offset_s)
        end_s = min(take_log.take.duration_s, offset_s + other.take.duration_s)
        if end_s - start_s < _LEAST_S:
            continue
        usable_s = sum(
            max(0.0, min(use.end_s + offset_s, end_s) - max(use.start_s + offset_s, start_s))
            for use in judge(other).usable
        )
        if usable_s >= _LEAST_S:
            companion = Companion(
                take=other.take,
                during=Span(start_s, end_s),
                usable_s=usable_s,
                offset_s=offset_s,
                lined_up=path in lined_up,
                off_s=off_s,
            )
            found.append(companion)
    return sorted(found, key=lambda one: -one.usable_s)


def _lined_up(path: str, alignments: Iterable[Alignment]) -> dict[str, float]:
    """When takes that are lined up with one began, on its clock."""
    began_s = {}
    for pair in alignments:
        if pair.take_a == path:
            began_s[pair.take_b] = pair.offset_s
        elif pair.take_b == path:
            began_s[pair.take_a] = pair.in_b(0.0)
    return began_s


def _offset_s(take: Take, other: Take) -> float | None:
    """When `other` began, on the clock of `take`; None where that cannot be told."""
    date_s, clock_s = dates_apart_s(take, other), clocks_apart_s(take, other)
    if clock_s is None:
        return date_s
    clock_s = within_half_s(clock_s, longer_day_s(take, other))
    # timecode that starts again with every take says nothing of the time of day; dates tell
    if date_s is not None and abs(_beside_zones(clock_s - date_s, take, other)) > _CLOCKS_APART_S:
        return None
    return clock_s


def _beside_zones(apart_s: float, take: Take, other: Take) -> float:
    """Leave whole hours out where only one of two takes states the time zone of its date."""
    dates = recorded_at(take), recorded_at(other)
    zones = [date is not None and date.tzinfo is not None for date in dates]
    if zones[0] == zones[1] or abs(apart_s) > _MOST_ZONE_S:
        return apart_s
    return within_half_s(apart_s, _HOUR_S)
