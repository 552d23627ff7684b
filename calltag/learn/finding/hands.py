"""A hand on the tripod: whether what sounds like a call is handling, a step, cloth or leaves.

What hands and feet do is heard as calls where it is loud. What gives it away is that it is broad,
that what is lowest leaps as well, that the starter model is never quite sure of it, and that
something near by is heard as handling. A weighted sum says how likely that is. It has learnt from
invented hands among invented animals (`calltag.learn.invented_hands`). A squeal that is as pure as
a call, and a click that is as dry, it leaves a call.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.finding.second_look import LEAST_PROBABILITY
from calltag.learn.finding.weighted_sum import WeightedSum, unless
from calltag.learn.networks.starter_model import FRAMES_PER_STEP, STEPS_PER_S, Heard
from calltag.records.label import NOISE_KINDS
from calltag.sound.quantiles import quantiles
from calltag.sound.spectrum import FRAMES_PER_S, TENTHS_PER_S, mel_centres_hz, to_db
from calltag.sound.wind_and_knocks import find_knocks, group_levels_db

HAND_EVIDENCE = (
    "top_odds",
    "voice_in_it",
    "handling_in_it",
    "handling_near",
    "low_leap_db",
    "low_leap_near_db",
    "broad",
    "broad_near",
    "rise_db",
    "log_centre",
    "low_over_db",
    "high_over_low_db",
    "uneven_db",
    "knocks_near",
)
"""What hands are told by; see `hand_evidence`."""

_VOICE, _HANDLING = NOISE_KINDS.index("voice"), NOISE_KINDS.index("handling")
_GOING_ON = [NOISE_KINDS.index(kind) for kind in ("machine", "wind", "water")]
_AROUND_STEPS, _PAUSES = 10 * STEPS_PER_S, 0.25  # a hand that is heard as water pauses
_TENTH = FRAMES_PER_S // TENTHS_PER_S
_BEHIND_FRAMES, _BEHIND_PERCENT = 4 * FRAMES_PER_S, 20
_LOW_PERCENT = 30
_NEAR_FRAMES, _NEAR_STEPS = 2 * FRAMES_PER_S, 2 * STEPS_PER_S
_BESIDE_FRAMES, _ONSET_FRAMES, _RISE_FRAMES = 15, 5, 2
_OUT_DB = 8.0
_LOWEST, _LOW, _HIGH = slice(0, 5), slice(0, 8), slice(30, None)  # mel bands; 0.3, 0.5, 2 kHz
_LOG_CENTRES = np.log(mel_centres_hz())
_MOST_ODDS = 6.0
_CLEAREST_DB = 25.0  # over the background; from there on calls have every band, too


@dataclass(frozen=True, slots=True)
class Hands(WeightedSum):
    """How likely an event that sounds like a call is handling."""

    asked = HAND_EVIDENCE
    does = "what tells handling from calls"


def hand_evidence(mel: FloatArray, heard: Heard, first: int, last: int) -> DoubleArray:
    """Gather what speaks for and against a hand.

    Parameters
    ----------
    mel : np.ndarray, shape (n_frames, N_MELS), float32
        Mel power of a stretch.
    heard : Heard
        What the starter model heard in it.
    first, last : int
        First step of the event, and the step after its last.

    Returns
    -------
    np.ndarray, shape (len(HAND_EVIDENCE),)
        The event's highest call odds; the mean odds of a voice and of handling in it, and the
        highest of handling from two seconds before to two seconds after. By how much the lowest
        bands leap there, and in these seconds. Over what is behind it, band by band in the four
        seconds to each side: the largest share of bands that stand out at once, in it and in these
        seconds; how fast it rises; its centre, as a logarithm of hertz; how far its lowest bands
        stand out, and its high ones further than its low ones; how unlike each other bands are.
        Last, how many knocks there are in these seconds.
    """
    begin = min(first * FRAMES_PER_STEP, len(mel) - 1)
    end = min(max(begin + 1, last * FRAMES_PER_STEP), len(mel))
    start = max(0, begin - _BEHIND_FRAMES)
    around = mel[start : end + _BEHIND_FRAMES]
    begin, end = begin - start, end - start
    over_db = _over_behind_db(around)
    own_db, near_db = over_db[begin:end], over_db[max(0, begin - _NEAR_FRAMES) : end + _NEAR_FRAMES]
    stands_out = np.maximum(own_db, 0).mean(axis=0)
    groups_db = group_levels_db(around)
    knocks = [knock.frame for knock in find_knocks(groups_db)]
    kinds = heard.kinds[first:last]
    close = heard.kinds[max(0, first - _NEAR_STEPS) : last + _NEAR_STEPS]
    return np.array(
        [
            heard.call[first:last].max(),
            *np.clip(kinds[:, [_VOICE, _HANDLING]].mean(axis=0), -_MOST_ODDS, _MOST_ODDS),
            np.clip(close[:, _HANDLING].max(), -_MOST_ODDS, _MOST_ODDS),
            *_leaps_db(groups_db[:, 0], begin, end),
            _broadest(own_db),
            _broadest(near_db),
            _rise_db(over_db[max(0, begin - _ONSET_FRAMES) : end]),
            stands_out @ _LOG_CENTRES / (stands_out.sum() + 1e-6),
            stands_out[_LOWEST].mean(),
            stands_out[_HIGH].mean() - stands_out[_LOW].mean(),
            stands_out.std(),
            sum(begin - _NEAR_FRAMES < frame < end + _NEAR_FRAMES for frame in knocks),
        ],
        np.float64,
    )


def _over_behind_db(mel: FloatArray) -> FloatArray:
    """How far each band stands over what it is in the quieter tenths of a second."""
    level_db = to_db(mel)
    whole = len(level_db) // _TENTH * _TENTH
    tenths = level_db[:whole].reshape(-1, _TENTH, level_db.shape[1]).mean(axis=1)
    behind = np.percentile(tenths if len(tenths) else level_db, _BEHIND_PERCENT, axis=0)
    over_db: FloatArray = level_db - behind.astype(np.float32)
    return over_db


def _leaps_db(low_db: FloatArray, begin: int, end: int) -> list[float]:
    """How far the lowest bands rise over what they are around, beside the event and near it."""
    usual_db = np.percentile(low_db, _LOW_PERCENT)
    return [
        float(low_db[max(0, begin - reach) : end + reach].max() - usual_db)
        for reach in (_BESIDE_FRAMES, _NEAR_FRAMES)
    ]


def _broadest(over_db: FloatArray) -> float:
    return float((over_db > _OUT_DB).mean(axis=1).max())


def _rise_db(over_db: FloatArray) -> float:
    """By how much all bands together rise within two hundredths of a second, at most."""
    mean_db = np.maximum(over_db, 0).mean(axis=1)
    return float((mean_db[_RISE_FRAMES:] - mean_db[:-_RISE_FRAMES]).max(initial=0.0))


class HandJudged(NamedTuple):
    """What an event is taken for.

    Attributes
    ----------
    call : float
        Probability that it is a call.
    hand : float
        Probability that it is handling, where it sounds like a call at all; otherwise 0.
    """

    call: float
    hand: float


def judge_hand(
    hands: Hands,
    call: float,
    mel: FloatArray,
    heard: Heard,
    segment: tuple[int, int],
    *,
    snr_db: float,
) -> HandJudged:
    """Judge whether what sounds like a call is a hand.

    Parameters
    ----------
    hands : Hands
        What says so.
    call : float
        Probability that it is a call, as it sounds.
    mel : np.ndarray, shape (n_frames, N_MELS), float32
        Mel power of the stretch that it lies in.
    heard : Heard
        What the starter model heard there.
    segment : tuple of int
        Its first step, and the step after its last.
    snr_db : float
        Its level over the background.

    Returns
    -------
    HandJudged
        Both; where handling is the less likely, a call stays as likely as it sounds. Where a
        machine, wind or water goes on, nothing is taken for a hand, nor what is more than 25 dB
        over the background: each call has every band, if it is only loud enough.
    """
    clear = snr_db > _CLEAREST_DB
    if call < LEAST_PROBABILITY or clear or _noise_goes_on(heard, *segment):
        return HandJudged(call, 0.0)
    hand = hands.probability_of(hand_evidence(mel, heard, *segment))
    return HandJudged(call * unless(hand), hand)


def _noise_goes_on(heard: Heard, first: int, last: int) -> bool:
    """Whether another noise is heard there most of the time: it takes away what a hand shows."""
    around = heard.kinds[max(0, first - _AROUND_STEPS) : last + _AROUND_STEPS, _GOING_ON]
    return bool(quantiles(around.max(axis=1), _PAUSES)[0] > 0)
