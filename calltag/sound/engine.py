"""Engines and mains hum: what beats in a machine's noise, and how fast.

An engine's noise is a comb: lines at whole multiples of the rate at which it fires, or at which its
blades pass. An electric line is a comb too, at multiples of 50 or 60 Hz, and a saw at idle fires at
50 Hz as well. What tells them apart is steadiness: the mains hold their frequency to a part in a
thousand and their lines are as narrow as they can be measured, while no engine holds its speed, so
that its lines widen in proportion to their number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import gcd
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.ndimage

from calltag.errors import InputError

LOWEST_HZ, HIGHEST_HZ = 16.0, 260.0
"""Range of rates looked for: a slow rotor's blades to a saw at full speed."""

_TOP_HZ = 1500.0  # lines above are blurred by the wobble of any engine's speed
_LINES = 10
_STEP_HZ = 0.25
_BASE_HZ = 80.0  # width of the running median that stands for the sound between the lines
_LIMITS_DB = (-10.0, 20.0)  # one strong whistle must not pass for a comb
# Mean and spread, dB, of the highest of three bins of noise over its running median (closed form
# for white noise is 2.4 and 3.6; measured on rain and surf, whose spectra are not flat):
_NOISE_MEAN_DB, _NOISE_SPREAD_DB = 2.5, 4.5
_SURE = 3.3  # of a hundred seconds of rain, surf or fire one passes
_NEARLY = 0.8  # a rate with lines at half its multiples has half the evidence; with all, all of it

_MEDIAN_STEP = 20  # bins
_THINNED_FROM_HZ, _THIN = 48_000, 8
_PASS_HZ = 2900.0
_LOW_PASS = np.sinc(2 * _PASS_HZ / _THINNED_FROM_HZ * (np.arange(64) - 31.5)) * np.kaiser(64, 6.5)
_LOW_PASS = (_LOW_PASS / _LOW_PASS.sum()).astype(np.float32)

_HUM_FRAME_S = 4.0
_HUM_LINES = 12
_HUM_TOLERANCE = 0.004  # mains stay within 0.4 % even on a generator's better days
_HUM_HEIGHT_DB = 12.0
_HUM_AGREE = 0.0006  # lines of one hum agree on its frequency to this part


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
class Hum:
    """Hum of the mains.

    Attributes
    ----------
    mains_hz : float
        50 or 60.
    base_hz : float
        The frequency as measured.
    lines : tuple of int
        The multiples of it that were found.
    height_db : float
        How far the strongest line stands above the sound beside it, in bands of 0.4 Hz.
    level_dbfs : float
        RMS level of its lines together.
    """

    mains_hz: float
    base_hz: float
    lines: tuple[int, ...]
    height_db: float
    level_dbfs: float


def firing_rate_hz(rpm: float, *, cylinders: int = 1, strokes: int = 2) -> float:
    """Rate at which an engine fires.

    Parameters
    ----------
    rpm : float
        Turns per minute.
    cylinders : int
        Number of cylinders.
    strokes : {2, 4}
        A two-stroke fires at every turn, a four-stroke at every other.

    Returns
    -------
    float
        Firing rate in hertz.

    Raises
    ------
    InputError
        If `strokes` is neither 2 nor 4.

    Examples
    --------
    >>> firing_rate_hz(3000), firing_rate_hz(2400, cylinders=4, strokes=4)
    (50.0, 80.0)
    """
    if strokes not in (2, 4):
        raise InputError(f"an engine has 2 or 4 strokes, not {strokes}")
    return rpm / 60 * cylinders * 2 / strokes


def engine_rpm(rate_hz: float, *, cylinders: int = 1, strokes: int = 2) -> float:
    """Turns per minute of an engine that fires at a rate; the inverse of `firing_rate_hz`.

    Parameters
    ----------
    rate_hz : float
        Firing rate.
    cylinders : int
        Number of cylinders.
    strokes : {2, 4}
        Strokes of a cycle.

    Returns
    -------
    float
        Turns per minute.
    """
    return rate_hz / firing_rate_hz(1.0, cylinders=cylinders, strokes=strokes)


