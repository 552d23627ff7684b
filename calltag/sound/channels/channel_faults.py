"""What is wrong with a take's channels, found by holding them against each other.

How it is said, and what follows from it, is the business of `calltag.sound.channels.faults`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray
from calltag.records.take import ChannelFault, FaultKind
from calltag.sound.channels.channel_seconds import (
    AUDIBLE_POWER,
    SILENT_POWER,
    Seconds,
    cut_off,
    decibels,
    hissing,
)
from calltag.sound.channels.dropouts import DROPOUT_S
from calltag.sound.channels.silences import Silences

QUIETER_DB = 30.0
"""A channel so much quieter than another holds nothing of use."""

_DEAD_SHARE = 0.99  # of its seconds that are silent
_WINDY_DB = 7.0
_SAME = 0.995
_INVERTED = -0.9
_DC = 0.01
_DC_SURE = 5  # standard errors of the mean
_TOLD = 3


def find_faults(
    seconds: Seconds, silences: Silences, clipped: npt.NDArray[np.int64], used: Sequence[int]
) -> Iterator[ChannelFault]:
    """Find what is wrong with the channels of a take.

    Parameters
    ----------
    seconds : Seconds
        What was measured of all its seconds.
    silences : Silences
        Where its channels are silent.
    clipped : np.ndarray, shape (n_channels,), int64
        How many samples of each are clipped.
    used : sequence of int
        The channels that were chosen, from 0, in order of use.

    Yields
    ------
    ChannelFault
        The next fault.
    """
    silent = seconds.power < SILENT_POWER
    n_channels = silent.shape[1]
    dead = [c for c in range(n_channels) if silent[:, c].mean() > _DEAD_SHARE]
    live = [c for c in range(n_channels) if c not in dead]
    if not live:
        yield ChannelFault(FaultKind.NO_SOUND, _numbers(range(n_channels)))
        return
    if dead:
        yield ChannelFault(FaultKind.DEAD, _numbers(dead))
    yield from _from_then_on(live, seconds, silences)
    useless = list(_useless(live, seconds))
    yield from useless
    good = [c for c in live if all(c + 1 not in fault.channels for fault in useless)]
    yield from _alike(good, seconds)
    rumble_db = _rumble_db(seconds)
    for c in good:
        if c not in used and rumble_db[c] - rumble_db[used[-1]] > _WINDY_DB:
            yield ChannelFault(FaultKind.WINDY, (c + 1,), other=used[-1] + 1)
    for c in live:
        if clipped[c]:
            yield ChannelFault(FaultKind.CLIPPED, (c + 1,), amount=float(clipped[c]))
        if offset := _offset(seconds.mean[:, c]):
            yield ChannelFault(FaultKind.OFFSET, (c + 1,), amount=offset)
    yield from _dropouts(live, silences)


def cut_off_everywhere_s(seconds: Seconds) -> float | None:
    """Find from where on every channel is cut off, some of them with hiss left.

    Parameters
    ----------
    seconds : Seconds
        What was measured of all seconds of a take.

    Returns
    -------
    float or None
        Seconds of the take; None where one channel goes on, or nothing but digital silence is left.
    """
    ends_s = []
    any_hiss = False
    for power, low, mid in zip(seconds.power.T, seconds.low.T, seconds.mid.T, strict=True):
        sounding = np.flatnonzero(power >= SILENT_POWER)
        end = int(sounding[-1]) + 1 if len(sounding) else 0
        cut = cut_off(low, mid)
        if cut is None and len(power) - end < 2:
            return None
        any_hiss |= cut is not None
        ends_s.append(float(end if cut is None else cut))
    return max(ends_s) if any_hiss else None


def _from_then_on(
    live: Sequence[int], seconds: Seconds, silences: Silences
) -> Iterator[ChannelFault]:
    """What begins or ends within the take: channels that stop, or are cut off."""
    stopped_s = _stopped_s(live, seconds.power, silences)
    for c, stop_s in stopped_s.items():
        yield ChannelFault(FaultKind.STOPS, (c + 1,), at_s=stop_s)
    yield from _mute_at_ends(silences)
    hiss_from: dict[int, list[int]] = {}
    for c in live:
        if (
            c not in stopped_s
            and (cut := cut_off(seconds.low[:, c], seconds.mid[:, c])) is not None
        ):
            hiss_from.setdefault(cut, []).append(c)
    for cut, those in sorted(hiss_from.items()):
        yield ChannelFault(FaultKind.HISS, _numbers(those), at_s=float(cut))


def _stopped_s(live: Sequence[int], power: DoubleArray, silences: Silences) -> dict[int, float]:
    """When each channel fell silent that has no sound at the end, where others have some."""
    silent = power < SILENT_POWER
    stopped_s: dict[int, float] = {}
    for c in live:
        begun = silences.begun_at(c)
        fell = begun is not None or np.median(power[~silent[:, c], c]) > AUDIBLE_POWER
        if silent[-2:, c].all() and not silent[-2:].all() and fell:
            last_s = float(np.flatnonzero(~silent[:, c])[-1] + 1)
            stopped_s[c] = last_s if begun is None else begun / silences.rate_hz
    return stopped_s


def _mute_at_ends(silences: Silences) -> Iterator[ChannelFault]:
    """Silence of all channels at the ends, which no dropout is."""
    for start, end in silences.mute():
        if start == 0:
            yield ChannelFault(FaultKind.STARTS, at_s=end / silences.rate_hz)
        elif end >= silences.n_samples - 1:
            yield ChannelFault(FaultKind.STOPS, at_s=start / silences.rate_hz)


def _useless(live: Sequence[int], seconds: Seconds) -> Iterator[ChannelFault]:
    """Channels far below the loudest, or with nothing but hiss from end to end."""
    levels_db = decibels(seconds.mid.mean(axis=0))
    loudest = max(live, key=lambda c: levels_db[c])
    quieter = [c for c in live if levels_db[loudest] - levels_db[c] > QUIETER_DB]
    for c in quieter:
        below_db = float(levels_db[loudest] - levels_db[c])
        yield ChannelFault(FaultKind.QUIETER, (c + 1,), other=loudest + 1, amount=below_db)
    silent = seconds.power < SILENT_POWER
    sounding_db = np.where(silent, np.nan, decibels(seconds.mid))[:, live]
    swing_db, mean_db = np.nanstd(sounding_db, axis=0), np.nanmean(sounding_db, axis=0)
    hiss = hissing(swing_db, mean_db, _rumble_db(seconds)[live], len(seconds.mid))
    for c in np.asarray(live)[hiss].tolist():
        if c not in quieter:
            yield ChannelFault(FaultKind.HISS, (c + 1,))


def _rumble_db(seconds: Seconds) -> DoubleArray:
    """Level of each channel's low frequencies over that of its middle ones."""
    return decibels(seconds.low.mean(axis=0)) - decibels(seconds.mid.mean(axis=0))


