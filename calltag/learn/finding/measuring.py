"""Measuring events: their edges, their band and level, their features."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.learn.networks.starter_model import FRAMES_PER_STEP, Heard
from calltag.learn.networks.voice import patch, voice
from calltag.records.found import Call
from calltag.sound.events import Region, clearest, measure_region, refine_edges, under_the_noise
from calltag.sound.features import Sounding, event_features
from calltag.sound.spectrum import FRAMES_PER_S


class Event(NamedTuple):
    """An event as it was found, and what is needed to measure it.

    Attributes
    ----------
    offset : int
        Frame of the take that `power` begins with.
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    mel : np.ndarray, shape (n_frames, N_MELS)
        Mel power of the same frames.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    region : Region
        Where it is among these frames.
    """

    offset: int
    power: FloatArray
    mel: FloatArray
    busy: npt.NDArray[np.bool_]
    region: Region


class Listened(NamedTuple):
    """What the starter model made of some sound.

    Attributes
    ----------
    offset : int
        Frame of the take that it begins with.
    heard : Heard
        What was heard from there on.
    """

    offset: int
    heard: Heard


class Found(NamedTuple):
    """An event that is taken for a call.

    Attributes
    ----------
    event : Event
        The event.
    probability : float
        Probability that it is a call.
    edges : tuple of int or None
        How far its edges may move, among its frames; None leaves them as they are.
    """

    event: Event
    probability: float
    edges: tuple[int, int] | None


def measure_calls(
    found: Sequence[Found], listened: Listened, cut: Callable[[float, float], FloatArray]
) -> list[Call]:
    """Measure events.

    Parameters
    ----------
    found : sequence of Found
        The events.
    listened : Listened
        What was heard of them and of what surrounds them.
    cut : callable
        Gives the take's sound between two times.

    Returns
    -------
    list of Call
        The calls, with their features; their noise is told by that of the take.

    Raises
    ------
    ModelError
        If the network that tells voices apart is missing or damaged.

    Notes
    -----
    All of them are taken through one step before the next: the processor has it at hand then, which
    for the network halves the time.
    """
    if not found:
        return []
    regions = [_settled(one) for one in found]
    voices = voice().numbers(
        patch(one.event.mel[region.first : region.last], region.behind)
        for one, region in zip(found, regions, strict=True)
    )
    soundings = [
        _sounding(*each, listened, cut) for each in zip(found, regions, voices, strict=True)
    ]
    return [_call(*each) for each in zip(found, regions, event_features(soundings), strict=True)]


def _settled(found: Found) -> Region:
    """Where an event is, with its edges set."""
    _, power, _, busy, region = found.event
    region = clearest(power, busy, region)
    if found.edges is None:
        return region
    before, after = found.edges
    first, last = refine_edges(power, busy, region, before=before, after=after)
    further = under_the_noise(region.snr_db)
    first, last = max(before, first - further), min(after, last + further)
    if (first, last) == (region.first, region.last):
        return region
    return clearest(power, busy, measure_region(power, busy, first, last))


def _sounding(
    found: Found,
    region: Region,
    numbers: FloatArray,
    listened: Listened,
    cut: Callable[[float, float], FloatArray],
) -> Sounding:
    """What an event is described by, with its edges set and the numbers of its voice."""
    own = slice(region.first, region.last)
    first, last = found.event.offset + region.first, found.event.offset + region.last
    begin = (first - listened.offset) // FRAMES_PER_STEP
    end = max(begin + 1, (last - listened.offset) // FRAMES_PER_STEP)
    return Sounding(
        found.event.power[own],
        found.event.mel[own],
        region,
        numbers,
        listened.heard.embedding[begin:end],
        cut(first / FRAMES_PER_S, last / FRAMES_PER_S),
    )


def _call(found: Found, region: Region, features: FloatArray) -> Call:
    """Put together what was measured of an event."""
    return Call(
        start_s=(found.event.offset + region.first) / FRAMES_PER_S,
        end_s=(found.event.offset + region.last) / FRAMES_PER_S,
        low_hz=region.low_hz,
        high_hz=region.high_hz,
        peak_hz=region.peak_hz,
        snr_db=region.snr_db,
        level_dbfs=region.level_dbfs,
        call_probability=found.probability,
        confidence=found.probability,
        features=features,
    )
