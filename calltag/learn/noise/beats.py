"""Machines by what is heard and by what beats.

The starter model takes some rain, fire and ticking for machines, and some helicopters for water.
What beats tells them apart (`calltag.sound.beats.engine`), but would cost as much as the rest of a
pass if it were looked for everywhere. So it is looked for in excerpts, where it can change the
outcome.

An aircraft or a boat far away is air to the starter model, however loud it is there: what reaches
so far has its tone, not its rasp. It still beats as nothing else does. So what is heard counts only
so much against a clear beat, and where no machine is heard, the loudest moment is looked at. That
beat has lines, and has them all the time: a snipe's drumming, frogs and a woodpecker throb without,
and cries end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from operator import itemgetter
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.arrays import DoubleArray, FloatArray
from calltag.sound.beats.engine import EVIDENCE, Beat, listen_for_beat
from calltag.sound.beats.hum import find_hum
from calltag.sound.runs import runs
from calltag.sound.spectrum import RATE_HZ, TENTHS_PER_S

# Log-odds of a machine: those of the starter model and the evidence of a beat, weighed by logistic
# regression on 238 recordings, by models that had not heard them (odds of the seconds even).
_BY_EAR, _BY_BEAT, _OFFSET = 1.7, 2.13, -4.03
_LEAST_BY_EAR = -1.5  # where no machine is heard, that speaks no more against a clear beat
_VOICE = -1.0  # unless a voice is heard, which has lines as well
_MOST = 6.0  # no more certain than one in four hundred is wrong: five in a hundred were
_STEADY_S = 3.0
_REACH_S = 16.0  # an excerpt says less of what is farther away, and from here on nothing

DOUBTFUL_ODDS = tuple(-(_OFFSET + _BY_BEAT * evidence) / _BY_EAR for evidence in EVIDENCE[::-1])
"""Between these odds of the starter model any beat may decide; below them a clear one alone."""

CLEAR_BEAT = -(_OFFSET + _BY_EAR * _LEAST_BY_EAR) / _BY_BEAT
"""Evidence from which on a beat turns whatever the starter model hears, but for a voice.
Of 170 excerpts of rain, surf, fire, wind, thunder, animals and people one exceeds it, a clock."""

_LEAST_LINES = 1.0  # in each second of it, where no machine is heard: propellers far away exceed it
# wherever they beat clearly; drumming, croaks and purring do not, roars and buzzing seldom

_EXCERPT_S = 4.0
_HALF = round(_EXCERPT_S / 2 * TENTHS_PER_S)  # of an excerpt, in tenths of a second
_EVERY_S = 5.0  # at first; the longer the outcome stays the same, the more seldom
_SELDOMER = 1.5
_DOUBT_MOST_S, _CERTAIN_MOST_S = 20.0, 45.0  # in doubt; or where only the rate is to be told,
_UNLIKELY = -2.0  # or where only rare evidence could turn these odds, and lately did not
_SLACK_S = 3.0  # an excerpt may come so much later, to be where nothing calls
_ASIDE = 8 * TENTHS_PER_S  # from one to the next where no machine is heard; it speaks for half
_CALLING = (0.5, 0.8)  # shares of an excerpt: what beats in one that is full of calls is a call
_SHORTEST_S = 0.5


def steady(odds: FloatArray) -> DoubleArray:
    """Even out the odds of what goes on for a while, but leave its beginning and end in place.

    Parameters
    ----------
    odds : np.ndarray, shape (n,)
        Log-odds, ten a second.

    Returns
    -------
    np.ndarray, shape (n,)
        Their running median over 3 s.
    """
    size = round(_STEADY_S * TENTHS_PER_S) + 1
    evened: DoubleArray = scipy.ndimage.median_filter(
        np.asarray(odds, np.float64), size, mode="nearest"
    )
    return evened


class Stretch(NamedTuple):
    """A stretch of a take in which beats are looked for, tenth by tenth of a second.

    Attributes
    ----------
    start_s : float
        Where it begins.
    odds : np.ndarray, shape (n,)
        Log-odds of a machine by the starter model, by `steady`.
    calling : np.ndarray, shape (n,)
        How much of each has a call in it.
    low : np.ndarray, shape (n,)
        Power of the low bands.
    """

    start_s: float
    odds: DoubleArray
    calling: npt.NDArray[np.floating]
    low: npt.NDArray[np.floating]


def machine_odds(
    odds: DoubleArray, voice: npt.NDArray[np.floating], beats: Sequence[tuple[float, Beat]]
) -> DoubleArray:
    """Odds of a machine by ear and beat together.

    Parameters
    ----------
    odds : np.ndarray, shape (n,)
        Log-odds by the starter model, ten a second, by `steady`.
    voice : np.ndarray, shape (n,)
        Log-odds of a voice.
    beats : sequence of (float, Beat)
        What was found at which second, in order.

    Returns
    -------
    np.ndarray, shape (n,)
        Log-odds; those of the starter model alone where no beat was looked for nearby.
    """
    heard: list[tuple[int, float]] = []
    unheard: list[tuple[int, float]] = []
    for at_s, beat in beats:
        tenth = min(int(at_s * TENTHS_PER_S), len(odds) - 1)
        (heard if odds[tenth] > DOUBTFUL_ODDS[0] else unheard).append((tenth, beat.evidence))
    both = _weighed(odds, heard) if heard else odds.copy()
    for tenth, evidence in unheard:
        near = slice(max(0, tenth - _ASIDE // 2), tenth + _ASIDE // 2 + 1)
        alone = np.where(voice[near] > _VOICE, -_MOST, _both(_LEAST_BY_EAR, evidence))
        both[near] = np.maximum(both[near], alone)
    return both


def _weighed(odds: DoubleArray, beats: Sequence[tuple[int, float]]) -> DoubleArray:
    """Odds of a machine by what is heard, and by the evidence of beats at some tenths."""
    reach = round(_REACH_S * TENTHS_PER_S)
    weight = np.zeros(len(odds) + 2 * reach)
    weighted = np.zeros_like(weight)
    for tenth, evidence in beats:
        weight[reach + tenth] += 1
        weighted[reach + tenth] += evidence
    nearness = 1 - np.abs(np.arange(-reach, reach + 1)) / (reach + 1)
    weight, weighted = (np.convolve(x, nearness, "same")[reach:-reach] for x in (weight, weighted))
    known = weight > 0
    return np.where(known, _both(odds, weighted / np.where(known, weight, 1)), odds)


def _both(odds: Any, evidence: Any) -> Any:
    return np.clip(_BY_EAR * odds + _BY_BEAT * evidence + _OFFSET, -_MOST, _MOST)


class BeatWatch:
    """Looks for beats along a take, where they matter."""

    def __init__(self) -> None:
        self._last_s = -np.inf
        self._said: tuple[bool, bool] | None = None
        self._pause_s = _EVERY_S

    def look(
        self, stretch: Stretch, cut: Callable[[float, float], FloatArray]
    ) -> list[tuple[float, Beat]]:
        """Look for beats in a stretch of the take.

        Parameters
        ----------
        stretch : Stretch
            The stretch; they come in order.
        cut : callable
            Gives the sound at `RATE_HZ` between two times, as far as it is there.

        Returns
        -------
        list of (float, Beat)
            The middle of each excerpt, in order, and what was found in it.
        """
        around = np.cumsum(np.pad(stretch.calling, (_HALF + 1, _HALF)))
        busy = (around[2 * _HALF :] - around[: -2 * _HALF]) / (2 * _HALF)
        found = [*self._in_doubt(stretch, busy, cut), *_unheard(stretch, busy, cut)]
        return sorted(found, key=itemgetter(0))

    def _in_doubt(
        self, stretch: Stretch, busy: DoubleArray, cut: Callable[[float, float], FloatArray]
    ) -> Iterator[tuple[float, Beat]]:
        """Look where any beat may decide."""
        start_s, odds = stretch.start_s, stretch.odds
        for first, last in _middles(odds):
            at = first
            while at < last:
                if start_s + at / TENTHS_PER_S < self._last_s + self._every_s(odds[at]):
                    at += 1
                    continue
                at += int(busy[at : min(last, at + round(_SLACK_S * TENTHS_PER_S))].argmin())
                at_s = self._last_s = start_s + at / TENTHS_PER_S
                beat = _listened(at_s, busy[at], cut)
                if beat is not None:
                    self._note(float(odds[at]), beat)
                    yield at_s, beat

    def _note(self, odds: float, beat: Beat) -> None:
        said = bool(_both(odds, beat.evidence) > 0), beat.engine is not None
        self._pause_s = _SELDOMER * self._pause_s if said == self._said else _EVERY_S
        self._said = said

    def _every_s(self, odds: float) -> float:
        if odds < _UNLIKELY and not (self._said and self._said[0]):
            return _CERTAIN_MOST_S
        certain = odds >= DOUBTFUL_ODDS[1]
        return min(self._pause_s, _CERTAIN_MOST_S if certain else _DOUBT_MOST_S)


def _middles(odds: DoubleArray) -> Iterator[tuple[int, int]]:
    """Where the middle of an excerpt may lie: first tenth, and the one after the last."""
    for begin, end in runs(odds > DOUBTFUL_ODDS[0]):
        first, last = begin + _HALF, end - _HALF
        if last > first:
            yield first, last
        elif end - begin >= _SHORTEST_S * TENTHS_PER_S:  # the excerpt reaches beyond it
            yield (begin + end) // 2, (begin + end) // 2 + 1


def _unheard(
    stretch: Stretch, busy: DoubleArray, cut: Callable[[float, float], FloatArray]
) -> list[tuple[float, Beat]]:
    """Look at the loudest moment where no machine is heard, and aside while it beats clearly."""
    loudness = _loudness_unheard(stretch, busy)
    n = len(loudness)
    if not n or loudness.max() < 0:
        return []

    def clear(at: int) -> tuple[float, Beat] | None:
        at_s = stretch.start_s + at / TENTHS_PER_S
        beat = _listened(at_s, busy[at], cut, lines_above=_LEAST_LINES)
        return (at_s, beat) if beat is not None and beat.evidence > CLEAR_BEAT else None

    loudest = int(loudness.argmax())
    first = clear(loudest)
    if first is None or _hums(first[0], cut):
        return []
    found = [first]
    lowest, highest = min(_HALF, n // 2), max(n - _HALF - 1, n // 2)
    for ats in (
        range(loudest + _ASIDE, n + _ASIDE // 2, _ASIDE),
        range(loudest - _ASIDE, -_ASIDE // 2, -_ASIDE),
    ):
        for past in ats:  # the last one speaks for what is left up to the border
            at = min(max(past, lowest), highest)
            if loudness[at] < 0:
                continue
            one = clear(at)
            if one is None:
                break
            found.append(one)
    return found


def _loudness_unheard(stretch: Stretch, busy: DoubleArray) -> DoubleArray:
    """Power around each tenth that may be the middle of an excerpt without a machine, or -1."""
    n = len(stretch.odds)
    inside = slice(_HALF, n - _HALF) if n > 2 * _HALF else slice(n // 2, n // 2 + 1)
    power = scipy.ndimage.uniform_filter1d(stretch.low, 2 * _HALF, mode="nearest")
    heard = scipy.ndimage.maximum_filter1d(stretch.odds, 2 * _HALF, mode="nearest")
    free = np.zeros(n, bool)
    free[inside] = True
    free &= (heard <= DOUBTFUL_ODDS[0]) & (busy[:n] <= _CALLING[0])
    return np.where(free, power, -1.0)


def _listened(
    at_s: float,
    busy: float,
    cut: Callable[[float, float], FloatArray],
    *,
    lines_above: float = -np.inf,
) -> Beat | None:
    """What beats in the excerpt around a moment, so much of which is calls."""
    excerpt = cut(at_s - _EXCERPT_S / 2, at_s + _EXCERPT_S / 2)
    beat = listen_for_beat(excerpt, RATE_HZ, lines_above=lines_above)
    return None if beat is None else _unless_calls(beat, busy)


def _hums(at_s: float, cut: Callable[[float, float], FloatArray]) -> bool:
    """Whether the mains hum there: their lines are no machine's, and are told by themselves."""
    return find_hum(cut(at_s - _EXCERPT_S / 2, at_s + _EXCERPT_S / 2), RATE_HZ) is not None


def _unless_calls(beat: Beat, share: float) -> Beat:
    """What is left of a beat when so much of its excerpt is calls: they may be what beats."""
    most, all_ = _CALLING
    left = float(np.clip((all_ - share) / (all_ - most), 0, 1))
    return replace(
        beat,
        evidence=min(beat.evidence, left * beat.evidence),
        engine=beat.engine if left else None,
    )
