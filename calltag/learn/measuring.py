"""Measuring an event: its edges, its band and level, the noise around it, its features."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from calltag.learn.hearing import FRAMES_PER_STEP, STEPS_PER_S, Heard
from calltag.learn.voice import voice
from calltag.records import NOISE_KINDS, Call, FloatArray
from calltag.sound.events import Region, clearest, measure_region, refine_edges, under_the_noise
from calltag.sound.features import event_features
from calltag.sound.spectrum import FRAMES_PER_S

_NOISE_STEPS = STEPS_PER_S // 2  # noise within half a second counts as heard at the same time


def measure_call(
    power: FloatArray,
    busy: np.ndarray,
    region: Region,
    *,
    offset: int,
    heard: Heard,
    heard_from: int,
    probability: float,
    edges: tuple[int, int] | None,
    cut: Callable[[float, float], FloatArray],
) -> Call:
    """Measure one event.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    region : Region
        The event, as it was found.
    offset : int
        Frame of the take that `power` begins with.
    heard : Heard
        What the starter model made of the event and of what surrounds it.
    heard_from : int
        Frame of the take that `heard` begins with.
    probability : float
        Probability that it is a call.
    edges : tuple of int or None
        How far its edges may move; None leaves them as they are.
    cut : callable
        Gives the take's sound between two times.

    Returns
    -------
    Call
        The call, with its features.
    """
    first, last = region.first, region.last
    if edges is not None:
        before, after = edges
        first, last = refine_edges(power, region, before=before, after=after)
        further = under_the_noise(region.snr_db)
        first, last = max(before, first - further), min(after, last + further)
    if (first, last) != (region.first, region.last):
        region = clearest(power, busy, measure_region(power, busy, first, last))
    begin = (offset + first - heard_from) // FRAMES_PER_STEP
    end = max(begin + 1, (offset + last - heard_from) // FRAMES_PER_STEP)
    kinds = heard.kinds[max(0, begin - _NOISE_STEPS) : end + _NOISE_STEPS]
    noisy = (1 / (1 + np.exp(-kinds))).mean(axis=0) > 0.5
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
        noise=tuple(kind for kind, on in zip(NOISE_KINDS, noisy, strict=True) if on),
        features=event_features(
            power[first:last],
            region,
            voice().of(power[first:last], region.behind),
            heard.embedding[begin:end],
            cut(start_s, end_s),
        ),
    )
