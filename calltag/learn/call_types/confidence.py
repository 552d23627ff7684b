"""How sure a label is: evidence turned into a probability, and the least one to go by.

A logistic curve over the log-odds of the votes, the likeness and the kinship is fitted to examples
judged out of fold, and, with the weight that `STRANGER_SHARE` gives them, to examples whose label
the judges were not taught, on which every label is wrong. So a confidence allows for sounds that
nobody labelled. The curve starts from one that is usual for such judges, and leaves it only as far
as examples tell it to.

No label is given that is less likely right than wrong. Above that, the least confidence is the one
that gives the best F1 on the same examples, as if sounds of untaught kinds were as many as the
others: the most labels right for the fewest wrong. A log holds many of those, and a call without a
name is a smaller fault than one with a wrong name.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import expit, logit

from calltag.arrays import DoubleArray
from calltag.learn.call_types.judges import Evidence

STRANGER_SHARE = 0.1
"""How many finds of untaught kinds are reckoned with, for each one of a kind that was taught."""

THRESHOLDS = (0.50, 0.55, 0.60, 0.65, 0.70, 0.75, 0.80, 0.85, 0.90)
"""Least confidences to choose from."""

USUAL = (0.4, 0.8, 0.6, 0.28)
"""The usual curve: constant, slopes over the votes' log-odds, the likeness and the kinship.

Between what fits finds of other scenes best (0.9, 1, 0, 0.25) and what names fewer strangers there.
Trials make more of the likeness and less of the kinship than is right later: examples of one outing
are likest each other."""

_PLAY = (0.7, 0.2, 0.5, 0.05)  # how far, as a standard deviation, curves lie from the usual one
_USUAL_THRESHOLD = 0.5
# By how much the log-odds that a label is right grow from trials to use, over the examples of each
# label: what fitted scenes made of other recordings where all types were taught. Where half of the
# calls are of none, they are too sure with it or without.
_MORE, _MOST_MORE = 6.0, 0.6
_STRANGERS = 1.0  # for each taught sound, when the threshold is chosen
_BINS = 10  # of the calibration error
_FAR = 15.0  # beyond this more kinship, or less, says nothing new


@dataclass(frozen=True, slots=True)
class Confidence:
    """The curve, and the least confidence.

    Attributes
    ----------
    curve : tuple of four float
        Constant, slopes over the votes' log-odds, the likeness and the kinship.
    threshold : float
        Below it no label is given.
    """

    curve: tuple[float, float, float, float] = USUAL
    threshold: float = _USUAL_THRESHOLD

    @classmethod
    def fit(
        cls,
        evidence: Evidence,
        right: npt.NDArray[np.bool_],
        weight: DoubleArray,
        *,
        strange: npt.NDArray[np.bool_] | None = None,
    ) -> Confidence:
        """Fit the curve and choose the threshold.

        Parameters
        ----------
        evidence : Evidence
            What spoke for each label.
        right : np.ndarray, shape (n,), bool
            Whether that label is right.
        weight : np.ndarray, shape (n,)
            What each counts for.
        strange : np.ndarray, shape (n,), bool, optional
            Which of them are of a label that was not taught; none unless given.

        Returns
        -------
        Confidence
            The usual one where `n` is 0.
        """
        if not len(right):
            return cls()
        x = _inputs(evidence)
        sign = np.where(right, 1.0, -1.0)

        def loss(curve: DoubleArray) -> float:
            # How badly a curve fits, and how far it is from the usual one.
            data = weight @ np.logaddexp(0, -sign * (x @ curve))
            return float(data + (((curve - USUAL) / _PLAY) ** 2).sum() / 2)

        # More votes, likeness or kinship must never make a label less sure.
        never_less = [(None, None), (0, None), (0, None), (0, None)]
        constant, votes, like, kin = minimize(loss, USUAL, method="L-BFGS-B", bounds=never_less).x
        fitted = cls((float(constant), float(votes), float(like), float(kin)))
        n_taught = float(weight.sum() if strange is None else weight[~strange].sum())
        if strange is not None and strange.any():
            weight = np.where(strange, _STRANGERS * n_taught / strange.sum(), weight)
        return cls(fitted.curve, _choose(fitted(evidence), right, weight, n_taught))

    def __call__(self, evidence: Evidence) -> DoubleArray:
        """Tell how sure labels are.

        Parameters
        ----------
        evidence : Evidence
            What speaks for each label.

        Returns
        -------
        np.ndarray, shape (n,)
            Probability that the label is right.
        """
        return np.asarray(expit(_inputs(evidence) @ self.curve))

    def of_all_examples(self, per_label: float) -> Confidence:
        """Say what judges taught with all examples are worth, who know more than those tried.

        The fewer examples a label has, the more those count that a trial leaves out. What gets a
        label stays the same.

        Parameters
        ----------
        per_label : float
            Examples of each label, on average.

        Returns
        -------
        Confidence
            The same, surer of everything.
        """
        more = min(_MOST_MORE, _MORE / per_label)
        return self.shifted(more, threshold=float(expit(logit(self.threshold) + more)))

    def shifted(self, log_odds: float, *, threshold: float) -> Confidence:
        """Be surer of everything, or less sure.

        Parameters
        ----------
        log_odds : float
            By how much: what is added to the log-odds that a label is right.
        threshold : float
            The least confidence, then.

        Returns
        -------
        Confidence
            The same curve, higher or lower.
        """
        constant, votes, like, kin = self.curve
        return Confidence((constant + log_odds, votes, like, kin), threshold)


def calibration_error(confidence: DoubleArray, right: npt.NDArray[np.bool_]) -> float:
    """Expected calibration error: how far confidence and share of right labels lie apart.

    Parameters
    ----------
    confidence : np.ndarray, shape (n,)
        Probabilities.
    right : np.ndarray, shape (n,), bool
        What came true.

    Returns
    -------
    float
        Mean distance over ten bins of equal width, each weighted by what is in it; ``nan`` where
        there is nothing.

    References
    ----------
    .. [1] M. P. Naeini, G. F. Cooper, M. Hauskrecht, "Obtaining well calibrated probabilities using
       Bayesian binning", AAAI 2015.

    Examples
    --------
    Ten labels of confidence 0.8, of which eight are right, are calibrated; of 1.0, off by 0.2.

    >>> right = np.arange(10) < 8
    >>> calibration_error(np.full(10, 0.8), right), calibration_error(np.ones(10), right)
    (0.0, 0.2)
    """
    if not len(confidence):
        return math.nan
    bins = np.minimum((confidence * _BINS).astype(int), _BINS - 1)
    gaps = [
        (bins == b).sum() * abs(confidence[bins == b].mean() - right[bins == b].mean())
        for b in np.unique(bins)
    ]
    return round(float(sum(gaps) / len(confidence)), 12)


def _inputs(evidence: Evidence) -> DoubleArray:
    share = np.clip(evidence.top, 1e-4, 1 - 1e-4)
    return np.column_stack(
        [
            np.ones(len(share)),
            np.log(share / (1 - share)),
            evidence.likeness,
            _FAR * np.tanh(evidence.kinship / _FAR),
        ]
    )


def _choose(
    confidence: DoubleArray, right: npt.NDArray[np.bool_], weight: DoubleArray, n_taught: float
) -> float:
    """Threshold that gives the best F1; the highest of several."""

    def f1(threshold: float) -> float:
        given = confidence >= threshold
        return float(2 * weight[given & right].sum() / (weight[given].sum() + n_taught))

    return max(reversed(THRESHOLDS), key=f1)
