"""Calls of invented types as calltag would hear them: in backgrounds, and with other animals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.learn.invented_types.animals import animal
from calltag.learn.networks.voice import patch
from calltag.learn.starter.bank import NOISE_MAKERS
from calltag.learn.starter.sounding import active_frames
from calltag.learn.starter.synth_calls import Rng
from calltag.sound.events import BAND_SHARE, measure_region, refine_edges
from calltag.sound.features import N_EMBEDDING, N_MEASURED, N_VOICE, Sounding, event_features
from calltag.sound.spectrum import HOP, RATE_HZ, mel_power, power_spectrum

N_BACKGROUNDS = 24
"""Stretches of each kind of background that calls are heard in."""

_BACKGROUNDS = ("air", "air", "wind", "water", "machine", "voice", "handling", "other")
_SNRS_DB = (20.0, 15.0, 10.0, 5.0, 0.0)
_SNR_CHANCE = (0.25, 0.25, 0.25, 0.15, 0.1)
_BACKGROUND_S = 8
_OTHER_CHANCE = 0.1  # of another animal, farther away
_OTHER_LEVEL = (0.03, 0.25)
_AROUND_S = 1.5
_OFF_FRAMES = 3  # how far a find's edges may be off


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
    edges = refine_edges(power, busy, region, before=0, after=len(power))
    if edges != (first, last):
        region = measure_region(power, busy, *edges)
    own, dumb = power[edges[0] : edges[1]], np.zeros(N_VOICE, np.float32)
    deaf, mute = np.zeros((1, N_EMBEDDING), np.float32), np.zeros(0, np.float32)
    mel = mel_power(own)
    (row,) = event_features([Sounding(own, mel, region, dumb, deaf, mute)])
    return Measured(row[:N_MEASURED], patch(mel, region.behind).astype(np.float16))


def _stretch(rng: Rng, sounds: Sequence[FloatArray], n: int) -> FloatArray:
    """Cut `n` samples out of one of several sounds."""
    sound = sounds[int(rng.integers(len(sounds)))]
    at = int(rng.integers(0, len(sound) - n + 1))
    return sound[at : at + n]


def invent(
    rng: Rng, *, types: int, each: int, n_backgrounds: int = N_BACKGROUNDS
) -> tuple[list[Measured], npt.NDArray[np.intp]]:
    """Invent call types and measure some calls of each.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    types : int
        How many types.
    each : int
        How many calls of each, at most.
    n_backgrounds : int
        Stretches of each kind of background that they share.

    Returns
    -------
    calls : list of Measured
        The calls.
    codes : np.ndarray, shape (n,), int
        The type of each.
    """
    around = backgrounds(rng, each=n_backgrounds)
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
