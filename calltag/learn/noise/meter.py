"""Noise over time: which kinds sound in each second of a take, how loud, in which band.

The starter model says how likely each kind is. It hears wind and knocks less well than the rest, so
what the lowest bands show of them is added to its odds (`calltag.learn.noise.wind_and_knocks`).
What beats is added to those of machines (`calltag.learn.noise.beats`), what seems to be calls, but
is talk, to those of voices (`calltag.learn.finding.talk`), and what is a hand, to those of handling
(`calltag.learn.finding.hands`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from operator import attrgetter

import numpy as np
import numpy.typing as npt
import scipy.ndimage
from scipy.special import logit

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.networks.starter_model import STEPS_PER_TENTH
from calltag.learn.noise.beats import machine_odds, steady
from calltag.learn.noise.wind_and_knocks import knock_odds, wind_odds
from calltag.records.found import Call, NoiseSpan
from calltag.records.label import NOISE_KINDS
from calltag.records.span import Span, merged
from calltag.sound.beats.engine import Beat, describe_engines
from calltag.sound.beats.hum import Hum, describe_hum
from calltag.sound.events import BAND_SHARE
from calltag.sound.runs import joined, runs
from calltag.sound.spectrum import (
    FRAMES_PER_S,
    MEAN_SQUARE,
    N_MELS,
    TENTHS_PER_S,
    mel_edges_hz,
    to_db,
)
from calltag.sound.swells import slow_swells
from calltag.sound.wind_and_knocks import group_levels_db

LEAST_PROBABILITY = 0.5
"""A second holds a kind of noise from here on."""

AUDIBLE_HUM_DBFS = -68.0
"""Hum below this is no noise of the take; `calltag.takes.rescue` finds it all the same."""

PASSING = "slow swell, as of an aircraft far away"
"""Detail of a machine that is told by that alone, mostly."""

_FRAMES = FRAMES_PER_S // TENTHS_PER_S  # in a tenth of a second

_MACHINE, _WIND, _WATER, _VOICE, _HANDLING = map(
    NOISE_KINDS.index, ("machine", "wind", "water", "voice", "handling")
)
_SAME_MACHINE_S = 10.0
_NO_WATER = 0.4  # of the odds that a beat gives a machine; a boat on a lake leaves clear water
_ALONE_DB = 3.0
_PASSING_ODDS = 0.2  # 55 %: a doubt, for which no take is thrown away
_PASSING_OTHERS, _PASSING_VOICE = -1.0, -3.0  # odds of other kinds from which on it is one of these
_PASSING_CALLS, _PASSING_TENTHS = 0.3, 61  # share of calls from which on it is these, and of what
_NEXT_WORD_S = 2.0  # no later; a single word would as soon be a call that is mistaken
_BESIDE_HAND_S = 0.2  # a click is heard for longer than it lasts
_SURE_CALL = 0.9
_BESIDE_CALL_S = 0.75  # a call is heard as wind for longer than it lasts
_SUREST = 0.99  # of what is told by an event
_MOSTLY = 0.5
_HUM_SURE = 0.95  # of recordings without hum, none in a hundred showed it


class NoiseMeter:
    """Collects what is heard of noise, tenth by tenth of a second."""

    def __init__(self) -> None:
        self._levels_db: list[npt.NDArray[np.float16]] = []  # an hour of them is 5 MB
        self._odds: list[FloatArray] = []
        self._calling: list[npt.NDArray[np.bool_]] = []
        self._knocks: list[npt.NDArray[np.float16]] = []
        self._low_db: list[npt.NDArray[np.float16]] = []
        self._beats: list[tuple[float, Beat]] = []
        self._hums: list[tuple[Span, Hum]] = []
        self._talk: list[tuple[Span, float]] = []
        self._hands: list[tuple[Span, float]] = []

    def add(self, mel: FloatArray, kinds: FloatArray, call: FloatArray) -> None:
        """Take in consecutive frames.

        Parameters
        ----------
        mel : np.ndarray, shape (n_frames, N_MELS)
            Mel power; whole tenths of a second, except at the take's end.
        kinds : np.ndarray, shape (n_steps, len(NOISE_KINDS))
            Log-odds of each kind.
        call : np.ndarray, shape (n_steps,)
            Log-odds of a call.
        """
        whole = len(mel) // _FRAMES * _FRAMES
        tenths = np.einsum("ijk->ik", mel[:whole].reshape(-1, _FRAMES, N_MELS))
        tenths /= np.float32(_FRAMES)
        self._levels_db.append(to_db(tenths).astype(np.float16))
        whole = len(kinds) // STEPS_PER_TENTH * STEPS_PER_TENTH
        steps = kinds[:whole].reshape(-1, STEPS_PER_TENTH, len(NOISE_KINDS))
        self._odds.append(steps.mean(axis=1))
        self._calling.append(call[:whole].reshape(-1, STEPS_PER_TENTH).max(axis=1) > 0)
        self._knocks.append(steps[:, :, _HANDLING].max(axis=1).astype(np.float16))
        self._low_db.append(group_levels_db(mel).astype(np.float16))

    def add_beat(self, at_s: float, beat: Beat) -> None:
        """Take in what was found where a beat was looked for.

        Parameters
        ----------
        at_s : float
            When; beats come in order.
        beat : Beat
            What was found.
        """
        self._beats.append((at_s, beat))

    def add_talk(self, span: Span, probability: float) -> None:
        """Take in what sounds like a call, and may be someone who talks.

        Parameters
        ----------
        span : Span
            Where; such spans come in order of start.
        probability : float
            How likely that is, see `calltag.learn.finding.talk`; what is unlikely is no matter.
        """
        if probability > LEAST_PROBABILITY:
            self._talk.append((span, probability))

    def add_hand(self, span: Span, probability: float) -> None:
        """Take in what sounds like a call, and may be handling.

        Parameters
        ----------
        span : Span
            Where.
        probability : float
            How likely that is, see `calltag.learn.finding.hands`; what is unlikely is no matter.
        """
        if probability > LEAST_PROBABILITY:
            self._hands.append((span, probability))

    def add_hum(self, span: Span, hum: Hum) -> None:
        """Take in hum of the mains.

        Parameters
        ----------
        span : Span
            Where it is taken to sound; stretches come in order.
        hum : Hum
            The hum.
        """
        if self._hums and self._hums[-1][0].end_s >= span.start_s:
            before, known = self._hums.pop()
            span = Span(before.start_s, span.end_s)
            hum = max(known, hum, key=attrgetter("level_dbfs"))
        self._hums.append((span, hum))

    def spans(self, calls: Sequence[Call] = ()) -> list[NoiseSpan]:
        """Stretches of noise.

        Parameters
        ----------
        calls : sequence of Call
            What was found in the same sound: wind that is nothing but low calls is none.

        Returns
        -------
        list of NoiseSpan
            In order of start; those of one kind do not touch, but that hum of the mains may lie
            under another machine.
        """
        if not self._odds:
            return []
        levels_db, odds = np.concatenate(self._levels_db), np.concatenate(self._odds)
        n = min(len(levels_db), len(odds))
        if not n:
            return []
        smooth, passes = self._weighed(levels_db[:n], odds[:n])
        probability = 1 / (1 + np.exp(-smooth))
        found: list[NoiseSpan] = []
        for i, kind in enumerate(NOISE_KINDS):
            on = probability[:, i] > LEAST_PROBABILITY
            found += [
                _span(kind, levels_db[first:last], probability[first:last, i], first / TENTHS_PER_S)
                for first, last in _lasting(on)
            ]
        hums = list(self._hum_spans(n / TENTHS_PER_S))
        found = [
            self._detailed(span, passes)
            for span in found
            if not (_explained(span, hums) or _is_called(span, calls))
        ]
        return sorted([*found, *hums], key=lambda span: (span.start_s, span.kind))

    def _weighed(
        self, levels_db: npt.NDArray[np.float16], odds: FloatArray
    ) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
        """Odds of each kind with all that is known besides, and where something passes far away."""
        smooth = scipy.ndimage.uniform_filter1d(odds, TENTHS_PER_S, axis=0, mode="nearest")
        smooth[:, _VOICE] = np.maximum(smooth[:, _VOICE], self._talk_odds(len(smooth)))
        low_db = np.concatenate(self._low_db)
        smooth[:, _WIND] = np.maximum(smooth[:, _WIND], wind_odds(low_db, smooth))
        peaks = np.concatenate(self._knocks).astype(np.float64)
        smooth[:, _HANDLING] = np.maximum(smooth[:, _HANDLING], knock_odds(low_db, odds, peaks))
        smooth[:, _HANDLING] = np.maximum(smooth[:, _HANDLING], self._hand_odds(len(smooth)))
        by_ear = steady(odds[:, _MACHINE])
        machine = machine_odds(by_ear, smooth[:, _VOICE], self._beats)
        smooth[:, _WATER] -= np.where(machine != by_ear, _NO_WATER * np.maximum(0, machine), 0)
        passes = self._passes(levels_db, smooth)
        smooth[:, _MACHINE] = np.where(passes, np.maximum(machine, _PASSING_ODDS), machine)
        return smooth, passes

    def _passes(
        self, levels_db: npt.NDArray[np.float16], smooth: FloatArray
    ) -> npt.NDArray[np.bool_]:
        """Where something low swells that is no call, and that no other kind is heard to be."""
        calling = np.concatenate(self._calling)[: len(smooth)].astype(np.float64)
        often = scipy.ndimage.uniform_filter1d(calling, _PASSING_TENTHS, mode="nearest")
        others = smooth[:, [_WIND, _WATER]].max(axis=1) > _PASSING_OTHERS
        quiet = ~others & (smooth[:, _VOICE] < _PASSING_VOICE) & (often < _PASSING_CALLS)
        return slow_swells(levels_db) & quiet

    def _talk_odds(self, n: int) -> DoubleArray:
        """Odds of a voice where one word follows another; -inf elsewhere."""
        odds = np.full(n, -np.inf)
        for (before, likely), (after, as_likely) in itertools.pairwise(self._talk):
            if after.start_s - before.end_s < _NEXT_WORD_S:
                words = slice(
                    math.floor(before.start_s * TENTHS_PER_S), math.ceil(after.end_s * TENTHS_PER_S)
                )
                odds[words] = np.maximum(odds[words], logit(min(likely, as_likely, _SUREST)))
        return odds

    def _hand_odds(self, n: int) -> DoubleArray:
        """Odds of handling where what sounds like a call is rather that; -inf elsewhere."""
        odds = np.full(n, -np.inf)
        for span, likely in self._hands:
            first = max(0, math.floor((span.start_s - _BESIDE_HAND_S) * TENTHS_PER_S))
            there = slice(first, math.ceil((span.end_s + _BESIDE_HAND_S) * TENTHS_PER_S))
            odds[there] = np.maximum(odds[there], logit(min(likely, _SUREST)))
        return odds

    def _detailed(self, span: NoiseSpan, passes: npt.NDArray[np.bool_]) -> NoiseSpan:
        """Say what beats in a machine's noise, or that it swells."""
        if span.kind != "machine":
            return span
        near = [
            (_apart_s(at_s, span), beat.engine)
            for at_s, beat in self._beats
            if beat.engine is not None
        ]
        least_s = min((apart_s for apart_s, _ in near), default=float("inf"))
        # a machine that stopped for a moment is the same one
        beats = [engine for apart_s, engine in near if apart_s == least_s <= _SAME_MACHINE_S]
        if beats:
            return replace(span, detail=describe_engines(beats))
        first, last = (round(edge_s * TENTHS_PER_S) for edge_s in span.span)
        return replace(span, detail=PASSING) if passes[first:last].mean() > _MOSTLY else span

    def _hum_spans(self, duration_s: float) -> Iterator[NoiseSpan]:
        for (start_s, end_s), hum in self._hums:
            if hum.level_dbfs >= AUDIBLE_HUM_DBFS:
                yield NoiseSpan(
                    start_s=start_s,
                    end_s=min(end_s, duration_s),
                    kind="machine",
                    confidence=_HUM_SURE,
                    level_dbfs=hum.level_dbfs,
                    low_hz=hum.base_hz * hum.lines[0],
                    high_hz=hum.base_hz * hum.lines[-1],
                    detail=describe_hum(hum),
                )


