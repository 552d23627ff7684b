"""A closer look at a place: does the sound agree there, and along which line?

The evened sound of both takes is correlated in short windows. Each window votes for lags, by how
far its correlation stands above its own mean; the votes are summed along lines of lag over time.
Windows that hear nothing in common vote at random, so even a few that agree on one line stand out;
one alone never does. The line is then fitted to the windows that lie on it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from typing import TypeVar

import numpy as np
import numpy.typing as npt
import scipy.fft

from calltag.arrays import DoubleArray, FloatArray
from calltag.edit.sync.search import Place, as_votes
from calltag.edit.sync.trace import EVEN_RATE_HZ, Trace
from calltag.sound.spectrum import FRAMES_PER_S

_WINDOW = EVEN_RATE_HZ
_HOP_S = 0.5
_AT_ONCE = 16  # windows, so that they stay within the processor's cache
_MOST_WINDOWS = 128
_REACH_S = 0.06  # lags that windows vote for, around the place
_STEP_S = 0.0005  # of lag, for votes
_ON_LINE_S = 0.003
_WORTH_FITTING = 6.0  # in mean powers; noise reaches that within the line's width in some windows
_AGREES = 8.0  # in mean powers; noise hardly reaches that so near the line
_AGREES_S = 0.00075
_ONE_SOUND_S = 6.0  # what repeats is seldom longer, as a call, an alarm, a phrase
_FEWEST = 4
_USUAL_DRIFT = 50e-6  # common practice; what short takes cannot tell is taken to be small
_WINDOW_ERRORS_S = (0.00005, 0.0005)
_ROUNDS = 8  # of fitting, each with the weights that the last one gave
_DEVIATION = 1.5  # standard deviations of a Gaussian to its median distance, 1.4826, rounded up
_NEIGHBOUR_S = 0.005  # lags closer than this are no rivals

T = TypeVar("T", float, DoubleArray)


@dataclass(frozen=True, slots=True)
class Line:
    """Lag over time in take B: ``lag_s + slope * (t_s - at_s)``.

    Attributes
    ----------
    at_s : float
        Middle of the windows, in take B.
    lag_s : float
        Time in take A less time in take B, there.
    slope : float
        How the lag changes over a second of take B.
    evidence : float
        How far the sum of votes stands above that of windows with nothing in common, in
        deviations.
    rival : float
        The same of another line in the same place, as sounds have that repeat quickly.
    n_windows : int
        Windows that were looked at.
    n_agreeing : int
        Windows of which the line's own lag stands out.
    rest : float
        Evidence for the line outside the six seconds that speak for it most: a sound that happened
        twice agrees with itself, and nothing around it does. Zero where nothing is outside.
    spread_s : float
        Typical distance of windows from the line.
    """

    at_s: float
    lag_s: float
    slope: float
    evidence: float
    rival: float
    n_windows: int
    n_agreeing: int
    rest: float
    spread_s: float

    def lag_at(self, t_s: T) -> T:
        """Return the lag at a time, or times, in take B.

        Parameters
        ----------
        t_s : float or np.ndarray, any shape
            Seconds of take B.

        Returns
        -------
        float or np.ndarray, shape of `t_s`
            Seconds.
        """
        return self.lag_s + self.slope * (t_s - self.at_s)


def fit_line(a: Trace, b: Trace, place: Place) -> Line | None:
    """Look at a place closely.

    Parameters
    ----------
    a, b : Trace
        The takes.
    place : Place
        Where they may agree.

    Returns
    -------
    Line or None
        The line on which most windows agree; None where the takes hardly overlap.
    """
    times_s = _windows(a, b, place)
    if not len(times_s):
        return None
    lags_s = place.lag_s + place.slope * (times_s - b.duration_s / 2)
    reach = round(_REACH_S * EVEN_RATE_HZ)
    powers = _correlated(a, b, times_s, lags_s, reach)
    middle_s = float(times_s.mean())
    step, slope, evidence, rival = _best_line(
        as_votes(powers), times_s - middle_s, place.slope_reach
    )
    rough = Line(
        at_s=middle_s,
        lag_s=place.lag_s + place.slope * (middle_s - b.duration_s / 2) + step,
        slope=place.slope + slope,
        evidence=evidence,
        rival=rival,
        n_windows=len(times_s),
        n_agreeing=0,
        rest=0.0,
        spread_s=np.inf,
    )
    line = _fitted(rough, powers, times_s, lags_s, reach)
    return _tested(line, as_votes(powers), times_s, lags_s, reach)


def _windows(a: Trace, b: Trace, place: Place) -> DoubleArray:
    """Middles of the windows to look at, in take B: in each part, where outlines agree best."""
    half_s = _WINDOW / EVEN_RATE_HZ / 2
    times_s = np.arange(half_s, b.duration_s - half_s + 1e-6, _HOP_S)
    lags_s = place.lag_s + place.slope * (times_s - b.duration_s / 2)
    both = (times_s + lags_s >= half_s) & (times_s + lags_s <= a.duration_s - half_s)
    times_s, lags_s = times_s[both], lags_s[both]
    if len(times_s) <= _MOST_WINDOWS:
        return times_s
    half = round(half_s * FRAMES_PER_S)
    agreement = np.zeros(len(times_s))
    for i, (time_s, lag_s) in enumerate(zip(times_s, lags_s, strict=True)):
        in_b = round(time_s * FRAMES_PER_S) - half
        in_a = round((time_s + lag_s) * FRAMES_PER_S) - half
        ours = a.outline[max(in_a, 0) : in_a + 2 * half]
        theirs = b.outline[in_b : in_b + 2 * half]
        n = min(len(ours), len(theirs))
        agreement[i] = np.vdot(ours[:n], theirs[:n])
    edges = np.linspace(0, len(times_s), _MOST_WINDOWS + 1).astype(int)
    parts = pairwise(edges.tolist())
    return times_s[[first + int(np.argmax(agreement[first:end])) for first, end in parts]]


def _correlated(
    a: Trace, b: Trace, times_s: DoubleArray, lags_s: DoubleArray, reach: int
) -> FloatArray:
    """Power of the windows' correlations, over its mean; shape (n_windows, 2 * reach + 1)."""
    powers = np.empty((len(times_s), 2 * reach + 1), np.float32)
    for first in range(0, len(times_s), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        in_a, in_b = _begins(times_s[some], lags_s[some])
        ours, theirs = (
            scipy.fft.fft([take.sound(at, at + _WINDOW) for at in begins] * _taper(), axis=1)
            for take, begins in ((a, in_a.tolist()), (b, in_b.tolist()))
        )
        values = scipy.fft.ifft(ours * theirs.conj(), axis=1)
        near = np.concatenate([values[:, -reach:], values[:, : reach + 1]], axis=1)
        powers[some] = np.square(near.real) + np.square(near.imag)
    return powers / np.maximum(powers.mean(axis=1, keepdims=True), np.float32(1e-12))


def _begins(
    times_s: DoubleArray, lags_s: DoubleArray
) -> tuple[npt.NDArray[np.int_], npt.NDArray[np.int_]]:
    """First numbers of windows around times in take B, and of those that lie a lag later in A."""
    in_b = np.round(times_s * EVEN_RATE_HZ).astype(int) - _WINDOW // 2
    in_a = np.round((times_s + lags_s) * EVEN_RATE_HZ).astype(int) - _WINDOW // 2
    return in_a, in_b


@cache
def _taper() -> FloatArray:
    return np.hanning(_WINDOW).astype(np.float32)


def _best_line(
    powers: FloatArray, times_s: DoubleArray, most: float
) -> tuple[float, float, float, float]:
    """Find the line with most votes: lag in its middle, slope, evidence, its rival's evidence."""
    per_step = round(_STEP_S * EVEN_RATE_HZ)
    reach = powers.shape[1] // 2
    n = reach // per_step
    centre = powers[:, reach - n * per_step : reach + (n + 1) * per_step]
    votes = centre[:, : (2 * n) * per_step].reshape(len(powers), 2 * n, per_step).max(axis=2)
    longest_s = max(float(np.abs(times_s).max()), 1e-3)
    n_slopes = int(np.ceil(most * longest_s / _STEP_S))
    slopes = np.arange(-n_slopes, n_slopes + 1) * _STEP_S / longest_s
    best, at, slope = -np.inf, 0, 0.0
    highest = np.full(votes.shape[1], -np.inf)
    columns = np.arange(votes.shape[1])
    for tried in slopes[np.argsort(np.abs(slopes), kind="stable")]:
        moved = columns[None, :] + np.round(tried * times_s / _STEP_S).astype(int)[:, None]
        inside = (moved >= 0) & (moved < len(columns))
        found = np.take_along_axis(votes, np.clip(moved, 0, len(columns) - 1), axis=1)
        total = np.where(inside, found, 0.0).sum(axis=0)
        highest = np.maximum(highest, total)
        if total.max() > best:
            best, at, slope = float(total.max()), int(np.argmax(total)), float(tried)
    far = np.abs(columns - at) * _STEP_S > _NEIGHBOUR_S + most * longest_s
    rival = float(highest[far].max()) if far.any() else 0.0
    return (at - n + 0.5) * _STEP_S, slope, _evidence(best, votes), _evidence(rival, votes)


def _evidence(total: float, votes: FloatArray) -> float:
    """How far a sum of a vote from each window stands above chance, in deviations."""
    deviation = max(float(votes.std()), 1e-9)
    return float((total / len(votes) - float(votes.mean())) / deviation * np.sqrt(len(votes)))


def _fitted(
    rough: Line, powers: FloatArray, times_s: DoubleArray, lags_s: DoubleArray, reach: int
) -> Line:
    """Fit a line to the windows whose best lag lies on it."""
    found_s, height = np.zeros(len(times_s)), np.zeros(len(times_s))
    near = round(_ON_LINE_S * EVEN_RATE_HZ)
    in_a, in_b = _begins(times_s, lags_s)
    for i, (time_s, lag_s) in enumerate(zip(times_s, lags_s, strict=True)):
        expected = reach + round((rough.lag_at(time_s) - lag_s) * EVEN_RATE_HZ)
        first = max(expected - near, 1)
        part = powers[i, first : min(expected + near + 1, 2 * reach)]
        if not len(part):
            continue
        at = first + int(np.argmax(part))
        height[i] = powers[i, at]
        shift = _vertex(powers[i, at - 1 : at + 2])
        found_s[i] = (in_a[i] - in_b[i] + at - reach + shift) / EVEN_RATE_HZ
    on_line = height >= _WORTH_FITTING
    if not on_line.any():
        return rough
    x, y, w = times_s[on_line] - rough.at_s, found_s[on_line], height[on_line]
    lag_s, slope, error_s = rough.lag_s, rough.slope, _WINDOW_ERRORS_S[1]
    for _ in range(_ROUNDS):
        distance = y - lag_s - slope * x
        weights = w / (1 + np.square(distance / error_s))
        lag_s, slope = _ridge(x, y, weights, error_s)
        typical_s = float(np.median(np.abs(y - lag_s - slope * x)))
        error_s = float(np.clip(_DEVIATION * typical_s, *_WINDOW_ERRORS_S))
    return replace(rough, lag_s=lag_s, slope=slope, spread_s=typical_s)


def _tested(
    line: Line, votes: FloatArray, times_s: DoubleArray, lags_s: DoubleArray, reach: int
) -> Line:
    """Count the windows that agree, and see what is left without the best of them."""
    near = round(_AGREES_S * EVEN_RATE_HZ)
    width = 2 * near + 1
    usual = votes[:, : votes.shape[1] // width * width].reshape(len(votes), -1, width).max(axis=2)
    expected = reach + np.round((line.lag_at(times_s) - lags_s) * EVEN_RATE_HZ).astype(int)
    first = np.clip(expected - near, 0, votes.shape[1] - width)
    on_line = np.array([row[at : at + width].max() for row, at in zip(votes, first, strict=True)])
    above = (on_line - usual.mean()) / max(float(usual.std()), 1e-9)
    behind_s = times_s[None, :] - times_s[:, None]
    sums = np.where((behind_s >= 0) & (behind_s <= _ONE_SOUND_S), above[None, :], 0.0).sum(axis=1)
    since_s = behind_s[int(np.argmax(sums))]
    outside = above[(since_s < -_HOP_S) | (since_s > _ONE_SOUND_S + _HOP_S)]
    rest = outside.sum() / np.sqrt(len(outside)) if len(outside) >= _FEWEST else 0.0
    return replace(line, n_agreeing=int((on_line > _AGREES).sum()), rest=float(rest))


def _vertex(values: FloatArray) -> float:
    left, top, right = values.tolist()
    bend = left - 2 * top + right
    return 0.5 * (left - right) / bend if bend < 0 else 0.0


def _ridge(
    x: DoubleArray, y: DoubleArray, weights: DoubleArray, error_s: float
) -> tuple[float, float]:
    """Weighted least squares in which a slope beyond the usual drift has to be earned."""
    total = weights.sum()
    x_mean, y_mean = (weights @ x) / total, (weights @ y) / total
    usual = (error_s / _USUAL_DRIFT) ** 2 * weights.max()
    slope = (weights @ ((x - x_mean) * (y - y_mean))) / (weights @ np.square(x - x_mean) + usual)
    return float(y_mean - slope * x_mean), float(slope)
