"""Make voice and kinship from invented call types: ``python -m calltag.learn.invented_types``.

What makes two calls alike, and what is only distance, weather and chance, is much the same for all
animals, and five labels are too few to learn it from. So it is learnt beforehand, from thousands of
types that no animal has: each calls a few times, from individuals of slightly different voice and
in different rooms, out of backgrounds of all kinds and at levels down to that of the noise, now and
then cut short, or twice in one find, or with another animal farther away. A small network learns to
tell most of them apart (`calltag.learn.voice`). Of the others two covariances are taken, within
types and between them, of the measurements and of what the network makes of calls that it never
heard; `calltag.learn.kinship` reads those. No recording goes into it.
"""

from __future__ import annotations

import argparse
import logging
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import scipy.linalg
import soxr

from calltag.arrays import FloatArray
from calltag.files import written_whole
from calltag.learn.kinship import CUT, LEAST_SPREAD, PRIOR, Kinship
from calltag.learn.starter import synth_calls
from calltag.learn.starter.bank import NOISE_MAKERS
from calltag.learn.starter.recordings import active_frames
from calltag.learn.starter.synth_calls import Rng
from calltag.learn.voice import NETWORK, Voice, patch
from calltag.sound.events import BAND_SHARE, measure_region, refine_edges
from calltag.sound.features import (
    MEASURED_VERSION,
    N_EMBEDDING,
    N_MEASURED,
    N_VOICE,
    VOICE,
    event_features,
)
from calltag.sound.spectrum import HOP, RATE_HZ, power_spectrum

log = logging.getLogger("calltag.learn.invented_types")

N_TYPES = 6500
N_EACH = 12
"""Calls of each type."""

N_KEPT = 1000
"""Types that the network of voices does not learn from: for what it makes of new ones."""

N_DIRECTIONS = 64
"""Directions among the measurements that tell types apart. With 36 more real calls were known than
with 24, and fewer strangers taken for them; 64 did still better, a hundred did not."""

_AT_A_TIME = 250  # types that share their backgrounds
_BACKGROUNDS = ("air", "air", "wind", "water", "machine", "voice", "handling", "other")
_SNRS_DB = (20.0, 15.0, 10.0, 5.0, 0.0)
_SNR_CHANCE = (0.25, 0.25, 0.25, 0.15, 0.1)
_BACKGROUND_S = 8
_N_BACKGROUNDS = 24  # of each kind
_OTHER_CHANCE = 0.1  # of another animal, farther away
_OTHER_LEVEL = (0.03, 0.25)
_AROUND_S = 1.5
_LONGEST_S = 4.0
_OFF_FRAMES = 3  # how far a find's edges may be off
_WIDEST = 3.0
"""Variance between types in any direction, at most, over that within: invented calls are heard
whole, so that their length seems to tell more of them than it does."""

_DIAGONAL = 0.1  # weight of the variances alone in the covariance within types


class Measured(NamedTuple):
    """A call as it was heard.

    Attributes
    ----------
    row : np.ndarray, shape (N_MEASURED,), float32
        What is measured of it, without its voice.
    patch : np.ndarray, shape (2, n_steps, N_MELS), float16
        What the network of voices sees of it.
    """

    row: FloatArray
    patch: npt.NDArray[np.float16]