def _lasting(on: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches of half a second or more, over gaps of less than one; in a short take, all."""
    return [
        (first, last)
        for first, last in joined(runs(on), TENTHS_PER_S - 1)
        if last - first >= TENTHS_PER_S // 2 or len(on) < TENTHS_PER_S
    ]


def _apart_s(at_s: float, span: NoiseSpan) -> float:
    return max(0.0, span.start_s - at_s, at_s - span.end_s)


def _explained(span: NoiseSpan, hums: Sequence[NoiseSpan]) -> bool:
    """Whether what was taken for a machine is hum: nothing much else sounds in its band."""
    return span.kind == "machine" and any(
        hum.start_s <= span.start_s
        and span.end_s <= hum.end_s + 1
        and hum.level_dbfs >= span.level_dbfs - _ALONE_DB
        for hum in hums
    )


def _is_called(span: NoiseSpan, calls: Sequence[Call]) -> bool:
    """Whether what was taken for wind is low calls alone: wind blows before and after them too."""
    if span.kind != "wind":
        return False
    low = [
        call.span
        for call in calls
        if call.call_probability >= _SURE_CALL
        and span.low_hz < call.low_hz  # a gust taken for a call reaches as low as wind does
        and call.high_hz <= span.high_hz
        and call.start_s < span.end_s + _BESIDE_CALL_S
        and call.end_s > span.start_s - _BESIDE_CALL_S
    ]
    return any(
        run.start_s - _BESIDE_CALL_S <= span.start_s and span.end_s <= run.end_s + _BESIDE_CALL_S
        for run in merged(low, 2 * _BESIDE_CALL_S)
    )


def _span(
    kind: str,
    levels_db: npt.NDArray[np.float16],
    probability: npt.NDArray[np.floating],
    start_s: float,
) -> NoiseSpan:
    if kind == "handling":  # knocks with quiet between them: the middle would be the quiet
        spectrum = (10 ** (levels_db.astype(np.float32) / 10)).mean(axis=0)
    else:
        per_cent = 75 if kind == "wind" else 50  # gusts, and not the lulls between them
        middle_db = np.percentile(levels_db.astype(np.float32), per_cent, axis=0)
        spectrum = 10 ** (middle_db / 10)
    share = np.cumsum(spectrum) / max(float(spectrum.sum()), 1e-20)
    low, high = np.minimum(np.searchsorted(share, BAND_SHARE), N_MELS - 1)
    edges_hz = mel_edges_hz()
    power = float(spectrum[low : high + 1].sum()) * MEAN_SQUARE
    return NoiseSpan(
        start_s=start_s,
        end_s=start_s + len(levels_db) / TENTHS_PER_S,
        kind=kind,
        confidence=float(probability.mean()),
        level_dbfs=float(10 * np.log10(power + 1e-12)),
        low_hz=float(edges_hz[low]),
        high_hz=float(edges_hz[high + 2]),
    )
