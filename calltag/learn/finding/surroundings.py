"""What an event is judged by: how it stands in its surroundings.

The starter model hears a second or two to each side. A saw that is revved sounds much like a call
there; what gives it away is that it sounded like that before, and will again. So more is
gathered of each event: its odds, and what the fifteen seconds on each side hold where nothing was
found. How much louder is its band than usual there, does any moment there have its colour, how do
the odds run while there is no call?

Noise that is never steady comes again, too: what does the minute hold at the moments that sound
most like this one (`calltag.sound.background`), and what were the odds there?

What told nothing more: where the band lies and how wide it is, how often it is as loud, how like
each other events are. With all measurements of `calltag.sound.features` F1 was no better, and twice
as much was found there.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.networks.starter_model import FRAMES_PER_STEP, STEPS_PER_S, Heard, over_steps
from calltag.records.label import NOISE_KINDS
from calltag.sound.background import EVERY, MOMENT_FRAMES, background
from calltag.sound.events import Region
from calltag.sound.quantiles import quantiles
from calltag.sound.spectrum import mel_centres_hz

EVIDENCE = (
    "mean_odds",
    "top_odds",
    "low_odds",
    "spread",
    "log_steps",
    "odds_before",
    "odds_after",
    "calls_around",
    "sure_around",
    "unsure_around",
    *(f"{kind}_in_it" for kind in NOISE_KINDS),
    *(f"{kind}_around" for kind in NOISE_KINDS),
    "snr_db",
    "log_usual",
    "over_usual",
    "over_usual_db",
    "usual_spread_db",
    "over_loud_db",
    "like_colour",
    "unlike_in_ear",
    "high_odds_near",
    "unsure_near",
    "events_near",
    "stands_out_db",
    "over_expected_db",
    "over_expected",
    "over_loud_expected_db",
    "clearest_over_expected_db",
    "beside_over_expected_db",
    "odds_when_alike",
    "events_when_alike",
)
"""What an event is judged by; see `Surroundings.evidence`."""

_CENTRES_HZ = mel_centres_hz()
_BESIDE_STEPS = round(0.3 * STEPS_PER_S)
_CLOSE_STEPS = 2 * STEPS_PER_S
_AROUND_STEPS = 5 * STEPS_PER_S
_NEAR_STEPS = 15 * STEPS_PER_S
_FEWEST_STEPS = STEPS_PER_S // 2  # steps without events that are needed to know what is usual
_SURELY_NOT = -9.0  # log-odds: one step more of silence, so that there is one
_USUAL_ODDS = -5.0  # of silence, where the sound ends
_SURE = 3.0  # a step with higher odds is surely call
_DOUBT, _IN_DOUBT = -0.5, 2.5  # within so much of it, a step is neither call nor not
_MOST_ODDS = 6.0  # of a noise kind, for or against: more says nothing new
_LOUD = 0.95
_LEAST_SPREAD_DB = 0.5
_LEAST_OVER_DB = 0.3
_CLEAREST = 4  # bands
_GROUP = 24  # pairs of steps: of a window some seventy groups
_MOMENT_STEPS = MOMENT_FRAMES // FRAMES_PER_STEP


class _Usual(NamedTuple):
    """What an event is compared with, near it."""

    steps: npt.NDArray[np.intp]
    begin: int  # of those where nothing was found, among all of the window
    end: int
    length: int  # of moments to compare it with

    @property
    def n_free(self) -> int:
        """Steps where nothing was found."""
        return self.end - self.begin


class Surroundings:
    """A window of sound with its events, for a second look at each.

    Parameters
    ----------
    power : np.ndarray, shape (n_steps, N_MELS), float32
        Mel power of each step, by `calltag.learn.networks.starter_model.over_steps`.
    level_db : np.ndarray, shape (n_steps, N_MELS), float32
        The mean level of each, likewise.
    heard : Heard
        What the starter model heard.
    segments : sequence of tuple of int
        First step of each event and the step after its last, in order.
    """

    def __init__(
        self,
        power: FloatArray,
        level_db: FloatArray,
        heard: Heard,
        segments: Sequence[tuple[int, int]],
    ) -> None:
        n = len(power)
        self._heard, self._power, self._level = heard, power, level_db
        self._segments = [(min(first, n - 1), min(last, n)) for first, last in segments]
        free = np.ones(n, bool)
        for first, last in self._segments:
            free[first:last] = False
        self._free = np.flatnonzero(free)
        self._pair_sums = [_pair_sums(rows[self._free]) for rows in (level_db, heard.embedding)]
        if self._segments:
            behind = background(over_steps(level_db, _MOMENT_STEPS))
            self._over_expected = level_db - _each_step(behind.expected_db, n)
            heard_there = np.stack([heard.call[:n], ~free], axis=1).astype(np.float32)
            there = over_steps(heard_there, _MOMENT_STEPS)[::EVERY]
            self._when_alike = _each_step(behind.alike @ there, n)

    def evidence(self, event: int, region: Region) -> DoubleArray:
        """Gather what speaks for and against an event.

        Parameters
        ----------
        event : int
            Which of the segments.
        region : Region
            Its band and level.

        Returns
        -------
        np.ndarray, shape (len(EVIDENCE),)
            Mean, highest, lower quarter and spread of its call odds; the logarithm of its length;
            the odds just before and after it; how much of the five seconds on each side is call,
            surely call, and neither call nor not; the odds of each noise kind in it and in the two
            seconds around it; its level over the background. Then, of the fifteen seconds on each
            side, where nothing was found: the logarithm of how many steps those are; how far the
            level in its band is over the usual one, in spreads and in decibels; that spread; its
            highest level over what is loud there; how like its colour the likest moment is, as a
            cosine; how far the likest moments are in the starter model's description. Last, of the
            same seconds whole: high odds, how much is unsure, how many other events; and how far
            its clearest band stands out. And of the whole window, at the moments that sound most
            like its own: how far its band is over the level to expect, in decibels, in spreads of
            what it is elsewhere, and over what is loud there; how far its clearest bands are over
            that, and those beside it from that; the odds there, and how much of it is events.
        """
        first, last = self._segments[event]
        usual = self._usual(first, last)
        return np.concatenate(
            [
                self._odds(first, last),
                self._kinds(first, last),
                self._contrast(first, last, region, usual),
                self._scene(event, region),
                self._over_expectation(first, last, region, usual),
            ]
        )

    def _odds(self, first: int, last: int) -> DoubleArray:
        call = self._heard.call
        odds = call[first:last]
        before, after = (
            call[max(0, first - _BESIDE_STEPS) : first],
            call[last : last + _BESIDE_STEPS],
        )
        around = np.concatenate(
            [
                call[max(0, first - _AROUND_STEPS) : max(0, first - _BESIDE_STEPS)],
                call[last + _BESIDE_STEPS : last + _AROUND_STEPS],
                [_SURELY_NOT],
            ]
        )
        return np.array(
            [
                odds.mean(),
                odds.max(),
                *quantiles(odds, 0.25),
                odds.std(),
                np.log(last - first),
                before.mean() if len(before) else _USUAL_ODDS,
                after.mean() if len(after) else _USUAL_ODDS,
                (around > 0).mean(),
                (around > _SURE).mean(),
                _unsure(around),
            ]
        )

    def _kinds(self, first: int, last: int) -> DoubleArray:
        kinds = self._heard.kinds
        close = kinds[max(0, first - _CLOSE_STEPS) : last + _CLOSE_STEPS]
        means = [rows.mean(axis=0) for rows in (kinds[first:last], close)]
        return np.clip(np.concatenate(means), -_MOST_ODDS, _MOST_ODDS)

    def _contrast(self, first: int, last: int, region: Region, usual: _Usual) -> DoubleArray:
        """What the event is beside what is usual near it."""
        sums = [rows[usual.begin // 2 : usual.end // 2 + 1] for rows in self._pair_sums]
        if usual.n_free < _FEWEST_STEPS:
            sums = [_pair_sums(rows[usual.steps]) for rows in (self._level, self._heard.embedding)]
        near = self._near(first, last)
        in_band = _sums_across(self._power[near, _band(region)])
        inside, outside = (in_band[at - near.start] for at in (np.arange(first, last), usual.steps))
        own_db = _db(inside.mean())
        middle, spread, _ = _levels(_db(_moments(outside, usual.length)), _LEAST_SPREAD_DB)
        pairs = max(1, usual.length // 2)
        colours, ears = (_means(rows, pairs, max(1, pairs // 2)) for rows in sums)
        colour = self._level[first:last].mean(axis=0)
        ear = self._heard.embedding[first:last].mean(axis=0)
        return np.array(
            [
                region.snr_db,
                np.log(1 + usual.n_free),
                (own_db - middle) / spread,
                own_db - middle,
                spread,
                _db(inside.max()) - _db(quantiles(outside, _LOUD)[0]),
                _cosines(colours, colour).max(),
                *quantiles(np.sqrt(np.square(ears - ear).sum(axis=1)), 0.1),
            ]
        )

    def _scene(self, event: int, region: Region) -> DoubleArray:
        """What the seconds near the event are like, and how clear it is."""
        first, last = self._segments[event]
        odds = self._heard.call[self._near(first, last)]
        others = sum(
            begin < last + _NEAR_STEPS and end > first - _NEAR_STEPS
            for begin, end in self._segments
        )
        clearest = self._level[first:last].max(axis=0)
        return np.array(
            [
                *quantiles(odds, _LOUD),
                _unsure(odds),
                others - 1,
                clearest[_band(region)].max() - quantiles(clearest, 0.5)[0],
            ]
        )

    def _over_expectation(
        self, first: int, last: int, region: Region, usual: _Usual
    ) -> DoubleArray:
        """What the event is beside what sounded at other moments like its own."""
        band = _band(region)
        near = self._near(first, last)
        over_db = self._over_expected[near, band]
        in_band_db = _sums_across(over_db) / over_db.shape[1]
        others_db = _moments(in_band_db[usual.steps - near.start], usual.length)
        middle, spread, loud = _levels(others_db, _LEAST_OVER_DB)
        bands_db = self._over_expected[first:last].mean(axis=0)
        own_db = float(bands_db[band].mean())
        beside_db = np.concatenate([bands_db[: band.start], bands_db[band.stop :]])
        return np.array(
            [
                own_db,
                (own_db - middle) / spread,
                own_db - loud,
                np.sort(bands_db)[-_CLEAREST:].mean(),
                np.abs(beside_db).mean() if len(beside_db) else 0.0,
                *self._when_alike[first:last].mean(axis=0),
            ]
        )

    def _usual(self, first: int, last: int) -> _Usual:
        near = self._near(first, last)
        begin, end = np.searchsorted(self._free, (near.start, near.stop)).tolist()
        steps = self._free[begin:end]
        if len(steps) < _FEWEST_STEPS:  # all of it is events: they are what is usual
            steps = np.arange(near.start, near.stop)
        return _Usual(steps, begin, end, max(1, min(last - first, len(steps) // 4)))

    def _near(self, first: int, last: int) -> slice:
        return slice(max(0, first - _NEAR_STEPS), min(len(self._level), last + _NEAR_STEPS))


def _band(region: Region) -> slice:
    """Mel bands of an event, one more on each side."""
    low, high = np.searchsorted(_CENTRES_HZ, (region.low_hz, region.high_hz)).tolist()
    first = min(max(0, low - 1), len(_CENTRES_HZ) - 1)
    return slice(first, max(first + 1, high + 1))


def _each_step(moments: FloatArray, n_steps: int) -> FloatArray:
    """What moments say, for each step; the steps after the last moment are like it."""
    steps = np.repeat(moments, _MOMENT_STEPS, axis=0)[:n_steps]
    return np.concatenate([steps, np.repeat(moments[-1:], n_steps - len(steps), axis=0)])


def _sums_across(rows: FloatArray) -> FloatArray:
    """Sum of each row: of rows so short, several times as fast as by `np.sum`."""
    sums: FloatArray = rows @ np.ones(rows.shape[1], np.float32)
    return sums


def _moments(values: FloatArray | DoubleArray, length: int) -> DoubleArray:
    """Mean of a number over each stretch of so many steps."""
    return _means(np.concatenate([[0.0], np.cumsum(values, dtype=np.float64)]), length)


def _levels(values_db: DoubleArray, least_spread_db: float) -> tuple[float, float, float]:
    """The middle level, how far most are from it, and what is loud."""
    lower, middle, upper, loud = quantiles(values_db, 0.16, 0.5, 0.84, _LOUD).tolist()
    return middle, max(least_spread_db, (upper - lower) / 2), loud


def _unsure(odds: FloatArray) -> float:
    """Share of steps that are neither call nor not."""
    return float((np.abs(odds - _DOUBT) < _IN_DOUBT).mean())


def _db(power: npt.ArrayLike) -> DoubleArray:
    return np.asarray(10 * np.log10(np.asarray(power, np.float64) + 1e-12))


def _pair_sums(rows: FloatArray) -> DoubleArray:
    """Running sums of pairs of steps, so that the mean of any stretch is a difference.

    Likeness does not need finer ones. Summed within groups first, and then from group to group: a
    quarter of the time that it takes row by row.
    """
    pairs = over_steps(rows, 2) if len(rows) else rows
    n, width = pairs.shape
    n_groups = -(-n // _GROUP)
    sums = np.zeros((1 + n_groups * _GROUP, width))
    sums[1 : 1 + n] = pairs
    groups = sums[1:].reshape(n_groups, _GROUP, width)
    for i in range(1, _GROUP):
        groups[:, i] += groups[:, i - 1]
    for before, group in itertools.pairwise(groups):
        group += before[-1]
    return sums[: 1 + n]


def _means(sums: DoubleArray, length: int, every: int = 1) -> DoubleArray:
    """Mean of stretches of a length that begin every so many steps."""
    return np.asarray((sums[length::every] - sums[:-length:every]) / length)


def _cosines(rows: DoubleArray, one: FloatArray) -> DoubleArray:
    """Likeness of rows to one, whatever their level."""
    rows = rows - rows.mean(axis=1, keepdims=True)
    one = one - one.mean()
    return np.asarray(rows @ one / (np.linalg.norm(rows, axis=1) * np.linalg.norm(one) + 1e-9))
