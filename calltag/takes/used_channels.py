"""The channels of a take that its calls were looked for in, and how much of them is clipped."""

from __future__ import annotations

from calltag.records.take import Levels, Take
from calltag.sound.channels.faults import clipped_samples, silent_channels
from calltag.sound.spectrum import RATE_HZ


def used_channel(take: Take) -> int:
    """Tell which channel of a take is listened to.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    int
        A channel that its calls were looked for in, counted from zero: of several, the first whose
        sound does not stop, if there is one.
    """
    if take.levels is None:
        return 0
    used = _used(take.levels)
    silent = silent_channels(take.levels.channel_faults)
    return next((one for one in used if one not in silent), used[0]) - 1


def clipped_ppm(take: Take, channel: int | None = None) -> float:
    """How much of a take's sound is clipped.

    Parameters
    ----------
    take : Take
        The take.
    channel : int or None
        A channel, counted from zero; None for the best of those that were listened to, so that a
        safety track counts for the one that is clipped.

    Returns
    -------
    float
        Clipped samples per million.
    """
    levels, samples = take.levels, take.duration_s * (take.sample_rate_hz or RATE_HZ)
    if levels is None or samples <= 0:
        return 0.0
    clipped = clipped_samples(levels.channel_faults)
    if not clipped:  # it is not said which
        return 1e6 * levels.clipped / samples / max(1, take.channels)
    channels = _used(levels) if channel is None else [channel + 1]
    return 1e6 * min(clipped.get(one, 0) for one in channels) / samples


def _used(levels: Levels) -> list[int]:
    """Channels that were listened to, counted from one, in order of use."""
    return [int(one) for one in levels.channel.split(",") if one.strip().isdigit()] or [1]