def blade_rate_hz(rpm: float, *, blades: int) -> float:
    """Rate at which the blades of a propeller or rotor pass.

    Parameters
    ----------
    rpm : float
        Turns per minute.
    blades : int
        Number of blades.

    Returns
    -------
    float
        Rate in hertz.

    Examples
    --------
    >>> blade_rate_hz(2700, blades=2)
    90.0
    """
    return rpm / 60 * blades


def find_engine(samples: npt.NDArray[Any], rate_hz: int) -> Engine | None:
    """Find the beat of an engine, a rotor or a propeller.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float
        One channel; some seconds of it, as each costs about 5 ms.
    rate_hz : int >= 4000
        Sampling rate.

    Returns
    -------
    Engine or None
        The beat; None where there is no clear one, or less than a second of sound.

    Notes
    -----
    Per second, the spectrum in dB less its running median; for each rate, the mean of that at the
    rate's multiples against the sound at large and against the places half-way between, in units of
    its spread in noise.
    """
    spectra = _whitened(*_thinned(samples, rate_hz))
    if not len(spectra):
        return None
    rates_hz = np.arange(LOWEST_HZ, HIGHEST_HZ, _STEP_HZ)
    numbers = np.arange(1, _LINES + 1)
    within = rates_hz[:, None] * numbers <= _TOP_HZ
    on = np.minimum(np.rint(2 * rates_hz[:, None] * numbers).astype(int), spectra.shape[1] - 1)
    off = np.rint(2 * rates_hz[:, None] * (numbers - 0.5)).astype(int)
    off = np.minimum(off, spectra.shape[1] - 1)
    n_lines = within.sum(axis=1)
    lines = np.where(within, spectra[:, on], 0).sum(axis=2)
    between = np.where(within, spectra[:, off], 0).sum(axis=2)
    sigma = _NOISE_SPREAD_DB * np.sqrt(n_lines)
    evidence = np.minimum(
        (lines - between) / (np.sqrt(2.0) * sigma), (lines - n_lines * _NOISE_MEAN_DB) / sigma
    )
    seconds = np.arange(len(spectra))
    best = _fundamental(evidence, evidence.argmax(axis=1))
    sure = evidence[seconds, best] > _SURE
    if sure.mean() < 0.3:
        return None
    found = rates_hz[best[sure]]
    strength = ((lines - between) / n_lines)[seconds, best][sure]
    return Engine(
        rate_hz=float(np.median(found)),
        slowest_hz=float(found.min()),
        fastest_hz=float(found.max()),
        strength_db=float(strength.mean()),
        share=float(sure.mean()),
    )


def _fundamental(
    evidence: npt.NDArray[np.float64], best: npt.NDArray[np.intp]
) -> npt.NDArray[np.intp]:
    """Take the lowest rate that explains the lines as well: its multiples have lines too."""
    seconds = np.arange(len(evidence))
    enough = _NEARLY * evidence[seconds, best]
    rate_hz = LOWEST_HZ + best * _STEP_HZ
    for divisor in (2, 3, 4):
        # a step to each side: the multiple's rate was found to a step, and is divided
        lower = np.rint((rate_hz / divisor - LOWEST_HZ) / _STEP_HZ).astype(int)[:, None] + [
            -1,
            0,
            1,
        ]
        lower = np.maximum(lower, 0)
        at = lower[seconds, evidence[seconds[:, None], lower].argmax(axis=1)]
        better = (evidence[seconds, at] >= enough) & (rate_hz / divisor >= LOWEST_HZ)
        best = np.where(better, at, best)
    return best


