"""Three classifiers that judge a find together, and how like the taught examples it is.

All three see features scaled to unit variance and cut at `CUT` deviations, so that one wild number
cannot decide. The first two weigh each feature by how well it alone parts the labels. Their votes
are averaged: none was best everywhere, and the average was never far from the best.

`likeness` looks at the find without asking which label fits best: it is the cosine between the find
and the most similar example of the label given, once the spread within labels has been taken out. A
find unlike all that was taught gets a low one, however sure the votes are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from sklearn.covariance import ledoit_wolf
from sklearn.feature_selection import f_classif
from sklearn.linear_model import LogisticRegression
from sklearn.multiclass import OneVsRestClassifier
from sklearn.svm import SVC

Array = npt.NDArray[np.float64]

CUT = 4.0
_LINEAR_C = 0.3
_CURVED_C = 5.0
_CURVED_SHARPNESS = 2.0
_DISTANCE_SOFTNESS = 3.0


class Judgement(NamedTuple):
    """What the judges say of some finds.

    Attributes
    ----------
    votes : np.ndarray, shape (n, n_classes)
        Mean of the judges' votes; each row sums to one.
    likeness : np.ndarray, shape (n,)
        Cosine to the most similar example of the class with the most votes, -1 to 1.
    """

    votes: Array
    likeness: Array


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
    curved : SVC
        Support vectors with a radial kernel.
    whitening : np.ndarray, shape (n_features, n_features)
        Takes the spread within labels out.
    centres : np.ndarray, shape (n_classes, n_features)
        Whitened mean of each label.
    examples : np.ndarray, shape (n_examples, n_features)
        Whitened examples, each of length one.
    codes : np.ndarray, shape (n_examples,), int
        Position in `classes` of each example's label.
    """

    classes: npt.NDArray[np.str_]
    mean: Array
    scale: Array
    weight: Array
    slopes: Array
    offsets: Array
    curved: SVC
    whitening: Array
    centres: Array
    examples: Array
    codes: npt.NDArray[np.intp]

    @classmethod
    def fit(
        cls, features: npt.NDArray[Any], labels: npt.NDArray[np.str_], *, seed: int = 0
    ) -> Judges:
        """Teach the judges.

        Parameters
        ----------
        features : np.ndarray, shape (n_examples, n_features)
            One row for each example, all finite.
        labels : np.ndarray of str, shape (n_examples,)
            Two different ones at least.
        seed : int
            For the judges that draw lots.

        Returns
        -------
        Judges
            The judges.
        """
        classes, codes = np.unique(labels, return_inverse=True)
        features = np.asarray(features, np.float64)
        mean, scale = features.mean(axis=0), features.std(axis=0)
        scale[scale < 1e-9 * (1 + np.abs(mean))] = 1.0
        scaled = np.clip((features - mean) / scale, -CUT, CUT)
        varied = np.ptp(scaled, axis=0) > 0
        weight = np.zeros(features.shape[1])
        ratio = f_classif(scaled[:, varied], codes)[0]
        # The share of a feature's variance ratio that is more than chance, 0 to 1.
        weight[varied] = np.clip(1 - 1 / np.maximum(np.nan_to_num(ratio, posinf=1e9), 1.0), 0, 1)
        weighted = scaled * weight
        linear = OneVsRestClassifier(
            LogisticRegression(C=_LINEAR_C, class_weight="balanced", max_iter=2000)
        ).fit(weighted, codes)
        slopes = np.stack([each.coef_[0] for each in linear.estimators_], axis=1)
        offsets = np.array([each.intercept_[0] for each in linear.estimators_])
        curved = SVC(C=_CURVED_C, decision_function_shape="ovr", random_state=seed)
        curved.fit(weighted, codes)
        centres = np.stack([scaled[codes == code].mean(axis=0) for code in range(len(classes))])
        within, _ = ledoit_wolf(scaled - centres[codes], assume_centered=True)
        whitening = np.linalg.cholesky(np.linalg.inv(within))
        return cls(
            classes=classes,
            mean=mean,
            scale=scale,
            weight=weight,
            slopes=slopes if len(classes) > 2 else slopes * [-1, 1],
            offsets=offsets if len(classes) > 2 else offsets * [-1, 1],
            curved=curved,
            whitening=whitening,
            centres=centres @ whitening,
            examples=_unit(scaled @ whitening),
            codes=codes,
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
            Votes and likeness.
        """
        scaled = self._scaled(features)
        weighted = scaled * self.weight
        white = scaled @ self.whitening
        distance = ((white[:, None, :] - self.centres) ** 2).sum(axis=2)
        votes = (
            _shares(_sigmoid(weighted @ self.slopes + self.offsets))
            + _softmax(_CURVED_SHARPNESS * _by_class(self.curved.decision_function(weighted)))
            + _softmax(-distance / 2 / _DISTANCE_SOFTNESS)
        ) / 3
        cosine = _unit(white) @ self.examples.T
        own = votes.argmax(axis=1)[:, None] == self.codes
        return Judgement(votes, np.where(own, cosine, -1.0).max(axis=1))

    def directions(self, features: npt.NDArray[Any]) -> Array:
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

    def _scaled(self, features: npt.NDArray[Any]) -> Array:
        scaled = (np.asarray(features, np.float64) - self.mean) / self.scale
        return np.clip(np.nan_to_num(scaled), -CUT, CUT)


def _by_class(decision: Array) -> Array:
    """Decision values as one column for each class, also where there are only two."""
    return np.column_stack([-decision, decision]) if decision.ndim == 1 else decision


def _sigmoid(x: Array) -> Array:
    return 1 / (1 + np.exp(-np.clip(x, -30, 30)))


def _shares(x: Array) -> Array:
    return x / x.sum(axis=1, keepdims=True)


def _softmax(x: Array) -> Array:
    return _shares(np.exp(x - x.max(axis=1, keepdims=True)))


def _unit(x: Array) -> Array:
    return x / np.maximum(np.linalg.norm(x, axis=1, keepdims=True), 1e-12)
