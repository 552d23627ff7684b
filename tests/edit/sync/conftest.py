"""Takes of two cameras whose clocks are apart, and how they lie."""

from __future__ import annotations

from calltag.media.timing.timecode import format_timecode
from calltag.records.alignment import Alignment
from calltag.records.take import Take

from ..conftest import RATES, make_take

AHEAD_S = 3800.0
"""The second camera's clock is 1:03:20 ahead."""


TEN_S = 36_000.0


def cam(name: str, at_s: float, *, dated: bool = True, days: int = 0) -> Take:
    """Make a take of 12 s of which the clock shows so many seconds since midnight."""
    whole = int(at_s)
    date = f"2026-04-{18 + days}T{whole // 3600:02}:{whole // 60 % 60:02}:{whole % 60:02}"
    return make_take(
        name,
        start_tc=format_timecode(round(at_s * 25), RATES[2]),
        recorded=date if dated else None,
        duration_s=12.0,
    )


def lies(a: Take, b: Take, offset_s: float) -> Alignment:
    return Alignment(
        take_a=a.path,
        take_b=b.path,
        offset_s=offset_s,
        drift_ppm=0.0,
        confidence=0.99,
        overlap_s=9.0,
    )


def sure_pair(number: int, at_s: float, *, off_s: float = 0.0, **changes) -> tuple[Take, Take]:
    """Make two takes of which the second begins 3 s after the first."""
    first = cam(f"cam1/A{number:03}.mov", at_s, **changes)
    return first, cam(f"cam2/B{number:03}.mov", at_s + 3 + AHEAD_S + off_s, **changes)
