"""Make the likeness prior from invented call types: ``python -m calltag.learn.invented_types``.

What makes two calls alike, and what is only distance, weather and chance, is much the same for all
animals, and five labels are too few to learn it from. So it is learnt beforehand, from some hundred
and fifty types that no animal has: each calls a few times, from individuals of slightly different
voice, out of backgrounds of all kinds and at levels down to that of the noise. Two covariances of
the measurements come out of it, within types and between them, and `calltag.learn.kinship` reads
both. No recording goes into it.
"""

from __future__ import annotations

import argparse
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.linalg
import soxr

from calltag.files import written_whole
from calltag.learn.kinship import CUT, PRIOR, Kinship
from calltag.learn.starter import synth_calls
from calltag.learn.starter.bank import NOISE_MAKERS
from calltag.learn.starter.recordings import active_frames
from calltag.learn.starter.synth_calls import Rng
from calltag.records import FloatArray
from calltag.sound.events import measure_region, refine_edges
from calltag.sound.features import FEATURE_VERSION, N_EMBEDDING, N_MEASURED, event_features
from calltag.sound.spectrum import HOP, RATE_HZ, power_spectrum

log = logging.getLogger("calltag.learn.invented_types")

N_TYPES = 160
N_EACH = 12
N_DIRECTIONS = 24
"""Directions among the measurements that tell types apart; more told invented types apart better,
and real ones worse."""

_BACKGROUNDS = ("air", "air", "wind", "water", "machine", "voice", "handling", "other")
_SNRS_DB = (20.0, 15.0, 10.0, 5.0, 0.0)
_SNR_CHANCE = (0.25, 0.25, 0.25, 0.15, 0.1)
_BAND_SHARE = (0.05, 0.95)  # of a call's energy: the level counts between these
_AROUND_S = 1.5
_LONGEST_S = 4.0
_OFF_FRAMES = 3  # how far a find's edges may be off
_REACH = 6
_WIDEST = 3.0
"""Variance between types in any direction, at most, over that within: invented calls are heard
whole, so that their length seems to tell more of them than it does."""

_DIAGONAL = 0.1  # weight of the variances alone in the covariance within types


def animal(rng: Rng) -> Callable[[], FloatArray]:
    """Draw a call type.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.

    Returns
    -------
    callable
        Gives a call of it, float32 of peak 1 at `RATE_HZ`, each time another.
    """
    makers = np.array([maker for maker, _ in synth_calls.FAMILIES], object)
    chance = np.array([weight for _, weight in synth_calls.FAMILIES])
    voices = [
        rng.choice(makers, p=chance / chance.sum())(rng) for _ in range(rng.choice([1, 1, 1, 2, 3]))
    ]
    count = int(rng.choice([1, 1, 1, 2, 3, 4, 6]))
    gap_s = np.exp(rng.uniform(np.log(0.02), np.log(0.28)))
    loose = count > 1 and rng.random() < 0.3

    def call() -> FloatArray:
        """Call once."""
        pieces: list[FloatArray] = []
        for i in range(count + (int(rng.integers(-1, 2)) if loose else 0)):
            one = voices[i % len(voices)]()
            level = np.float32(np.exp(rng.normal(0, 0.2)) / (np.abs(one).max() + 1e-9))
            gap = np.zeros(int(gap_s * np.exp(rng.normal(0, 0.1)) * RATE_HZ), np.float32)
            pieces += [one * level, gap]
        return _individual(rng, np.concatenate(pieces[:-1])[: int(_LONGEST_S * RATE_HZ)])

    return call


def _individual(rng: Rng, sound: FloatArray) -> FloatArray:
    """Another animal of the kind, elsewhere: a little faster or slower, and of other colour."""
    sound = soxr.resample(sound, RATE_HZ, RATE_HZ * np.exp(rng.normal(0, 0.04)))
    gain_db = rng.normal(0, 3.0, rng.integers(3, 8))
    hz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    at = np.log(np.maximum(hz, 60) / 60) / np.log(20_000 / 60)
    gain = 10 ** (np.interp(at, np.linspace(0, 1, len(gain_db)), gain_db) / 20)
    sound = np.fft.irfft(np.fft.rfft(sound) * gain, len(sound)).astype(np.float32)
    return np.asarray(sound / (np.abs(sound).max() + 1e-9), np.float32)