def _alike(channels: Sequence[int], seconds: Seconds) -> Iterator[ChannelFault]:
    """Channels that are copies of others, or are turned upside down against them."""
    silent = seconds.power < SILENT_POWER
    first_of = {c: c for c in channels}  # the first channel that each is a copy of
    for a, b in combinations(channels, 2):
        both = ~(silent[:, a] | silent[:, b])
        if not both.any() or first_of[a] != a or first_of[b] != b:
            continue
        likeness = float(np.median(seconds.like[both, a, b]))
        if likeness < _INVERTED:
            yield ChannelFault(FaultKind.COPY_INVERTED, (b + 1,), other=a + 1)
        elif float(np.median(seconds.like_low[both, a, b])) < _INVERTED:
            yield ChannelFault(FaultKind.INVERTED, (b + 1,), other=a + 1)
        elif likeness > _SAME:
            first_of[b] = a
    for a in channels:
        copies = [c for c in channels if first_of[c] == a]
        if len(copies) > 1:
            yield ChannelFault(FaultKind.SAME, _numbers(copies))


def _offset(means: DoubleArray) -> float:
    """Mean of a channel where it is told, of its means in every second; else 0."""
    offset, unsure = float(means.mean()), float(means.std()) / np.sqrt(len(means))
    return offset if len(means) > 1 and abs(offset) > max(_DC, _DC_SURE * unsure) else 0.0


def _dropouts(live: list[int], silences: Silences) -> Iterator[ChannelFault]:
    """Dropouts, and silence of all channels, whose edges a codec may have made soft."""
    rate_hz = silences.rate_hz
    mute = [(a, b) for a, b in silences.mute() if a > 0 and b < silences.n_samples - 1]
    spans = dict.fromkeys(mute, live)
    least = DROPOUT_S * rate_hz
    for (start, end), where in silences.dropouts.items():
        if not any(a - least < start and end < b + least for a, b in mute):
            spans[start, end] = where
    told = sorted(spans.items())
    for (start, end), where in told[:_TOLD]:
        which = () if set(live) <= set(where) else _numbers(where)
        at_s, for_s = start / rate_hz, (end - start) / rate_hz
        yield ChannelFault(FaultKind.DROPS_OUT, which, at_s=at_s, amount=for_s)
    if len(told) > _TOLD:
        yield ChannelFault(FaultKind.MORE_DROPOUTS, amount=len(told) - _TOLD)


def _numbers(channels: Iterable[int]) -> tuple[int, ...]:
    return tuple(c + 1 for c in channels)