def animal(rng: Rng) -> Callable[[], FloatArray]:
    """Draw a call type.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.

    Returns
    -------
    callable
        Gives a call of it, float32 at `RATE_HZ`, each time another.
    """
    makers = np.array([maker for maker, _ in synth_calls.FAMILIES], object)
    chance = np.array([weight for _, weight in synth_calls.FAMILIES])
    voices = [
        rng.choice(makers, p=chance / chance.sum())(rng) for _ in range(rng.choice([1, 1, 1, 2, 3]))
    ]
    count = int(rng.choice([1, 1, 1, 2, 3, 4, 6]))
    gap_s = np.exp(rng.uniform(np.log(0.02), np.log(0.28)))
    loose = count > 1 and rng.random() < 0.3
    pace = 0.04 * np.exp(rng.normal(0, 0.5))
    colour_db = rng.uniform(2, 6)
    roomy = 0.7 * rng.choice([0.3, 0.7, 1.0])

    def call() -> FloatArray:
        """Call once."""
        pieces: list[FloatArray] = []
        for i in range(max(1, count + (int(rng.integers(-1, 2)) if loose else 0))):
            one = voices[i % len(voices)]()
            level = np.float32(np.exp(rng.normal(0, 0.2)) / (np.abs(one).max() + 1e-9))
            gap = np.zeros(int(gap_s * np.exp(rng.normal(0, 0.1)) * RATE_HZ), np.float32)
            pieces += [one * level, gap]
        sound = np.concatenate(pieces[:-1])[: int(_LONGEST_S * RATE_HZ)]
        if rng.random() < roomy:
            sound = synth_calls.placed(rng, sound)
        return _as_found(rng, _individual(rng, sound, pace, colour_db))

    return call


def _individual(rng: Rng, sound: FloatArray, pace: float, colour_db: float) -> FloatArray:
    """Another animal of the kind, elsewhere: a little faster or slower, and of other colour."""
    sound = soxr.resample(sound, RATE_HZ, RATE_HZ * np.exp(rng.normal(0, pace)))
    gain_db = rng.normal(0, colour_db, rng.integers(3, 8))

    def gain(hz: FloatArray) -> FloatArray:
        at = np.log(np.maximum(hz, 60) / 60) / np.log(20_000 / 60)
        return np.asarray(10 ** (np.interp(at, np.linspace(0, 1, len(gain_db)), gain_db) / 20))

    sound = synth_calls.filtered(sound, gain)
    return np.asarray(sound / (np.abs(sound).max() + 1e-9), np.float32)


def _as_found(rng: Rng, sound: FloatArray) -> FloatArray:
    """What is found is not always one whole call: now and then it is less, or two in one."""
    if rng.random() < 0.12 and len(sound) > 0.25 * RATE_HZ:
        cut = int(len(sound) * rng.uniform(0.1, 0.45))
        return sound[cut:] if rng.random() < 0.5 else sound[:-cut]
    if rng.random() < 0.1 and len(sound) < 1.5 * RATE_HZ:
        again = sound * np.float32(np.exp(rng.normal(0, 0.3)))
        gap = np.zeros(int(rng.uniform(0.03, 0.3) * RATE_HZ), np.float32)
        return np.concatenate([sound, gap, again])
    return sound


def backgrounds(rng: Rng, *, each: int) -> list[list[FloatArray]]:
    """Make stretches of noise to hear calls in.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    each : int
        How many of each kind.

    Returns
    -------
    list of list of np.ndarray
        By kind; the first is air.
    """
    kinds = [NOISE_MAKERS[kind] for kind in _BACKGROUNDS]
    return [
        [makers[int(rng.integers(len(makers)))](rng, _BACKGROUND_S * RATE_HZ) for _ in range(each)]
        for makers in kinds
    ]


