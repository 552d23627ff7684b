"""From what the log holds of a take to markers for the edit.

Markers are in seconds of the take. `place` puts them on its frames; every format writes what that
gives, so that all agree to the frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from calltag.errors import InputError
from calltag.learn.labels.vocabulary import is_call
from calltag.media.timing.clock import DEFAULT_RATE, Clock, take_clock
from calltag.media.timing.timecode import Rate
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.label import CALL
from calltag.records.marker import NOISE_MARK, USABLE_SOUND, Marker
from calltag.records.take import Take
from calltag.records.verdict import Verdict
from calltag.spelling import one_line
from calltag.words import sure


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeMarkers:
    """The markers of one take, and how the edit plays it.

    Attributes
    ----------
    take : Take
        The take; conformed, with the rate that it is played at.
    markers : tuple of Marker
        In order of start.
    rate : Rate
        How to count where the take has no rate of its own.
    speed : Fraction
        How fast the edit plays it: 2/5 for a clip slowed to 40 %. Markers are not yet moved by it.
    conformed_from : Rate or None
        The rate that it was filmed at, where it is played at another.
    advance_s : float
        By how much markers were moved ahead of the sound, to the picture.
    notes : tuple of str
        What an editor should know, in whole sentences that name the take.
    """

    take: Take
    markers: tuple[Marker, ...]
    rate: Rate = DEFAULT_RATE
    speed: Fraction = Fraction(1)
    conformed_from: Rate | None = None
    advance_s: float = 0.0
    notes: tuple[str, ...] = ()

    @property
    def clock(self) -> Clock:
        """How the take counts its frames."""
        return take_clock(self.take, self.rate)


class Placed(NamedTuple):
    """A marker on the frames of its take: from `first` up to, not including, `end`."""

    marker: Marker
    first: int
    end: int


def place(take_markers: TakeMarkers) -> list[Placed]:
    """Put a take's markers on its frames.

    Parameters
    ----------
    take_markers : TakeMarkers
        A take and its markers.

    Returns
    -------
    list of Placed
        In order of frames, counted from the take's first, at the take's own speed.
    """
    clock = take_markers.clock
    placed = [Placed(m, *clock.frames(m.start_s, m.end_s)) for m in take_markers.markers]
    return sorted(placed, key=lambda p: (p.first, p.end))


def from_log(
    take_log: TakeLog,
    *,
    handles_s: float = 0.0,
    usable: Verdict | None = None,
    noise: bool = False,
    rate: Rate = DEFAULT_RATE,
) -> TakeMarkers:
    """Make the markers of a take.

    Parameters
    ----------
    take_log : TakeLog
        What was found in the take; all its calls are marked.
    handles_s : float
        Seconds to mark before and after each call, as far as the take goes.
    usable : Verdict or None
        Given, its usable stretches are marked too.
    noise : bool
        Whether to mark noise too.
    rate : Rate
        How to count where the take has no rate of its own.

    Returns
    -------
    TakeMarkers
        The take's markers, with notes on its clock.
    """
    take = take_log.take
    markers = [
        _mark_call(call, handles_s, take.duration_s)
        for call in take_log.calls
        if is_call(call.label)
    ]
    if usable is not None:
        markers += [
            Marker(
                start_s=stretch.start_s,
                end_s=stretch.end_s,
                name=USABLE_SOUND,
                comment=one_line(stretch.purpose),
                kind="usable",
            )
            for stretch in usable.usable
        ]
    if noise:
        markers += [_mark_noise(span) for span in take_log.noise]
    note = _rate_comment(take)
    if note:
        markers = [with_comment(marker, note) for marker in markers]
    return TakeMarkers(
        take=take,
        markers=tuple(sorted(markers, key=lambda marker: (marker.start_s, marker.end_s))),
        rate=rate,
        notes=take_clock(take, rate).notes,
    )


def check_handles(handles_s: float) -> None:
    """Make sure that handles can be.

    Parameters
    ----------
    handles_s : float
        Seconds before and after a call.

    Raises
    ------
    InputError
        If they are below zero, or have no end.
    """
    if not 0 <= handles_s < math.inf:
        raise InputError(f"handles {handles_s:g}: give seconds, zero or more")


def describe_call(call: Call) -> str:
    """Say in a few plain words what was measured of a call.

    Parameters
    ----------
    call : Call
        The call.

    Returns
    -------
    str
        How sure, how far above the background, which band, how loud, with what noise; what was not
        measured is left out.

    Examples
    --------
    >>> call = Call(start_s=0, end_s=1, low_hz=180, high_hz=2210, peak_hz=400, snr_db=14.2,
    ...             level_dbfs=-31, call_probability=0.9, noise=("wind",))
    >>> describe_call(call)
    '90 % sure, 14 dB above background, 180-2210 Hz, -31 dBFS, with wind'
    """
    known = "labelled by hand" if call.by_hand else f"{sure(call.sureness)} sure"
    parts = [
        (known, 0.0),
        (f"{call.snr_db:.0f} dB above background", call.snr_db),
        (f"{call.low_hz:.0f}-{call.high_hz:.0f} Hz", call.low_hz + call.high_hz),
        (f"{call.level_dbfs:.0f} dBFS", call.level_dbfs),
    ]
    words = [text for text, value in parts if math.isfinite(value)]
    if call.noise:
        words.append("with " + " and ".join(one_line(kind) for kind in call.noise))
    return ", ".join(words)


def with_comment(marker: Marker, text: str) -> Marker:
    """Add to a marker's comment.

    Parameters
    ----------
    marker : Marker
        The marker.
    text : str
        What to add.

    Returns
    -------
    Marker
        The marker with `text` after its comment, set off by a semicolon.
    """
    return replace(marker, comment=f"{marker.comment}; {text}" if marker.comment else text)


def _mark_call(call: Call, handles_s: float, duration_s: float) -> Marker:
    name = "call, type not known" if call.label == CALL else one_line(call.label)
    return Marker(
        start_s=max(0.0, call.start_s - handles_s),
        end_s=max(call.end_s, min(duration_s, call.end_s + handles_s)),
        name=name,
        comment=describe_call(call),
        kind="call",
        confidence=call.sureness,
        snr_db=call.snr_db if math.isfinite(call.snr_db) else None,
        call=call,
    )


def _mark_noise(span: NoiseSpan) -> Marker:
    return Marker(
        start_s=span.start_s,
        end_s=span.end_s,
        name=f"{NOISE_MARK}{one_line(span.kind)}",
        comment=one_line(span.detail),
        kind="noise",
        confidence=span.confidence,
    )


def _rate_comment(take: Take) -> str:
    return "no constant frame rate: placed by time, check it" if take.variable_rate else ""