def _thinned(samples: npt.NDArray[Any], rate_hz: int) -> tuple[npt.NDArray[np.float32], int]:
    """Sound at an eighth of its rate, where that holds all that is looked at here.

    A low-pass of 64 samples (flat to 0.1 dB up to 1600 Hz, more than 50 dB down from 4400 Hz on, at
    48 kHz) as one product of matrices: eight times as fast as filtering, and then choosing.
    """
    sound = np.asarray(samples, np.float32)
    if rate_hz != _THINNED_FROM_HZ or len(sound) < len(_LOW_PASS):
        return sound, rate_hz
    n = len(sound) // _THIN
    parts = sound[: n * _THIN].reshape(n, _THIN) @ _LOW_PASS.reshape(-1, _THIN).T
    thin = np.zeros(n - parts.shape[1] + 1, np.float32)
    for i in range(parts.shape[1]):
        thin += parts[i : i + len(thin), i]
    return thin, rate_hz // _THIN


def _whitened(samples: npt.NDArray[np.float32], rate_hz: int) -> npt.NDArray[np.float32]:
    """Spectra of overlapping seconds, dB over the running median, bins of 0.5 Hz to `_TOP_HZ`."""
    if len(samples) < rate_hz:
        return np.zeros((0, 0), np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(samples, rate_hz)[:: rate_hz // 2]
    spectrum = scipy.fft.rfft(frames * np.hanning(rate_hz).astype(np.float32), 2 * rate_hz, axis=1)
    level = 20 * np.log10(np.abs(spectrum[:, : int(2 * (_TOP_HZ + _BASE_HZ))]) + 1e-9)
    level -= _middle(level)
    lifted = scipy.ndimage.maximum_filter1d(np.clip(level, *_LIMITS_DB), 3, axis=1)
    return lifted.astype(np.float32)


def _middle(level: npt.NDArray[np.floating[Any]]) -> npt.NDArray[np.floating[Any]]:
    """Running median of each row, taken at every twentieth bin and drawn straight between."""
    half = int(_BASE_HZ)
    padded = np.pad(level, ((0, 0), (half, half)), mode="edge")
    at = np.arange(0, level.shape[1] + _MEDIAN_STEP - 1, _MEDIAN_STEP).clip(max=level.shape[1] - 1)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1, axis=1)[:, at]
    middle = np.partition(around, half, axis=2)[:, :, half]
    bins = np.arange(level.shape[1])
    return np.stack([np.interp(bins, at, row) for row in middle])


def find_hum(samples: npt.NDArray[Any], rate_hz: int) -> Hum | None:
    """Find hum of the mains.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float
        One channel, at least 4 s; the quieter, the surer.
    rate_hz : int >= 4000
        Sampling rate.

    Returns
    -------
    Hum or None
        The hum; None where there is none, or the sound is too short to tell.
    """
    if len(samples) < _HUM_FRAME_S * rate_hz:
        return None
    sound, rate_hz = _thinned(samples, rate_hz)
    n = min(round(_HUM_FRAME_S * rate_hz), len(sound))
    if n < (_HUM_FRAME_S - 0.1) * rate_hz:
        return None
    frames = np.lib.stride_tricks.sliding_window_view(sound, n)[:: n // 2]
    power = np.zeros(n + 1)
    for frame in frames:  # one at a time: four seconds are large, and there may be many
        power += np.abs(scipy.fft.rfft(frame * np.hanning(n).astype(np.float32), 2 * n)) ** 2
    # a line is to read its RMS level: a sine of amplitude 1 peaks at half the window's sum
    power /= len(frames) * (np.hanning(n).sum() / 2) ** 2 * 2
    level = 10 * np.log10(power + 1e-14)
    found = [hum for mains_hz in (50.0, 60.0) if (hum := _hum_at(level, mains_hz))]
    return max(found, key=lambda hum: len(hum.lines), default=None)


def _hum_at(level: npt.NDArray[np.float64], mains_hz: float) -> Hum | None:
    bin_hz = 1 / (2 * _HUM_FRAME_S)
    lines, bases, heights, peaks = [], [], [], []
    for number in range(1, _HUM_LINES + 1):
        at = number * mains_hz / bin_hz
        reach = max(2, round(at * _HUM_TOLERANCE))
        first = round(at) - reach
        peak = first + int(level[first : first + 2 * reach + 1].argmax())
        # the sound beside the line: 1 to 4 Hz off, past the window's own width
        beside = np.r_[level[peak - 32 : peak - 8], level[peak + 9 : peak + 33]]
        height = level[peak] - np.median(beside)
        # a line as narrow as the window lets it be is lost in the sound beside it 0.75 Hz off, or
        # 20 dB down; a blurred one is not
        narrow = level[peak] - max(level[peak - 6], level[peak + 6])
        if height >= _HUM_HEIGHT_DB and narrow >= min(20.0, height - 4.0):
            left, middle, right = level[peak - 1 : peak + 2]
            offset = (left - right) / (2 * (left - 2 * middle + right))
            lines.append(number)
            bases.append((peak + offset) * bin_hz / number)
            heights.append(height)
            peaks.append(middle)
    if not lines:
        return None
    base = float(np.median(bases))
    kept = [i for i in range(len(lines)) if abs(bases[i] - base) <= base * _HUM_AGREE]
    # mains hum has its first or second line in common; lines at three times these alone are another
    # comb's, such as that of a motor which turns at 90 Hz
    if len(kept) < 2 or gcd(*(lines[i] for i in kept)) > 2:
        return None
    return Hum(
        mains_hz=mains_hz,
        base_hz=base,
        lines=tuple(lines[i] for i in kept),
        height_db=float(max(heights[i] for i in kept)),
        level_dbfs=float(10 * np.log10(sum(10 ** (peaks[i] / 10) for i in kept))),
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


HUM = "hum of the mains"
"""What the description of hum begins with."""


def describe_hum(hum: Hum) -> str:
    """Say in plain words what hums.

    Parameters
    ----------
    hum : Hum
        The hum.

    Returns
    -------
    str
        Its frequency, and how many of its multiples were found.
    """
    more = sum(line > 1 for line in hum.lines)
    with_ = f" and {more} of its multiples" if more else ""
    return f"{HUM}, {hum.mains_hz:.0f} Hz{with_}"


def describe_engines(engines: Sequence[Engine]) -> str:
    """Say in plain words how fast a machine beats.

    Parameters
    ----------
    engines : sequence of Engine
        Its beat at one time or several.

    Returns
    -------
    str
        The rate, its range where it changed by more than a tenth, and what speed that would be of a
        one-cylinder two-stroke.

    Examples
    --------
    >>> from dataclasses import replace
    >>> beat = Engine(rate_hz=92, slowest_hz=90, fastest_hz=94, strength_db=9, share=1)
    >>> describe_engines([beat])
    'beat of 92 Hz (5500 rpm if a one-cylinder two-stroke)'
    >>> describe_engines([beat, replace(beat, rate_hz=60.0)])
    'beat of 60 to 92 Hz (3600 to 5500 rpm if a one-cylinder two-stroke)'
    """
    slowest = min(engine.rate_hz for engine in engines)
    fastest = max(engine.rate_hz for engine in engines)
    if fastest <= 1.1 * slowest:
        slowest = fastest = float(np.median([engine.rate_hz for engine in engines]))
    rates = [f"{slowest:.0f}"] if slowest == fastest else [f"{slowest:.0f}", f"{fastest:.0f}"]
    beat = f"beat of {' to '.join(rates)} Hz"
    if slowest < 35:  # slower than a small engine idles: blades, or a large engine
        return beat
    rpm = [f"{round(engine_rpm(rate), -2):.0f}" for rate in (slowest, fastest)][: len(rates)]
    return f"{beat} ({' to '.join(rpm)} rpm if a one-cylinder two-stroke)"
