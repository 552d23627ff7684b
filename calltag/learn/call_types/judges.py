"""Four classifiers that judge a find together, and how like the taught examples it is.

Three of them see features scaled to unit variance and cut at `CUT` deviations, so that one wild
number cannot decide. Two of them, a logistic regression and a support vector machine with a radial
kernel, set each label against the rest, and weigh each feature by how well it alone parts the
labels. The third is a discriminant analysis: distance to each label's centre once the spread within
labels, its covariance shrunk by Ledoit and Wolf's formula [1]_, has been taken out. The fourth
knows beforehand what calls of one type have in common (`calltag.learn.call_types.kinship`). Their
votes are averaged, those of the support vectors counting twice, and those of kinship three times
where there are few examples, once where there are many. Rows of other than calltag's own features
have no fourth judge.

`likeness` looks at a find without asking which label fits best: it is the cosine between the find
and the most similar example of the label given, with the same spread taken out, and less for a find
far beyond all examples. A find unlike all that was taught gets a low one, however sure the votes
are. Its kinship to that label says the same by what is known beforehand.

Averaged, the first three do better than any one of them, or any two. Votes and likeness together
tell strangers better than either alone. Kinship alone knows calls, but not sounds that are none, so
that it is one judge among others. What listens for a machine's beat (`calltag.sound.beats.engine`)
knows machines better than any other number, and would be one of some four hundred: it counts for
several.

The figures, and what was tried and not kept, stand in ``models/RECORD.md``, under call types.

References
----------
.. [1] O. Ledoit, M. Wolf, "A well-conditioned estimator for large-dimensional covariance matrices",
   Journal of Multivariate Analysis 88(2), 2004, pp. 365-411.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.spatial.distance import cdist
from scipy.special import expit, softmax
from sklearn.covariance import ledoit_wolf
from sklearn.linear_model import LogisticRegression
from sklearn.svm import SVC

from calltag.arrays import DoubleArray
from calltag.learn.call_types.kinship import N_FEATURES, Kin, prior
from calltag.sound.features import BEAT, EMBEDDING

CUT = 4.0
"""Scaled features count no more than this."""

_LINEAR_C = 0.3
_MOST_ODDS = 30.0  # so that the votes for all labels never sum to nothing
_CURVED_C = 5.0
_CURVED_SHARPNESS = 6.0
_CURVED_COUNTS = 2.0  # votes, of one for each of the others
_KIN_COUNTS_MOST = 3.0
_KIN_COUNTS_ONCE_FROM = 15.0  # examples of a label
_DISTANCE_SOFTNESS = 6.0
_KIN_SOFTNESS = 4.0
# The starter model knows the recordings that it learnt from better than any others: of sounds that
# are taught with those, its description says too much, of others a little too little.
_EMBEDDING_COUNTS = 0.25
_BEAT_COUNTS = 3.0  # what listens for machines alone knows them better than any other number
_NO_SPREAD = 1e-12  # of features scaled to a variance of one: less is rounding
_REACH = 2.0  # times the length of the longest example


class Evidence(NamedTuple):
    """What speaks for a label, and for how many finds.

    Attributes
    ----------
    top : np.ndarray, shape (n,)
        Votes of the label that has most.
    likeness, kinship : np.ndarray, shape (n,)
        Likeness and kinship to it.
    """

    top: DoubleArray
    likeness: DoubleArray
    kinship: DoubleArray


class Judgement(NamedTuple):
    """What the judges say of some finds.

    Attributes
    ----------
    votes : np.ndarray, shape (n, n_classes)
        Mean of the judges' votes; each row sums to one.
    likeness : np.ndarray, shape (n,)
        Cosine to the most similar example of the class with the most votes, -1 to 1.
    kinship : np.ndarray, shape (n,)
        Logarithm of how much more likely a find is of that class than of one not taught; 0 where
        that is not known.
    """

    votes: DoubleArray
    likeness: DoubleArray
    kinship: DoubleArray

    @property
    def evidence(self) -> Evidence:
        """What speaks for the class with the most votes."""
        return Evidence(self.votes.max(axis=1), self.likeness, self.kinship)


@dataclass(frozen=True, slots=True)
class Judges:
    """Classifiers taught by one set of examples.

    Attributes
    ----------
    classes : np.ndarray of str, shape (n_classes,)
        Labels in alphabetical order.
    mean, scale, weight : np.ndarray, shape (n_features,)
        What scales and weighs each feature.
    slopes : np.ndarray, shape (n_features, n_classes)
        Of logistic regressions of each label against the rest.
    offsets : np.ndarray, shape (n_classes,)
        Of the same.
    vectors : np.ndarray, shape (n_vectors, n_features)
        Support vectors, with a radial kernel of width `gamma`, of each label against the rest.
    alphas : np.ndarray, shape (n_vectors, n_classes)
        Their factors.
    biases : np.ndarray, shape (n_classes,)
        Of the same.
    gamma : float
        Of the kernel.
    whitening : np.ndarray, shape (n_features, n_features)
        Takes the spread within labels out.
    centres : np.ndarray, shape (n_classes, n_features)
        Whitened mean of each label.
    examples : np.ndarray, shape (n_examples, n_features)
        Whitened examples, each of length one.
    codes : np.ndarray, shape (n_examples,), int
        Position in `classes` of each example's label.
    reach : float
        Whitened length beyond which a find is far from any example, whatever its direction.
    kin : Kin or None
        What tells how much more likely a find is of a class than of none of them; None for rows
        of other than calltag's own features.
    """

    classes: npt.NDArray[np.str_]
    mean: DoubleArray
    scale: DoubleArray
    weight: DoubleArray
    slopes: DoubleArray
    offsets: DoubleArray
    vectors: DoubleArray
    alphas: DoubleArray
    biases: DoubleArray
    gamma: float
    whitening: DoubleArray
    centres: DoubleArray
    examples: DoubleArray
    codes: npt.NDArray[np.intp]
    reach: float
    kin: Kin | None

    @classmethod
    def fit(
        cls,
        features: npt.NDArray[Any],
        labels: npt.NDArray[np.str_],
        company: npt.NDArray[Any] | None = None,
    ) -> Judges:
        """Teach the judges.

        Parameters
        ----------
        features : np.ndarray, shape (n_examples, n_features)
            One row for each example, all finite.
        labels : np.ndarray of str, shape (n_examples,)
            Two different ones at least.
        company : np.ndarray, shape (n_company, n_features), optional
            Finds that nobody labelled: what else there is.

        Returns
        -------
        Judges
            The judges.

        Raises
        ------
        ModelError
            If what is known of call types beforehand is missing or damaged.
        """
        classes, codes = np.unique(labels, return_inverse=True)
        features = np.asarray(features, np.float64)
        mean, scale = features.mean(axis=0), features.std(axis=0)
        scale[scale < 1e-9 * (1 + np.abs(mean))] = 1.0
        of_calltag = features.shape[1] == N_FEATURES
        if of_calltag:
            scale[EMBEDDING] /= _EMBEDDING_COUNTS
            scale[BEAT] /= _BEAT_COUNTS
        scaled = np.clip((features - mean) / scale, -CUT, CUT)
        centres = np.stack([scaled[codes == code].mean(axis=0) for code in range(len(classes))])
        weight = _worth(scaled, centres, codes)
        weighted = scaled * weight
        gamma = 1 / (weighted.shape[1] * max(float(weighted.var()), 1e-12))
        slopes, offsets = _regressions(weighted, codes)
        alphas, biases = _support_vectors(weighted, codes, gamma)
        supports = alphas.any(axis=1)
        whitening = _whitening(scaled - centres[codes])
        white = scaled @ whitening
        return cls(
            classes=classes,
            mean=mean,
            scale=scale,
            weight=weight,
            slopes=slopes,
            offsets=offsets,
            vectors=weighted[supports],
            alphas=alphas[supports],
            biases=biases,
            gamma=gamma,
            whitening=whitening,
            centres=centres @ whitening,
            examples=_unit(white),
            codes=codes,
            reach=_REACH * float(np.linalg.norm(white, axis=1).max()),
            kin=Kin.fit(prior(), features, codes, company) if of_calltag else None,
        )

    def judge(self, features: npt.NDArray[Any]) -> Judgement:
        """Judge finds.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features)
            One row for each find.

        Returns
        -------
        Judgement
            Votes, likeness and kinship.
        """
        scaled = self._scaled(features)
        weighted = scaled * self.weight
        white = scaled @ self.whitening
        kernel = np.exp(-self.gamma * cdist(weighted, self.vectors, "sqeuclidean"))
        distance = cdist(white, self.centres, "sqeuclidean")
        straight = weighted @ self.slopes + self.offsets
        curved = kernel @ self.alphas + self.biases
        votes = (
            _shares(expit(np.clip(straight, -_MOST_ODDS, _MOST_ODDS)))
            + _CURVED_COUNTS * softmax(_CURVED_SHARPNESS * curved, axis=1)
            + softmax(-distance / 2 / _DISTANCE_SOFTNESS, axis=1)
        )
        kinship = np.zeros(votes.shape)
        if self.kin is not None:
            kinship = self.kin.scores(features)
            votes = votes + self._kin_counts * softmax(kinship / _KIN_SOFTNESS, axis=1)
        votes = _shares(votes)
        length = np.linalg.norm(white, axis=1, keepdims=True)
        cosine = _unit(white) @ self.examples.T * (self.reach / np.maximum(length, self.reach))
        best = votes.argmax(axis=1)
        own = best[:, None] == self.codes
        return Judgement(
            votes,
            np.where(own, cosine, -1.0).max(axis=1),
            kinship[np.arange(len(best)), best],
        )

    def directions(self, features: npt.NDArray[Any]) -> DoubleArray:
        """Place finds where likeness is an inner product, as `examples` are.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features)
            One row for each find.

        Returns
        -------
        np.ndarray, shape (n, n_features)
            One vector of length one for each.
        """
        return _unit(self._scaled(features) @ self.whitening)

    @property
    def _kin_counts(self) -> float:
        """Votes of kinship, which is known beforehand: the fewer, the more examples there are."""
        per_label = len(self.codes) / len(self.classes)
        return min(max(_KIN_COUNTS_ONCE_FROM / per_label, 1.0), _KIN_COUNTS_MOST)

    def _scaled(self, features: npt.NDArray[Any]) -> DoubleArray:
        scaled = (np.asarray(features, np.float64) - self.mean) / self.scale
        return np.clip(np.nan_to_num(scaled), -CUT, CUT)


def _worth(scaled: DoubleArray, centres: DoubleArray, codes: npt.NDArray[np.intp]) -> DoubleArray:
    """How much of what parts the labels in each feature is more than chance, 0 to 1.

    That is 1 - 1/F, of the variance ratio F of a one-way analysis of variance. Where a feature is
    the same for all examples of each label, F is infinite, so its inverse is what is computed. With
    one example of each label nothing is known of chance, and all that varies is worth the same.
    """
    n, n_classes = len(codes), len(centres)
    between = (np.bincount(codes)[:, None] * np.square(centres - scaled.mean(axis=0))).sum(axis=0)
    apart = between > _NO_SPREAD * n
    if n == n_classes:
        return apart.astype(np.float64)
    within = np.square(scaled - centres[codes]).sum(axis=0)
    chance = np.ones(len(apart))
    np.divide(within * (n_classes - 1), between * (n - n_classes), out=chance, where=apart)
    return np.clip(1 - chance, 0, 1)


def _regressions(
    weighted: DoubleArray, codes: npt.NDArray[np.intp]
) -> tuple[DoubleArray, DoubleArray]:
    """Slopes and offsets of logistic regressions of each label against the rest."""
    slopes, offsets = [], []
    for code in range(codes.max() + 1):
        linear = LogisticRegression(C=_LINEAR_C, class_weight="balanced", max_iter=2000)
        linear.fit(weighted, codes == code)
        slopes.append(linear.coef_[0])
        offsets.append(linear.intercept_[0])
    return np.stack(slopes, axis=1), np.array(offsets)


def _support_vectors(
    weighted: DoubleArray, codes: npt.NDArray[np.intp], gamma: float
) -> tuple[DoubleArray, DoubleArray]:
    """Factors of the examples, 0 for those that are no support vector, and biases."""
    alphas = np.zeros((len(codes), codes.max() + 1))
    biases = []
    for code, column in enumerate(alphas.T):
        curved = SVC(C=_CURVED_C, gamma=gamma, class_weight="balanced").fit(weighted, codes == code)
        column[curved.support_] = curved.dual_coef_[0]
        biases.append(curved.intercept_[0])
    return alphas, np.array(biases)


def _whitening(residuals: DoubleArray) -> DoubleArray:
    """What takes the spread within labels out; nothing is taken out where none is known."""
    n_features = residuals.shape[1]
    if np.square(residuals).mean() < _NO_SPREAD:
        return np.eye(n_features)
    within, _ = ledoit_wolf(residuals, assume_centered=True)
    return np.asarray(np.linalg.cholesky(np.linalg.inv(within)))


def _shares(x: DoubleArray) -> DoubleArray:
    return x / x.sum(axis=1, keepdims=True)


def _unit(x: DoubleArray) -> DoubleArray:
    return x / np.maximum(np.linalg.norm(x, axis=1, keepdims=True), 1e-12)
