"""People who talk: whether what sounds like a call is a word.

Far away, speech is a series of short voiced sounds, as many animals' calls are, and the second look
(`calltag.learn.finding.second_look`), which has heard few people, takes it for calls. The same
evidence tells them apart all the same: of a word the starter model is hardly ever sure, it half
hears a voice in it, and nothing near by is surely a call either. A weighted sum of the evidence,
and of how the sound is spread over the octaves of speech, says how likely that is. It has learnt
from people who do not exist, and from animals that do not (`calltag.learn.invented_talk`).

Only what sounds like a call is judged: speech that the starter model hears as such needs no second
opinion.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from calltag.arrays import DoubleArray
from calltag.learn.finding.second_look import LEAST_PROBABILITY, SecondLook
from calltag.learn.finding.surroundings import EVIDENCE
from calltag.learn.finding.weighted_sum import WeightedSum, unless
from calltag.sound.events import Region
from calltag.sound.spectrum import BIN_HZ

_OCTAVES_HZ = (200, 400, 800, 1600, 3200, 6400)
_LEAST_SHARE_DB = -30.0

TALK_EVIDENCE = (*EVIDENCE, *(f"share_from_{low_hz}_hz" for low_hz in _OCTAVES_HZ[:-1]))
"""What tells talk; see `talk_evidence`."""

_VOWELS_HZ = 300.0  # no lower formant, from memory, so that no word ends below it


@dataclass(frozen=True, slots=True)
class Talk(WeightedSum):
    """How likely an event that sounds like a call is talk."""

    asked = TALK_EVIDENCE
    does = "what tells talk from calls"
    rarer = 1.0


class Judged(NamedTuple):
    """What an event is taken for.

    Attributes
    ----------
    call : float
        Probability that it is a call.
    talk : float
        Probability that it is someone who talks, where it sounds like a call at all; otherwise 0.
    """

    call: float
    talk: float


def talk_evidence(evidence: DoubleArray, region: Region) -> DoubleArray:
    """Gather what speaks for and against someone who talks.

    Parameters
    ----------
    evidence : np.ndarray, shape (len(EVIDENCE),)
        Of an event, by `calltag.learn.finding.surroundings`.
    region : Region
        The event.

    Returns
    -------
    np.ndarray, shape (len(TALK_EVIDENCE),)
        The same, and how much of what stands out of its background lies in each octave from 200 Hz
        to 6.4 kHz, in decibels of all of it, down to -30.
    """
    spectrum = region.excess.mean(axis=0)
    edges = [round(edge_hz / BIN_HZ) for edge_hz in _OCTAVES_HZ]
    shares = np.add.reduceat(spectrum, edges)[:-1] / (spectrum.sum() + 1e-20)
    shares_db = 10 * np.log10(np.maximum(shares, 10 ** (_LEAST_SHARE_DB / 10)))
    return np.concatenate([evidence, shares_db])


def judge(
    second_look: SecondLook, talk: Talk, evidence: ArrayLike, regions: Sequence[Region]
) -> list[Judged]:
    """Judge events: do they sound like calls, and if so, are they someone who talks?

    Where talk is the less likely of the two, a call stays as likely as it sounds.

    Parameters
    ----------
    second_look : SecondLook
        What says whether they sound like calls.
    talk : Talk
        What says whether that is talk.
    evidence : array_like, shape (n_events, len(EVIDENCE))
        Of the events, by `calltag.learn.finding.surroundings`.
    regions : sequence of Region
        The events: what is lower than the vowels of words is none.

    Returns
    -------
    list of Judged
        Both, of each event.
    """
    rows = np.reshape(evidence, (len(regions), len(EVIDENCE)))
    like_calls = second_look.probability(rows).tolist()  # all at once: a fifth of the time
    return [_judged(talk, *each) for each in zip(like_calls, rows, regions, strict=True)]


def _judged(talk: Talk, like_a_call: float, evidence: DoubleArray, region: Region) -> Judged:
    if like_a_call < LEAST_PROBABILITY or region.high_hz < _VOWELS_HZ:
        return Judged(like_a_call, 0.0)
    talking = talk.probability_of(talk_evidence(evidence, region))
    return Judged(like_a_call * unless(talking), talking)