def heard(
    rng: Rng,
    call: FloatArray,
    around: Sequence[Sequence[FloatArray]],
    *,
    other: FloatArray | None = None,
) -> Measured | None:
    """Measure a call in a background drawn for it.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    call : np.ndarray, shape (n,), float32
        The call at `RATE_HZ`.
    around : sequence of sequence of np.ndarray
        Backgrounds by kind; the first is air, which is everywhere.
    other : np.ndarray, shape (n,), float32, optional
        A call of another animal farther away.

    Returns
    -------
    Measured or None
        What is measured of it; None for a call that is too short or long to be heard.
    """
    on = np.flatnonzero(active_frames(call))
    if len(on) < 3:
        return None
    call = call[on[0] * HOP : (on[-1] + 1) * HOP]
    before = int(_AROUND_S * RATE_HZ) // HOP * HOP
    n = len(call) + 2 * before
    if n > _BACKGROUND_S * RATE_HZ:
        return None
    sound = 0.05 * _stretch(rng, around[int(rng.integers(len(around)))], n)
    sound = np.asarray(sound + 0.0015 * _stretch(rng, around[0], n), np.float32)
    inside = slice(before, before + len(call))
    own, room = (power_spectrum(one).mean(axis=0) for one in (call, sound[inside]))
    own = own + np.float32(1e-20)
    share = np.cumsum(own) / own.sum()
    band = (share > BAND_SHARE[0]) & (share < BAND_SHARE[1])
    band[own.argmax()] = True
    snr_db = float(rng.choice(_SNRS_DB, p=_SNR_CHANCE))
    gain = 10 ** (snr_db / 20) * np.sqrt(room[band].sum() / own[band].sum())
    sound[inside] += np.float32(gain) * call
    if other is not None:
        other = other[:n]
        at = int(rng.integers(0, n - len(other) + 1))
        level = gain * np.abs(call).max() * rng.uniform(*_OTHER_LEVEL)
        sound[at : at + len(other)] += np.float32(level) * other
    power = power_spectrum(sound * np.float32(0.5 / np.abs(sound).max()))
    off = rng.integers(-_OFF_FRAMES, _OFF_FRAMES + 1, 2)
    if not call.any():
        return None
    first = before // HOP + int(off[0])
    last = max(first + 4, (before + len(call)) // HOP + int(off[1]))
    busy = np.zeros(len(power), bool)
    busy[first:last] = True
    region = measure_region(power, busy, first, last)
    edges = refine_edges(power, region, before=0, after=len(power))
    if edges != (first, last):
        region = measure_region(power, busy, *edges)
    own, dumb = power[edges[0] : edges[1]], np.zeros(N_VOICE, np.float32)
    deaf, mute = np.zeros((1, N_EMBEDDING), np.float32), np.zeros(0, np.float32)
    row = event_features(own, region, dumb, deaf, mute)[:N_MEASURED]
    return Measured(row, patch(own, region.behind).astype(np.float16))


def _stretch(rng: Rng, sounds: Sequence[FloatArray], n: int) -> FloatArray:
    """Cut `n` samples out of one of several sounds."""
    sound = sounds[int(rng.integers(len(sounds)))]
    at = int(rng.integers(0, len(sound) - n + 1))
    return sound[at : at + n]


def with_voices(calls: Sequence[Measured], voice: Voice) -> FloatArray:
    """Put what a network makes of calls beside what was measured of them.

    Parameters
    ----------
    calls : sequence of Measured
        The calls.
    voice : Voice
        The network.

    Returns
    -------
    np.ndarray, shape (n, N_MEASURED), float32
        One row for each.
    """
    rows = np.stack([call.row for call in calls])
    rows[:, VOICE] = voice.numbers(call.patch for call in calls)
    return rows


def invent(rng: Rng, *, types: int, each: int) -> tuple[list[Measured], npt.NDArray[np.intp]]:
    """Invent call types and measure some calls of each.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    types : int
        How many types.
    each : int
        How many calls of each, at most.

    Returns
    -------
    calls : list of Measured
        The calls.
    codes : np.ndarray, shape (n,), int
        The type of each.
    """
    around = backgrounds(rng, each=_N_BACKGROUNDS)
    calls: list[Measured] = []
    codes = []
    last: FloatArray | None = None
    for code in range(types):
        call = animal(rng)
        for _ in range(each):
            sound = call()
            other = last if last is not None and rng.random() < _OTHER_CHANCE else None
            measured = heard(rng, sound, around, other=other)
            if measured is not None:
                calls.append(measured)
                codes.append(code)
        last = sound
    return calls, np.array(codes)


def learn_kinship(
    measured: FloatArray,
    codes: npt.NDArray[np.intp],
) -> Kinship:
    """Learn what tells types apart.

    Parameters
    ----------
    measured : np.ndarray, shape (n, n_measured)
        Measurements.
    codes : np.ndarray, shape (n,), int
        Type of each, from 0; every type has two at least.

    Returns
    -------
    Kinship
        `N_DIRECTIONS` at most, in which the spread within types is one, or less where that between
        types would be more than `_WIDEST`; the widest first.
    """
    measured = np.asarray(measured, np.float64)
    mean, scale = measured.mean(axis=0), measured.std(axis=0)
    scale[scale < 1e-9] = 1.0
    scaled = np.clip((measured - mean) / scale, -CUT, CUT)
    n = np.bincount(codes)
    centres = np.stack([scaled[codes == code].mean(axis=0) for code in range(len(n))])
    apart = scaled - centres[codes]
    within = apart.T @ apart / (len(codes) - len(n))
    within = (1 - _DIAGONAL) * within + _DIAGONAL * np.diag(within.diagonal())
    within += 1e-4 * np.eye(len(within))
    between = np.cov(centres.T) - within * (1 / n).mean()
    spread, vectors = scipy.linalg.eigh(between, within)
    best = np.argsort(-spread)[:N_DIRECTIONS]
    spread = np.maximum(spread[best], LEAST_SPREAD)
    narrower = np.sqrt(np.minimum(1.0, _WIDEST / spread))
    vectors = vectors[:, best] * narrower
    return Kinship(
        mean=mean,
        scale=scale,
        directions=vectors,
        centre=centres.mean(axis=0) @ vectors,
        spread=spread * narrower**2,
    )


def write(path: Path, known: Kinship) -> None:
    """Write a prior.

    Parameters
    ----------
    path : Path
        The file.
    known : Kinship
        The prior.
    """
    content: dict[str, Any] = {"measured_version": MEASURED_VERSION, **known.arrays(np.float32)}
    with written_whole(path) as partial, partial.open("wb") as file:
        np.savez(file, **content)


def main() -> None:
    """Invent, measure, learn, and write the network of voices and the prior."""
    from calltag.learn.voice_lessons import CALLS_OF_EACH, STEPS, export, teach_voice

    parser = argparse.ArgumentParser(
        prog="python -m calltag.learn.invented_types",
        description="Rebuild the network of voices and the numbers of kinship; takes two hours, and"
        " the extra `train`.",
    )
    parser.add_argument("--voice", type=Path, default=NETWORK, help="where the network goes")
    parser.add_argument("--out", type=Path, default=PRIOR, help="where the prior goes")
    parser.add_argument("--types", type=int, default=N_TYPES)
    parser.add_argument("--kept", type=int, default=N_KEPT, help="of them, from the network")
    parser.add_argument("--each", type=int, default=N_EACH, help="calls of each")
    parser.add_argument("--steps", type=int, default=STEPS, help="training steps")
    parser.add_argument("--seed", type=int, default=9000)
    arguments = parser.parse_args()
    if arguments.each < CALLS_OF_EACH:
        parser.error(f"--each: the network learns from {CALLS_OF_EACH} calls of a type at a time")
    if not 2 <= arguments.kept <= arguments.types - 2:
        parser.error("--kept: two types at least must be kept, and two be left to learn from")
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    calls: list[Measured] = []
    types = []
    for first in range(0, arguments.types, _AT_A_TIME):
        more, codes = invent(
            np.random.default_rng(arguments.seed + first // _AT_A_TIME),
            types=min(_AT_A_TIME, arguments.types - first),
            each=arguments.each,
        )
        calls += more
        types.append(first + codes)
        log.info("%d types invented", min(first + _AT_A_TIME, arguments.types))
    codes = np.concatenate(types)
    n_taught = int((codes < arguments.types - arguments.kept).sum())
    patches = [call.patch for call in calls[:n_taught]]
    net = teach_voice(patches, codes[:n_taught], steps=arguments.steps)
    with written_whole(arguments.voice) as partial:
        export(net, partial)
    rows = with_voices(calls[n_taught:], Voice(arguments.voice))
    _, codes = np.unique(codes[n_taught:], return_inverse=True)
    write(arguments.out, learn_kinship(rows, codes))
    log.info("%d calls, written to %s and %s", len(calls), arguments.voice, arguments.out)


if __name__ == "__main__":
    main()
