"""Sound comes late: from an animal far away, the call is heard after the picture shows it.

The travel time is distance over the speed of sound in air. Wind and slopes are left out: at 100 m,
a wind of 5 m/s changes it by four milliseconds, a tenth of a frame.
"""

from __future__ import annotations

import math
from dataclasses import replace

from calltag.edit.markers import TakeMarkers, with_comment
from calltag.errors import InputError
from calltag.records.marker import Marker

TEMPERATURE_C = 15.0
"""Temperature of the air where none is given."""

FARTHEST_M = 20_000.0
"""What is said to be further away is a slip of the hand: no call carries so far."""

_COLDEST_C, _HOTTEST_C = -60.0, 60.0


def speed_of_sound(temperature_c: float) -> float:
    """Speed of sound in air.

    Parameters
    ----------
    temperature_c : float
        Temperature of the air, -60 to 60 °C.

    Returns
    -------
    float
        Metres per second.

    Raises
    ------
    InputError
        If no place on earth is so warm or cold.

    References
    ----------
    .. [1] ISO 9613-1, "Attenuation of sound during propagation outdoors", 1993, annex A.

    Examples
    --------
    >>> round(speed_of_sound(20), 1)
    343.2
    """
    if not _COLDEST_C <= temperature_c <= _HOTTEST_C:
        raise InputError(
            f"temperature {temperature_c:g}: give degrees Celsius from"
            f" {_COLDEST_C:.0f} to {_HOTTEST_C:.0f}"
        )
    return 331.3 * math.sqrt(1 + temperature_c / 273.15)


def travel_time(distance_m: float, temperature_c: float = TEMPERATURE_C) -> float:
    """Time that a call takes to the microphone.

    Parameters
    ----------
    distance_m : float
        Metres from the animal to the microphone, 0 to 20 000.
    temperature_c : float
        Temperature of the air in °C.

    Returns
    -------
    float
        Seconds.

    Raises
    ------
    InputError
        If distance or temperature cannot be.

    Examples
    --------
    >>> round(1000 * travel_time(100, 20), 1)
    291.4
    """
    if not 0 <= distance_m <= FARTHEST_M:
        raise InputError(f"distance {distance_m:g}: give metres from 0 to {FARTHEST_M:.0f}")
    return distance_m / speed_of_sound(temperature_c)


def advance_to_picture(
    take_markers: TakeMarkers, distance_m: float, temperature_c: float = TEMPERATURE_C
) -> TakeMarkers:
    """Move the markers of calls from where they are heard to where they are seen.

    To be done before the take is conformed, as sound travels in the time of the shoot.

    Parameters
    ----------
    take_markers : TakeMarkers
        A take and its markers.
    distance_m : float
        Metres from the animal to the microphone.
    temperature_c : float
        Temperature of the air in °C.

    Returns
    -------
    TakeMarkers
        The take with its markers moved; each says by how many frames. Markers of noise and of
        usable sound stay where they are heard, and sound alone has no picture to be moved to. A
        call from before the first frame is marked there.

    Raises
    ------
    InputError
        If distance or temperature cannot be, or the markers have been moved already.
    """
    delay_s = travel_time(distance_m, temperature_c)
    if take_markers.conformed_from is not None or take_markers.advance_s:
        raise InputError(
            f"{take_markers.take.path}: sound delay is taken out once, before the take is conformed"
        )
    if not take_markers.take.has_picture or not delay_s:
        return take_markers
    frames = delay_s * float(take_markers.clock.rate.fps)
    slip = (
        f"moved {delay_s:.3f} s = {frames:.1f} frames ahead of the sound,"
        f" {distance_m:g} m at {temperature_c:g} C"
    )

    markers = (
        _moved(marker, delay_s, slip) if marker.kind == "call" else marker
        for marker in take_markers.markers
    )
    return replace(take_markers, markers=tuple(markers), advance_s=delay_s)


def _moved(marker: Marker, delay_s: float, slip: str) -> Marker:
    before = "; seen before the first frame" if marker.end_s <= delay_s else ""
    earlier = replace(
        marker,
        start_s=max(0.0, marker.start_s - delay_s),
        end_s=max(0.0, marker.end_s - delay_s),
    )
    return with_comment(earlier, slip + before)
