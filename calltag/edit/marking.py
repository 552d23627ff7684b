"""All steps from the log to markers that are ready to be written, in their order.

Markers are made, moved from where calls are heard to where they are seen, carried over to the rate
that the take is played at, and given its speed. The order matters: sound travels in the time of the
shoot.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from calltag.edit.call_filter import CallFilter
from calltag.edit.markers import TakeMarkers, check_handles, from_log
from calltag.edit.retime import conform
from calltag.edit.sound_delay import TEMPERATURE_C, advance_to_picture
from calltag.media.timing.clock import DEFAULT_RATE
from calltag.media.timing.timecode import Rate
from calltag.records.found import TakeLog
from calltag.takes.verdict import judge


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerSettings:
    """What to mark, and how the edit plays the takes.

    Attributes
    ----------
    calls : CallFilter
        Which calls to mark.
    handles_s : float
        Seconds to mark before and after each call.
    usable, noise : bool
        Whether to mark usable stretches, and noise, too.
    rate : Rate
        How to count takes that have no rate of their own.
    speeds : mapping of str to Fraction
        Speed by path of the take; its own where it is missing.
    conform_to : mapping of str to Rate
        Rate that a take's frames are played at; its own where it is missing.
    distances_m, temperatures_c : mapping of str to float
        Distance of the animals, and temperature of the air, by path of the take. Where the distance
        is missing, sound delay is left; where the temperature is, it is `TEMPERATURE_C`.
    """

    calls: CallFilter = field(default_factory=CallFilter)
    handles_s: float = 0.0
    usable: bool = False
    noise: bool = False
    rate: Rate = DEFAULT_RATE
    speeds: Mapping[str, Fraction] = field(default_factory=dict)
    conform_to: Mapping[str, Rate] = field(default_factory=dict)
    distances_m: Mapping[str, float] = field(default_factory=dict)
    temperatures_c: Mapping[str, float] = field(default_factory=dict)


def mark_takes(take_logs: Sequence[TakeLog], settings: MarkerSettings) -> list[TakeMarkers]:
    """Make the markers of all takes.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        What was found in the takes.
    settings : MarkerSettings
        What to mark, and how the edit plays the takes.

    Returns
    -------
    list of TakeMarkers
        One for each take, in the same order; some may have no marker.

    Raises
    ------
    InputError
        If a setting cannot be.
    """
    check_handles(settings.handles_s)
    return [_mark(take_log, settings) for take_log in take_logs]


def _mark(take_log: TakeLog, settings: MarkerSettings) -> TakeMarkers:
    path = take_log.take.path
    marked = from_log(
        settings.calls.left_of(take_log),
        handles_s=settings.handles_s,
        usable=judge(take_log) if settings.usable else None,
        noise=settings.noise,
        rate=settings.rate,
    )
    if path in settings.distances_m:
        temperature_c = settings.temperatures_c.get(path, TEMPERATURE_C)
        marked = advance_to_picture(marked, settings.distances_m[path], temperature_c)
    if path in settings.conform_to:
        marked = conform(marked, settings.conform_to[path])
    return replace(marked, speed=settings.speeds.get(path, Fraction(1)))
