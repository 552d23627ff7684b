"""A weighted sum of evidence, learnt beforehand and kept in a file: how likely one thing is."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import ClassVar, Self

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from calltag.arrays import DoubleArray
from calltag.errors import ModelError
from calltag.files import written_whole

FARTHEST = 4.0
"""Standard deviations: evidence farther from what is usual counts no more, since no lesson says
what it means. In a chorus, say, no moment is without a call."""

_PER_EVIDENCE = ("usual", "spread", "weight")


@dataclass(frozen=True, slots=True)
class WeightedSum:
    """A weighted sum of the evidence on an event; what it is of, those derived from it say.

    Attributes
    ----------
    evidence : tuple of str
        What it asks for; `asked`.
    usual, spread : tuple of float
        Mean of each over the lessons, and its standard deviation.
    weight : tuple of float
        What a standard deviation more adds to the log-odds.
    usual_odds : float
        Log-odds where everything is as usual.
    lessons : dict of str to int
        How many events of each sort it has learnt from.
    """

    asked: ClassVar[tuple[str, ...]] = ()
    does: ClassVar[str] = ""
    rarer: ClassVar[float] = 0.0  # log-odds: so much rarer before cameras than among the lessons

    evidence: tuple[str, ...]
    usual: tuple[float, ...]
    spread: tuple[float, ...]
    weight: tuple[float, ...]
    usual_odds: float
    lessons: dict[str, int]

    def probability_of(self, evidence: DoubleArray) -> float:
        """Probability that an event is what this tells, if it is that or a call.

        Parameters
        ----------
        evidence : np.ndarray, shape (len(asked),)
            Of the event.

        Returns
        -------
        float
            Between 0 and 1.
        """
        over = standardised(evidence, self.usual, self.spread)
        return float(expit(self.usual_odds - self.rarer + over @ self.weight))

    @classmethod
    def read(cls, path: Path) -> Self:
        """Read it from a file.

        Parameters
        ----------
        path : Path
            The file that `write` made.

        Returns
        -------
        WeightedSum
            As it was written.

        Raises
        ------
        ModelError
            If the file is missing, damaged, or asks for other evidence than this version gathers.
        """
        try:
            stored = json.loads(path.read_text("utf-8"))
            numbers = {name: tuple(map(float, stored[name])) for name in _PER_EVIDENCE}
            known = cls(
                evidence=tuple(stored["evidence"]),
                **numbers,
                usual_odds=float(stored["usual_odds"]),
                lessons=dict(stored["lessons"]),
            )
        except Exception as error:
            raise ModelError(
                f"{path.name}: {cls.does} cannot be read ({type(error).__name__});"
                " install calltag again"
            ) from error
        if known.evidence != cls.asked:
            raise ModelError(f"{path.name}: was made for another version; install calltag again")
        if not known._is_whole():
            raise ModelError(f"{path.name}: {cls.does} is damaged; install calltag again")
        return known

    def _is_whole(self) -> bool:
        """Whether there is a number for all evidence, and one that can be reckoned with."""
        rows = (self.usual, self.spread, self.weight)
        return (
            all(len(row) == len(self.asked) and np.isfinite(row).all() for row in rows)
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


def standardised(evidence: DoubleArray, usual: ArrayLike, spread: ArrayLike) -> DoubleArray:
    """How far evidence is from what is usual.

    Parameters
    ----------
    evidence : np.ndarray, shape (..., n_evidence)
        Of one event or several.
    usual, spread : array_like, shape (n_evidence,)
        Mean of each, and its standard deviation.

    Returns
    -------
    np.ndarray, shape (..., n_evidence)
        In standard deviations, at most `FARTHEST` to each side.
    """
    over = (evidence - np.asarray(usual)) / np.asarray(spread)
    return np.asarray(np.clip(over, -FARTHEST, FARTHEST), np.float64)


def unless(other: float) -> float:
    """How much is left of a call's probability: all of it where it is not rather something else.

    Parameters
    ----------
    other : float
        Probability that it is.

    Returns
    -------
    float
        Between 0 and 1, a factor.

    Examples
    --------
    >>> unless(0.4), unless(0.75)
    (1.0, 0.5)
    """
    return min(1.0, 2 * (1 - other))
