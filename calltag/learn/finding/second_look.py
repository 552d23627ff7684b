"""The second look: whether an event is a call, by what is gathered of it and its surroundings.

The judge is a sum of small decision trees, each grown on what the ones before it got wrong. It is
taught on scenes whose noise the starter model had not heard, on short takes cut out of them, and on
single recordings (`calltag.learn.starter`). Without the short takes it throws out calls where there
is little to compare an event with. It is taught on likely events alone, and what it says of a
half-heard one counts for the less, the lower the odds of that are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from calltag.arrays import DoubleArray
from calltag.errors import ModelError
from calltag.files import written_whole
from calltag.learn.finding.surroundings import EVIDENCE

LEAST_PROBABILITY = 0.1
"""Less likely finds are not kept."""

TOP_ODDS = EVIDENCE.index("top_odds")
_LESS_HALF_HEARD = 2.0  # log-odds lost for each that an event stays below even odds

Nodes = npt.NDArray[np.integer[Any]]


@dataclass(frozen=True, slots=True)
class SecondLook:
    """Decision trees whose sum is the log-odds of a call.

    The nodes of all trees are counted through. A leaf has itself on both sides, any other node two
    that come after it.

    Attributes
    ----------
    roots : np.ndarray, shape (n_trees,), int
        The first node of each tree.
    asks : np.ndarray, shape (n_nodes,), int
        Which of `EVIDENCE` a node asks for.
    limit : np.ndarray, shape (n_nodes,)
        Evidence up to this goes to the left.
    left, right : np.ndarray, shape (n_nodes,), int
        The node on either side.
    odds : np.ndarray, shape (n_nodes,)
        What a leaf adds to the log-odds.
    usual_odds : np.ndarray, shape ()
        Log-odds before any tree is asked.
    """

    roots: Nodes
    asks: Nodes
    limit: DoubleArray
    left: Nodes
    right: Nodes
    odds: DoubleArray
    usual_odds: DoubleArray

    def probability(self, evidence: DoubleArray) -> DoubleArray:
        """Probability that events are calls.

        Parameters
        ----------
        evidence : np.ndarray, shape (n_events, len(EVIDENCE))
            Of each event.

        Returns
        -------
        np.ndarray, shape (n_events,)
            Between 0 and 1.
        """
        rows, below_even = np.arange(len(evidence))[:, None], evidence[:, TOP_ODDS]
        at = np.broadcast_to(self.roots, (len(evidence), len(self.roots)))
        while True:
            goes_left = evidence[rows, self.asks[at]] <= self.limit[at]
            further = np.where(goes_left, self.left[at], self.right[at])
            if np.array_equal(further, at):
                told = self.usual_odds + self.odds[at].sum(axis=1)
                return np.asarray(expit(told + _LESS_HALF_HEARD * np.minimum(below_even, 0)))
            at = further

    def probability_of(self, evidence: DoubleArray) -> float:
        """Probability that one event is a call.

        Parameters
        ----------
        evidence : np.ndarray, shape (len(EVIDENCE),)
            Of the event.

        Returns
        -------
        float
            Between 0 and 1.
        """
        return float(self.probability(evidence[None])[0])

    def surer(self, log_odds: float) -> SecondLook:
        """Take all events for likelier calls.

        Parameters
        ----------
        log_odds : float
            By how much.

        Returns
        -------
        SecondLook
            The same trees, with other odds before any of them is asked.
        """
        return replace(self, usual_odds=self.usual_odds + log_odds)

    @classmethod
    def read(cls, path: Path) -> SecondLook:
        """Read it from a file.

        Parameters
        ----------
        path : Path
            The file that `write` made.

        Returns
        -------
        SecondLook
            As it was written.

        Raises
        ------
        ModelError
            If the file is missing, damaged, or asks for other evidence than this version gathers.
        """
        try:
            with np.load(path, allow_pickle=False) as stored:
                asks = tuple(stored["evidence"].tolist())
                arrays = {name: stored[name] for name in cls.__dataclass_fields__}
        except Exception as error:
            raise ModelError(
                f"{path.name}: the second look at finds cannot be read ({type(error).__name__});"
                " install calltag again"
            ) from error
        if asks != EVIDENCE:
            raise ModelError(f"{path.name}: was made for another version; install calltag again")
        look = cls(**arrays)
        if not look._is_whole():
            raise ModelError(
                f"{path.name}: the second look at finds is damaged; install calltag again"
            )
        return look

    def _is_whole(self) -> bool:
        """Whether every question is one of ours, and every way through a tree ends at a leaf."""
        own = np.arange(self.left.size)
        rows = (self.asks, self.limit, self.left, self.right, self.odds)
        numbers = (self.roots, self.asks, self.left, self.right)
        if any(row.shape != own.shape for row in rows) or self.usual_odds.shape != ():
            return False
        if any(row.dtype.kind != "i" for row in numbers) or self.roots.ndim != 1:
            return False
        leaf = (self.left == own) & (self.right == own)
        further = (self.left > own) & (self.right > own)
        return bool(
            (leaf | further).all()
            and _below(self.left, own.size)
            and _below(self.right, own.size)
            and _below(self.roots, own.size)
            and _below(self.asks, len(EVIDENCE))
            and np.isfinite(self.odds).all()
            and np.isfinite(self.usual_odds)
        )

    def write(self, path: Path) -> None:
        """Write it to a file, whole or not at all.

        Parameters
        ----------
        path : Path
            The file.
        """
        content: dict[str, Any] = {name: getattr(self, name) for name in self.__dataclass_fields__}
        with written_whole(path) as partial, partial.open("wb") as file:
            np.savez_compressed(file, evidence=np.array(EVIDENCE), **content)


def _below(numbers: Nodes, end: int) -> bool:
    return bool(((numbers >= 0) & (numbers < end)).all())