def heard(rng: Rng, call: FloatArray) -> FloatArray | None:
    """Measure a call in a background drawn for it.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    call : np.ndarray, shape (n,), float32
        The call at `RATE_HZ`.

    Returns
    -------
    np.ndarray, shape (N_MEASURED,), float32, or None
        What is measured of it; None for a call that is too short to be found.
    """
    on = np.flatnonzero(active_frames(call))
    if len(on) < 3:
        return None
    call = call[on[0] * HOP : (on[-1] + 1) * HOP]
    around = int(_AROUND_S * RATE_HZ) // HOP * HOP
    n = len(call) + 2 * around
    makers = NOISE_MAKERS[_BACKGROUNDS[int(rng.integers(len(_BACKGROUNDS)))]]
    sound = 0.05 * makers[int(rng.integers(len(makers)))](rng, n)
    sound = np.asarray(sound + 0.0015 * NOISE_MAKERS["air"][0](rng, n), np.float32)
    inside = slice(around, around + len(call))
    own, room = (power_spectrum(one).mean(axis=0) for one in (call, sound[inside]))
    share = np.cumsum(own) / own.sum()
    band = (share > _BAND_SHARE[0]) & (share < _BAND_SHARE[1])
    band[own.argmax()] = True
    snr_db = float(rng.choice(_SNRS_DB, p=_SNR_CHANCE))
    gain = 10 ** (snr_db / 20) * np.sqrt(room[band].sum() / own[band].sum())
    sound[inside] += np.float32(gain) * call
    power = power_spectrum(sound * np.float32(0.5 / np.abs(sound).max()))
    off = rng.integers(-_OFF_FRAMES, _OFF_FRAMES + 1, 2)
    first = around // HOP + int(off[0])
    last = max(first + 4, (around + len(call)) // HOP + int(off[1]))
    busy = np.zeros(len(power), bool)
    busy[first:last] = True
    region = measure_region(power, busy, first, last)
    edges = refine_edges(power, region, reach=_REACH, before=0, after=len(power))
    if edges != (first, last):
        region = measure_region(power, busy, *edges)
    deaf, mute = np.zeros((1, N_EMBEDDING), np.float32), np.zeros(0, np.float32)
    return event_features(power[edges[0] : edges[1]], region, deaf, mute)[:N_MEASURED]


def invent(rng: Rng, *, types: int, each: int) -> tuple[FloatArray, npt.NDArray[np.intp]]:
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
    measured : np.ndarray, shape (n, N_MEASURED), float32
        One row for each call.
    codes : np.ndarray, shape (n,), int
        Its type.
    """
    rows, codes = [], []
    for code in range(types):
        call = animal(rng)
        for _ in range(each):
            row = heard(rng, call())
            if row is not None:
                rows.append(row)
                codes.append(code)
    return np.stack(rows), np.array(codes)


def kinship(
    measured: FloatArray, codes: npt.NDArray[np.intp], *, directions: int = N_DIRECTIONS
) -> Kinship:
    """Learn what tells types apart.

    Parameters
    ----------
    measured : np.ndarray, shape (n, n_measured)
        Measurements.
    codes : np.ndarray, shape (n,), int
        Type of each, from 0; every type has two at least.
    directions : int
        How many directions to keep.

    Returns
    -------
    Kinship
        Directions in which the spread within types is one, or less where that between types would
        be more than `_WIDEST`; the widest first.
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
    best = np.argsort(-spread)[:directions]
    spread = np.maximum(spread[best], 1e-3)
    narrower = np.sqrt(np.minimum(1.0, _WIDEST / spread))
    vectors = vectors[:, best] * narrower
    return Kinship(
        mean=mean,
        scale=scale,
        directions=vectors,
        centre=centres.mean(axis=0) @ vectors,
        spread=spread * narrower**2,
    )


def main() -> None:
    """Invent, measure, and write the prior."""
    parser = argparse.ArgumentParser(
        prog="python -m calltag.learn.invented_types",
        description="Rebuild the likeness prior; takes a few minutes.",
    )
    parser.add_argument("--out", type=Path, default=PRIOR)
    parser.add_argument("--types", type=int, default=N_TYPES)
    parser.add_argument("--each", type=int, default=N_EACH)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    measured, codes = invent(
        np.random.default_rng(arguments.seed), types=arguments.types, each=arguments.each
    )
    _, codes = np.unique(codes, return_inverse=True)
    prior = kinship(measured, codes)
    with written_whole(arguments.out) as partial, partial.open("wb") as file:
        content: dict[str, Any] = {"feature_version": FEATURE_VERSION, **prior.arrays(np.float32)}
        np.savez(file, **content)
    log.info("%d calls of %d types, written to %s", len(codes), codes.max() + 1, arguments.out)


if __name__ == "__main__":
    main()
