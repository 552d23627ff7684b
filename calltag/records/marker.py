"""What the edit is told of a stretch of a take."""

from __future__ import annotations

from dataclasses import dataclass

from calltag.records.found import Call

USABLE_SOUND = "usable sound"
"""Name of the marker of a usable stretch."""

NOISE_MARK = "noise: "
"""What the name of a marker of noise begins with; the kind follows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """A named span of a take, for the edit.

    Attributes
    ----------
    start_s, end_s : float
        The span; equal for a point.
    name : str
        What the editor reads.
    comment : str
        More about it; may be empty.
    kind : str
        ``"call"``, ``"usable"`` or ``"noise"``.
    confidence, snr_db : float or None
        As in `Call`; None where they do not apply.
    call : Call or None
        The call that it marks, as logged; None where it marks something else.
    """

    start_s: float
    end_s: float
    name: str
    comment: str = ""
    kind: str = "call"
    confidence: float | None = None
    snr_db: float | None = None
    call: Call | None = None
