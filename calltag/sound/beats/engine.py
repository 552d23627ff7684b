"""Engines, rotors and propellers: what beats in a machine's noise, and how fast.

An engine's noise is a comb: lines at whole multiples of the rate at which it fires, or at which its
blades pass. Where the noise has no lines, it may still throb at that rate
(`calltag.sound.beats.throb`). No engine holds its speed, so that its lines widen in proportion to
their number; the mains do (`calltag.sound.beats.hum`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.sound.beats.comb import Comb, comb_evidence, follow, heights_db
from calltag.sound.beats.hum import describe_hum, find_hum
from calltag.sound.beats.throb import THROB, Throb, measure_throb
from calltag.sound.thinning import thinned

ENGINE = Comb(lowest_hz=16.0, highest_hz=260.0, step_hz=0.25, lines=10, top_hz=1500.0)
"""From a slow rotor's blades to a saw at full speed; higher lines are blurred by the wobble of any
engine's speed."""

_SURE = 3.3  # of a hundred seconds of rain, surf or fire one passes
_SURE_SHARE = 0.3  # of the seconds
_SURE_THROB = 1.0  # of a hundred recordings of rain, surf, fire, animals and people none passes
_STEADY = 1.15  # between an even engine's slowest and fastest second

# The evidence of 160 recordings of ten seconds or less, without a machine in them: its middle, and
# what one in ten of them exceeds.
_LINES_USUAL, _LINES_RARE = 2.53, 3.89
_THROB_USUAL, _THROB_RARE = 0.63, 0.76
# What beats without a bass is an animal: in all of 48 recordings of machines it is within 8 dB of
# the strongest band, in most of dogs, cocks and children 20 dB or more below.
_BASS_DB, _NO_BASS_DB = -12.0, -20.0
EVIDENCE = (-1.0, 4.0)
"""Limits of `Beat.evidence`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """The beat in a machine's noise.

    Attributes
    ----------
    rate_hz : float
        Firing rate, or blade passing rate; the median over time.
    slowest_hz, fastest_hz : float
        Its range.
    strength_db : float
        How far the comb's lines stand above the sound between them.
    share : float
        Part of the time that the beat was found in.
    """

    rate_hz: float
    slowest_hz: float
    fastest_hz: float
    strength_db: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Beat:
    """What was found when a beat was looked for.

    Attributes
    ----------
    evidence : float
        How much speaks for a machine: 0 is usual of other sounds, one in ten of them reaches 1;
        within `EVIDENCE`.
    lines, throb : float
        The same of lines in the spectrum alone, and of a throb alone; without limits.
    least_lines : float
        That of lines in the second that shows them least.
    engine : Engine or None
        The beat, where there is a clear one.
    """

    evidence: float
    lines: float
    throb: float
    least_lines: float
    engine: Engine | None


def listen_for_beat(
    samples: npt.NDArray[Any], rate_hz: int, *, lines_above: float = -np.inf
) -> Beat | None:
    """Look for the beat of an engine, a rotor or a propeller.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float
        One channel; some seconds of it, as each costs about 3 ms.
    rate_hz : int >= 4000
        Sampling rate.
    lines_above : float
        Only a beat is wanted that has more evidence of lines than this in each second. Where there
        is none, that is told in half of the time.

    Returns
    -------
    Beat or None
        What was found; None where there is less than a second of sound, or not what is wanted.

    Notes
    -----
    Per second, the evidence of a comb of lines in the spectrum; the clearest second counts, since
    an engine that changes its speed blurs them. Per 2 s, that of a comb in the envelopes; the mean
    counts, since animals call in bursts. The larger of the two is the evidence; where the sound
    has next to no bass, what beats speaks against a machine.
    """
    if len(samples) and np.ptp(samples) == 0:  # a constant's rounding would beat
        samples = np.zeros_like(samples)
    lines, strength_db = _lines(*thinned(samples, rate_hz))
    if not len(lines):
        return None
    each_second = (lines.max(axis=1) - _LINES_USUAL) / (_LINES_RARE - _LINES_USUAL)
    if each_second.min() <= lines_above:
        return None
    throb = measure_throb(samples, rate_hz)
    if throb is None:
        return None
    by_lines = each_second.max()
    by_throb = (throb.evidence.max(axis=1).mean() - _THROB_USUAL) / (_THROB_RARE - _THROB_USUAL)
    evidence = float(np.clip(max(by_lines, by_throb), *EVIDENCE))
    bass = float(np.clip((throb.low_db - _NO_BASS_DB) / (_BASS_DB - _NO_BASS_DB), 0, 1))
    return Beat(
        evidence=bass * evidence - (1 - bass) * min(abs(evidence), -EVIDENCE[0]),
        lines=float(by_lines),
        throb=float(by_throb),
        least_lines=float(each_second.min()),
        engine=(_by_lines(lines, strength_db) or _by_throb(throb)) if bass else None,
    )


def find_engine(samples: npt.NDArray[Any], rate_hz: int) -> Engine | None:
    """Find the beat of an engine, a rotor or a propeller.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float
        One channel; some seconds of it, as each costs about 3 ms.
    rate_hz : int >= 4000
        Sampling rate.

    Returns
    -------
    Engine or None
        The beat; None where there is no clear one, or less than a second of sound.
    """
    beat = listen_for_beat(samples, rate_hz)
    return beat.engine if beat is not None else None


def _lines(samples: FloatArray, rate_hz: int) -> tuple[DoubleArray, DoubleArray]:
    """Evidence and strength of combs in the spectra of overlapping seconds."""
    if len(samples) < rate_hz:
        nothing = np.zeros((0, len(ENGINE.rates_hz)))
        return nothing, nothing
    frames = np.lib.stride_tricks.sliding_window_view(samples, rate_hz)[:: rate_hz // 2]
    return comb_evidence(heights_db(frames, round(2 * ENGINE.top_hz) + 1), 0.5, ENGINE)


def _by_lines(evidence: DoubleArray, strength_db: DoubleArray) -> Engine | None:
    if (evidence.max(axis=1) > _SURE).mean() < _SURE_SHARE:
        return None
    path = follow(evidence, ENGINE)
    seconds = np.arange(len(evidence))
    sure = evidence[seconds, path] > _SURE
    if sure.mean() < _SURE_SHARE:
        return None
    found_hz = ENGINE.rates_hz[path[sure]]
    return Engine(
        rate_hz=float(np.median(found_hz)),
        slowest_hz=float(found_hz.min()),
        fastest_hz=float(found_hz.max()),
        strength_db=float(strength_db[seconds, path][sure].mean()),
        share=float(sure.mean()),
    )


def _by_throb(throb: Throb) -> Engine | None:
    best = int(throb.beat.argmax())
    if throb.beat[best] < _SURE_THROB:
        return None
    rate_hz = float(THROB.rates_hz[best])
    return Engine(
        rate_hz=rate_hz,
        slowest_hz=rate_hz,
        fastest_hz=rate_hz,
        strength_db=float(throb.strength_db[:, best].mean()),
        share=float((throb.evidence[:, best] > _SURE_THROB).mean()),
    )


def describe_machine(samples: npt.NDArray[Any], rate_hz: int) -> str:
    """Say in plain words what beats in a machine's noise.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float
        One channel; a few seconds of the machine.
    rate_hz : int >= 4000
        Sampling rate.

    Returns
    -------
    str
        Such as ``beat of 92 Hz (5500 rpm if a one-cylinder two-stroke)``; empty where nothing
        beats clearly.
    """
    hum = find_hum(samples, rate_hz)
    if hum is not None:
        return describe_hum(hum)
    engine = find_engine(samples, rate_hz)
    return describe_engines([engine]) if engine is not None else ""


def describe_engines(engines: Sequence[Engine]) -> str:
    """Say in plain words how fast a machine beats.

    Parameters
    ----------
    engines : sequence of Engine
        Its beat at one time or several.

    Returns
    -------
    str
        The rate, or its range from slowest to fastest where that is more than a seventh, and what
        speed that would be of a one-cylinder two-stroke.

    Examples
    --------
    >>> from dataclasses import replace
    >>> beat = Engine(rate_hz=92, slowest_hz=90, fastest_hz=94, strength_db=9, share=1)
    >>> describe_engines([beat])
    'beat of 92 Hz (5500 rpm if a one-cylinder two-stroke)'
    >>> describe_engines([beat, replace(beat, rate_hz=70.0, slowest_hz=60.0, fastest_hz=80.0)])
    'beat of 60 to 94 Hz (3600 to 5600 rpm if a one-cylinder two-stroke)'
    """
    slowest = min(engine.slowest_hz for engine in engines)
    fastest = max(engine.fastest_hz for engine in engines)
    if fastest <= _STEADY * slowest:
        slowest = fastest = float(np.median([engine.rate_hz for engine in engines]))
    rates = [f"{slowest:.0f}"] if slowest == fastest else [f"{slowest:.0f}", f"{fastest:.0f}"]
    beat = f"beat of {' to '.join(rates)} Hz"
    if slowest < 35:  # slower than a small engine idles: blades, or a large engine
        return beat
    # a one-cylinder two-stroke fires at every turn
    rpm = [f"{round(60 * rate, -2):.0f}" for rate in (slowest, fastest)][: len(rates)]
    return f"{beat} ({' to '.join(rpm)} rpm if a one-cylinder two-stroke)"
