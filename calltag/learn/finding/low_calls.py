"""Low calls: booms below the voice of most animals, heard by listening three times as fast.

A boom of 150 Hz is a tone of a second in a single mel band, among the tones of engines and mains,
and the starter model takes it for one of them. Played three times as fast it is a hoot like any
other, and an engine is still none. So where something low and pure rises alone, the same model and
the same second look listen once more, at that speed.

Under water and machines that rumble as low, only loud ones are found.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import scipy.ndimage
import soxr

from calltag.arrays import FloatArray
from calltag.learn.finding.second_look import SecondLook
from calltag.learn.finding.whole import Whole
from calltag.learn.networks.starter_model import FRAMES_PER_STEP, STEPS_PER_S, StarterModel
from calltag.sound.events import AROUND_FRAMES, Region, background
from calltag.sound.runs import runs
from calltag.sound.spectrum import BIN_HZ, RATE_HZ, mel_centres_hz

FASTER = 3
"""How many times as fast the sound is played; more, and engines become hoots."""

HIGHEST_HZ = 400.0
"""What is found so has its band below this; the rest is heard well enough as it is."""

_LEAST_SNR_DB = 3.0
_RUMBLE_HZ = 65.0  # the strongest frequency of a call is higher
_CENTRES_HZ = mel_centres_hz()
_LOW = slice(0, int(np.searchsorted(_CENTRES_HZ, HIGHEST_HZ)))
_ABOVE = slice(_LOW.stop + 2, int(np.searchsorted(_CENTRES_HZ, 1500.0)))
_RISE = 3.2  # times its quieter quarter, and that of the bands above: a low band's power
_SHORTEST_S = 0.3
_LONGEST_S = 4.0  # what is low and goes on for longer is a machine that comes and goes
_AROUND_S = 20.0  # what is listened to before and after
_SMOOTH_STEPS = STEPS_PER_S // 5
_APART_STEPS = STEPS_PER_S // 4  # from what was found in other ways
_BINS = slice(1, int(HIGHEST_HZ / BIN_HZ) + 1)
_CLEAR = 2.0  # times as much as is there without it
_PURE = 0.75  # of what a boom adds below `HIGHEST_HZ` lies within a bin of its tone


class LowCall(NamedTuple):
    """A find: its first step, the step after its last, and the probability that it is a call."""

    first: int
    last: int
    probability: float


def find_low_calls(
    hearing: StarterModel,
    second_look: SecondLook,
    segments: Sequence[tuple[int, int]],
    power: FloatArray,
    frames: Callable[[int, int], FloatArray],
    cut: Callable[[float, float], FloatArray],
) -> list[LowCall]:
    """Find low calls in a stretch of sound.

    Parameters
    ----------
    hearing : StarterModel
        The starter model.
    second_look : SecondLook
        What judges its finds.
    segments : sequence of tuple of int
        What was found at the sound's own speed: first step and the step after the last.
    power : np.ndarray, shape (n_steps, N_MELS), float32
        Mel power, by `calltag.learn.networks.starter_model.over_steps`.
    frames : callable
        Gives the power spectrum between two frames of the stretch.
    cut : callable
        Gives its sound between two times, in seconds from its first frame.

    Returns
    -------
    list of LowCall
        In order; none that touches a segment.
    """
    hums = _hums(segments, power, frames)
    if not hums:
        return []
    around_s = max(0.0, hums[0][0] / STEPS_PER_S - _AROUND_S), hums[-1][1] / STEPS_PER_S + _AROUND_S
    fast = soxr.resample(cut(*around_s), RATE_HZ, RATE_HZ // FASTER, quality="MQ")
    heard = _listen(hearing, second_look, fast, round(around_s[0] * STEPS_PER_S))
    found = []
    for first, last in hums:
        covering = [
            call.probability
            for call in heard
            if min(last, call.last) - max(first, call.first) >= (last - first) / 2
        ]
        if covering:
            found.append(LowCall(first, last, covering[0]))
    return found


def _listen(
    hearing: StarterModel, second_look: SecondLook, fast: FloatArray, offset: int
) -> list[LowCall]:
    """Listen to fast sound for what is low; what is close together is one find in it."""
    whole = Whole.listen(hearing, fast)
    segments = whole.likely_segments()
    surroundings = whole.surroundings(segments)
    found = []
    for i, ((first, last), region) in enumerate(
        zip(segments, whole.regions(segments), strict=True)
    ):
        if _is_low(region):
            evidence = surroundings.evidence(i, region)
            probability = second_look.probability_of(evidence)
            begin, end = (offset + FASTER * step for step in (first, last))
            found.append(LowCall(begin, end, probability))
    return found


def _is_low(region: Region) -> bool:
    """Tell whether an event in fast sound is a low one, and more than a rumble."""
    return (
        region.high_hz < FASTER * HIGHEST_HZ
        and region.peak_hz > FASTER * _RUMBLE_HZ
        and region.snr_db >= _LEAST_SNR_DB
    )


def _hums(
    segments: Sequence[tuple[int, int]],
    power: FloatArray,
    frames: Callable[[int, int], FloatArray],
) -> list[tuple[int, int]]:
    """Steps in which something low and pure rises alone: most sound holds none.

    A band of steady noise, averaged so long, keeps within 4 dB of its quieter quarter; gusts,
    knocks and engines are not pure.
    """
    bands = np.concatenate([power[:, _LOW].T, power[:, _ABOVE].sum(axis=1)[None]])
    bands = scipy.ndimage.uniform_filter1d(bands, _SMOOTH_STEPS, axis=1, mode="nearest")
    n_quiet = bands.shape[1] // 4
    rise = bands / (np.partition(bands, n_quiet, axis=1)[:, n_quiet, None] + 1e-12)
    rises = rise[:-1].max(axis=0) > _RISE * np.maximum(rise[-1], 1)
    free = np.ones(len(power), bool)
    for first, last in segments:
        free[max(0, first - _APART_STEPS) : last + _APART_STEPS] = False
    busy = np.repeat(rises | ~free, FRAMES_PER_STEP)
    return [
        (first, last)
        for first, last in runs(rises & free)
        if _SHORTEST_S <= (last - first) / STEPS_PER_S <= _LONGEST_S
        and _is_pure(frames, busy, first * FRAMES_PER_STEP, last * FRAMES_PER_STEP)
    ]


def _is_pure(
    frames: Callable[[int, int], FloatArray],
    busy: npt.NDArray[np.bool_],
    first: int,
    last: int,
) -> bool:
    """Tell whether what a stretch adds to the sound around it is a tone as loud as that."""
    start, stop = max(0, first - AROUND_FRAMES), min(len(busy), last + AROUND_FRAMES)
    power = frames(start, stop)[:, _BINS]
    behind = background(power, busy[start:stop], first - start, last - start)
    added = np.maximum(power[first - start : last - start].mean(axis=0) - behind, 0)
    top = int(added.argmax())
    tone = slice(max(0, top - 1), top + 2)
    return bool(
        (top + _BINS.start) * BIN_HZ > _RUMBLE_HZ
        and added[tone].sum() > max(_PURE * added.sum(), _CLEAR * behind[tone].sum())
    )
