"""Measuring an event: its edges, its band and level, its features."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.learn.networks.starter_model import FRAMES_PER_STEP, Heard
from calltag.learn.networks.voice import voice
from calltag.records.found import Call
from calltag.sound.events import Region, clearest, measure_region, refine_edges, under_the_noise
from calltag.sound.features import event_features
from calltag.sound.spectrum import FRAMES_PER_S


class Event(NamedTuple):
    """An event as it was found, and what is needed to measure it.

    Attributes
    ----------
    offset : int
        Frame of the take that `power` begins with.
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    region : Region
        Where it is among these frames.
    """

    offset: int
    power: FloatArray
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


def measure_call(
    event: Event,
    listened: Listened,
    *,
    probability: float,
    edges: tuple[int, int] | None,
    cut: Callable[[float, float], FloatArray],
) -> Call:
    """Measure one event.

    Parameters
    ----------
    event : Event
        The event.
    listened : Listened
        What was heard of it and of what surrounds it.
    probability : float
        Probability that it is a call.
    edges : tuple of int or None
        How far its edges may move, among its frames; None leaves them as they are.
    cut : callable
        Gives the take's sound between two times.

    Returns
    -------
    Call
        The call, with its features; its noise is told by that of the take.

    Raises
    ------
    ModelError
        If the network that tells voices apart is missing or damaged.
    """
    offset, power, busy, region = event
    region = clearest(power, busy, region)
    first, last = region.first, region.last
    if edges is not None:
        before, after = edges
        first, last = refine_edges(power, busy, region, before=before, after=after)
        further = under_the_noise(region.snr_db)
        first, last = max(before, first - further), min(after, last + further)
    if (first, last) != (region.first, region.last):
        region = clearest(power, busy, measure_region(power, busy, first, last))
    heard_from, heard = listened
    begin = (offset + first - heard_from) // FRAMES_PER_STEP
    end = max(begin + 1, (offset + last - heard_from) // FRAMES_PER_STEP)
    start_s, end_s = (offset + first) / FRAMES_PER_S, (offset + last) / FRAMES_PER_S
    return Call(
        start_s=start_s,
        end_s=end_s,
        low_hz=region.low_hz,
        high_hz=region.high_hz,
        peak_hz=region.peak_hz,
        snr_db=region.snr_db,
        level_dbfs=region.level_dbfs,
        call_probability=probability,
        confidence=probability,
        features=event_features(
            power[first:last],
            region,
            voice().of(power[first:last], region.behind),
            heard.embedding[begin:end],
            cut(start_s, end_s),
        ),
    )
