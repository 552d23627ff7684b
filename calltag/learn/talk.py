"""People who talk: whether what sounds like a call is a word.

Far away, speech is a series of short voiced sounds, as many animals' calls are, and the second look
(`calltag.learn.second_look`), which has heard few people, takes it for calls. The same evidence
tells them apart all the same: of a word the starter model is hardly ever sure, it half hears a
voice in it, and nothing near by is surely a call either. A weighted sum of the evidence, and of how
the sound is spread over the octaves of speech, says how likely that is. It has learnt from people
who do not exist, and from animals that do not (`calltag.learn.invented_talk`).

Only what sounds like a call is judged: speech that the starter model hears as such needs no second
opinion.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.special import expit

from calltag.arrays import DoubleArray
from calltag.errors import ModelError
from calltag.files import written_whole
from calltag.learn.second_look import LEAST_PROBABILITY, SecondLook
from calltag.learn.surroundings import EVIDENCE
from calltag.sound.events import Region
from calltag.sound.spectrum import BIN_HZ

_OCTAVES_HZ = (200, 400, 800, 1600, 3200, 6400)
_LEAST_SHARE_DB = -30.0

TALK_EVIDENCE = (*EVIDENCE, *(f"share_from_{low_hz}_hz" for low_hz in _OCTAVES_HZ[:-1]))
"""What tells talk; see `talk_evidence`."""

FARTHEST = 4.0
"""Standard deviations: evidence farther from what is usual counts no more, since no lesson says
what it means. In a chorus, say, no moment is without a call."""

_PER_EVIDENCE = ("usual", "spread", "weight")
_VOWELS_HZ = 300.0  # no lower formant, from memory, so that no word ends below it
_RARER = 1.0  # log-odds: before cameras, people talk less often than among the lessons


@dataclass(frozen=True, slots=True)
class Talk:
    """A weighted sum of the evidence on an event.

    Attributes
    ----------
    evidence : tuple of str
        What it asks for; `TALK_EVIDENCE`.
    usual, spread : tuple of float
        Mean of each over the lessons, and its standard deviation.
    weight : tuple of float
        What a standard deviation more adds to the log-odds.
    usual_odds : float
        Log-odds where everything is as usual.
    lessons : dict of str to int
        How many events of each sort it has learnt from.
    """

    evidence: tuple[str, ...]
    usual: tuple[float, ...]
    spread: tuple[float, ...]
    weight: tuple[float, ...]
    usual_odds: float
    lessons: dict[str, int]

    def probability_of(self, evidence: DoubleArray) -> float:
        """Probability that an event is someone who talks, if it is that or a call.

        Parameters
        ----------
        evidence : np.ndarray, shape (len(TALK_EVIDENCE),)
            Of the event, by `talk_evidence`.

        Returns
        -------
        float
            Between 0 and 1.
        """
        over = np.clip((evidence - self.usual) / self.spread, -FARTHEST, FARTHEST)
        return float(expit(self.usual_odds - _RARER + over @ self.weight))

    @classmethod
    def read(cls, path: Path) -> Talk:
        """Read it from a file.

        Parameters
        ----------
        path : Path
            The file that `write` made.

        Returns
        -------
        Talk
            As it was written.

        Raises
        ------
        ModelError
            If the file is missing, damaged, or asks for other evidence than this version gathers.
        """
        try:
            stored = json.loads(path.read_text("utf-8"))
            numbers = {name: tuple(map(float, stored[name])) for name in _PER_EVIDENCE}
            talk = cls(
                evidence=tuple(stored["evidence"]),
                **numbers,
                usual_odds=float(stored["usual_odds"]),
                lessons=dict(stored["lessons"]),
            )
        except Exception as error:
            raise ModelError(
                f"{path.name}: what tells talk from calls cannot be read ({type(error).__name__});"
                " install calltag again"
            ) from error
        if talk.evidence != TALK_EVIDENCE:
            raise ModelError(f"{path.name}: was made for another version; install calltag again")
        if not talk._is_whole():
            raise ModelError(
                f"{path.name}: what tells talk from calls is damaged; install calltag again"
            )
        return talk

    def _is_whole(self) -> bool:
        """Whether there is a number for all evidence, and one that can be reckoned with."""
        rows = (self.usual, self.spread, self.weight)
        return (
            all(len(row) == len(TALK_EVIDENCE) and np.isfinite(row).all() for row in rows)
            and min(self.spread) > 0
            and bool(np.isfinite(self.usual_odds))
        )

    def write(self, path: Path) -> None:
        """Write it to a file, whole or not at all.

        Parameters
        ----------
        path : Path
            The file.
        """
        with written_whole(path) as partial:
            partial.write_text(json.dumps(asdict(self), indent=1) + "\n", "utf-8")


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
        Of an event, by `calltag.learn.surroundings`.
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


def judge(second_look: SecondLook, talk: Talk, evidence: DoubleArray, region: Region) -> Judged:
    """Judge an event: does it sound like a call, and if so, is it someone who talks?

    Where talk is the less likely of the two, a call stays as likely as it sounds.

    Parameters
    ----------
    second_look : SecondLook
        What says whether it sounds like a call.
    talk : Talk
        What says whether that is talk.
    evidence : np.ndarray, shape (len(EVIDENCE),)
        Of the event, by `calltag.learn.surroundings`.
    region : Region
        The event: what is lower than the vowels of words is none.

    Returns
    -------
    Judged
        Both.
    """
    like_a_call = second_look.probability_of(evidence)
    if like_a_call < LEAST_PROBABILITY or region.high_hz < _VOWELS_HZ:
        return Judged(like_a_call, 0.0)
    talking = talk.probability_of(talk_evidence(evidence, region))
    return Judged(like_a_call * min(1.0, 2 * (1 - talking)), talking)


def talk_model(path: Path) -> Path:
    """Path of what tells talk, beside that of the starter model whose odds it has learnt from.

    Parameters
    ----------
    path : Path
        The starter model.

    Returns
    -------
    Path
        The same with ``_talk.json`` at its end.

    Examples
    --------
    >>> talk_model(Path("models/starter.onnx")).name
    'starter_talk.json'
    """
    return path.with_name(f"{path.stem}_talk.json")
