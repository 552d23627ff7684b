"""All steps from the log to markers that are ready to be written, in their order.

Markers are made, moved from where calls are heard to where they are seen, carried over to the rate
that the take is played at, and given its speed. The order matters: sound travels in the time of the
shoot.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from calltag.edit.markers import TakeMarkers, check_handles, from_log, is_of_type, no_such_type
from calltag.edit.retime import conform
from calltag.edit.sound_delay import TEMPERATURE_C, advance_to_picture
from calltag.errors import InputError
from calltag.learn.labels import is_call
from calltag.media.clock import common_rate
from calltag.media.timecode import Rate
from calltag.records.found import TakeLog
from calltag.records.label import CALL
from calltag.takes.verdict import judge


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerSettings:
    """What to mark, and how the edit plays the takes.

    Attributes
    ----------
    types : collection of str
        Call types to mark; all when empty.
    min_confidence : float
        Calls whose label is less sure are left out.
    min_snr_db : float or None
        Calls that stand less far above their background are left out.
    handles_s : float
        Seconds to mark before and after each call.
    usable, noise : bool
        Whether to mark usable stretches, and noise, too.
    rate : Rate or None
        How to count takes that have no rate of their own; None for the commonest of the rushes.
    speeds : mapping of str to Fraction
        Speed by path of the take; its own where it is missing.
    conform_to : mapping of str to Rate
        Rate that a take's frames are played at; its own where it is missing.
    distances_m, temperatures_c : mapping of str to float
        Distance of the animals, and temperature of the air, by path of the take. Where the distance
        is missing, sound delay is left; where the temperature is, it is `TEMPERATURE_C`.
    """

    types: Collection[str] = ()
    min_confidence: float = 0.0
    min_snr_db: float | None = None
    handles_s: float = 0.0
    usable: bool = False
    noise: bool = False
    rate: Rate | None = None
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
    if not 0 <= settings.min_confidence <= 1:
        raise InputError(f"confidence {settings.min_confidence:g}: give a number from 0 to 1")
    check_handles(settings.handles_s)
    rate = settings.rate or common_rate(take_log.take for take_log in take_logs)
    return [_mark(take_log, settings, rate) for take_log in take_logs]


def check_types(take_logs: Sequence[TakeLog], types: Collection[str]) -> None:
    """Make sure that the log has calls of the types that were asked for.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        What was found in the takes.
    types : collection of str
        Types as `calltag.edit.markers.is_of_type` has them.

    Raises
    ------
    InputError
        If one has no call; the sentence names the types that there are, or says how calls get one.
    """
    labels = {
        call.label for take_log in take_logs for call in take_log.calls if is_call(call.label)
    }
    for name in types:
        if not any(is_of_type(label, [name]) for label in labels):
            if labels == {CALL}:
                raise InputError(
                    f"call type {name!r}: no call in the log has a type yet; name some with "
                    "`calltag label`, then `calltag teach` names the others"
                )
            raise no_such_type(name, labels, "the log")


def _mark(take_log: TakeLog, settings: MarkerSettings, rate: Rate) -> TakeMarkers:
    path = take_log.take.path
    marked = from_log(
        take_log,
        min_confidence=settings.min_confidence,
        min_snr_db=settings.min_snr_db,
        types=settings.types,
        handles_s=settings.handles_s,
        usable=judge(take_log) if settings.usable else None,
        noise=settings.noise,
        rate=rate,
    )
    if path in settings.distances_m:
        temperature_c = settings.temperatures_c.get(path, TEMPERATURE_C)
        marked = advance_to_picture(marked, settings.distances_m[path], temperature_c)
    if path in settings.conform_to:
        marked = conform(marked, settings.conform_to[path])
    return replace(marked, speed=settings.speeds.get(path, Fraction(1)))
