"""The frame rate of a clip's picture: as it is stated, and whether its pictures keep to it."""

from __future__ import annotations

from fractions import Fraction

from av.container import InputContainer
from av.video.stream import VideoStream

from calltag.media.streams import readable_packets
from calltag.media.timing.rates import STANDARD_RATES, exact_rate, is_steady

_PICTURES_LOOKED_AT, _BYTES_LOOKED_AT = 400, 4_000_000  # whichever comes first
_FEWEST_PICTURES = 8  # fewer prove nothing
_REORDERED = 4  # the last pictures that were read may lack one of this many that come before
_ALWAYS_STEADY = frozenset(("avi", "dv", "mxf"))  # these store no time with a picture

_PICTURES_OFF, _SHARE_OFF = 2, 0.0005
"""By how many pictures, or which share of them, a take of constant rate may end early or late,
whichever is more; 59.94 and 60 lie twice as far apart."""


def picture_rate(container: InputContainer, picture: VideoStream) -> tuple[Fraction | None, bool]:
    """Find the exact frame rate of a picture, and whether it varies.

    Parameters
    ----------
    container : av.container.InputContainer
        An open clip; some of its packets may be read on the way.
    picture : av.video.stream.VideoStream
        Its picture.

    Returns
    -------
    fps : Fraction or None
        Pictures per second, their mean where the rate varies; None where none is stated.
    varies : bool
        Whether the times of the pictures keep to no constant rate.
    """
    stated = picture.average_rate or picture.guessed_rate or picture.base_rate
    tick = picture.time_base
    if not stated or not tick:
        return Fraction(stated) if stated else None, False
    ticks = _picture_ticks(container, picture)[1:]  # the first one may be held a little longer
    enough = len(ticks) > _FEWEST_PICTURES
    length = (ticks[-1] - ticks[0]) * tick if enough else Fraction(0)
    fps = exact_rate(Fraction(stated), tick_s=tick, duration_s=float(length))
    if not length or is_steady(ticks, fps, tick):
        return fps, False
    # Some formats state a rounded rate: 120 for 119.88.
    counted = exact_rate((len(ticks) - 1) / length, tick_s=tick, duration_s=float(length))
    if counted in STANDARD_RATES and is_steady(ticks, counted, tick) and _goes_on(picture, counted):
        return counted, False
    return fps, True


def _goes_on(picture: VideoStream, fps: Fraction) -> bool:
    """Whether an index, where it is complete, ends where this rate puts its last but one."""
    index, n = picture.index_entries, picture.frames
    if not _FEWEST_PICTURES < n <= len(index):
        return True
    ticks = index[n - 2].timestamp - index[1].timestamp
    off = abs(ticks * (picture.time_base or 0) * fps - (n - 3))
    return off <= max(_PICTURES_OFF, n * _SHARE_OFF)


def _picture_ticks(container: InputContainer, picture: VideoStream) -> list[int]:
    """Times of the first pictures: from the index where it is complete, else from packets."""
    if container.format.name in _ALWAYS_STEADY:
        return []
    index = picture.index_entries
    if 0 < picture.frames <= len(index):
        return sorted(index[i].timestamp for i in range(min(len(index), _PICTURES_LOOKED_AT)))
    ticks = []
    read = 0
    for packet in readable_packets(container, picture):
        read += packet.size
        if packet.pts is not None:
            ticks.append(packet.pts)
        if len(ticks) >= _PICTURES_LOOKED_AT or read > _BYTES_LOOKED_AT:
            break
    # Pictures are stored in the order of decoding: of the last, some are still to come.
    return sorted(ticks)[: max(0, len(ticks) - _REORDERED)]
