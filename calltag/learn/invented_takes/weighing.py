"""Learning a weighted sum of evidence; whoever asks one needs nothing of this."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from sklearn.linear_model import LogisticRegression
from sklearn.preprocessing import StandardScaler

from calltag.arrays import DoubleArray
from calltag.learn.finding.weighted_sum import WeightedSum, standardised

Sum = TypeVar("Sum", bound=WeightedSum)


def learn(
    kind: type[Sum],
    evidence: DoubleArray,
    so: Sequence[bool],
    weights: Sequence[float],
    *,
    regularised: float,
    lessons: dict[str, int],
) -> Sum:
    """Learn to tell events.

    Parameters
    ----------
    kind : type
        The sum that is to be learnt.
    evidence : np.ndarray, shape (n_events, n_evidence)
        What it asks for, of each event.
    so : sequence of bool
        Whether the event is what it shall tell.
    weights : sequence of float
        How much each counts.
    regularised : float
        Inverse strength of the regularisation.
    lessons : dict of str to int
        How many events of each sort there are.

    Returns
    -------
    WeightedSum
        A regularised logistic regression, of that kind.
    """
    scaler = StandardScaler().fit(evidence)
    judge = LogisticRegression(C=regularised, max_iter=3000).fit(
        standardised(evidence, scaler.mean_, scaler.scale_), so, sample_weight=weights
    )
    return kind(
        evidence=kind.asked,
        usual=tuple(scaler.mean_.tolist()),
        spread=tuple(scaler.scale_.tolist()),
        weight=tuple(judge.coef_[0].tolist()),
        usual_odds=float(judge.intercept_[0]),
        lessons=lessons,
    )
