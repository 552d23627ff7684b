"""How much more likely a find is of a taught type than of one that nobody taught.

Two covariances, within call types and between them, are known beforehand (see
`calltag.learn.invented_types`): of the measurements, and of a few numbers that a small network
makes of a find (`calltag.learn.networks.voice`). With them, a few examples say where a type lies
and how far its calls may lie from it, and also how well a find would fit the average stranger; the
logarithm of the ratio of the two is the kinship of the find to the type [1]_. The user's own
examples correct the spread within types. As animals with several songs, and types that several
animals call, lie in more than one place, each example is also a place of its own: half the weight
is with the type's centre, half with its examples.

The average stranger is a poor picture of what else calls in a place. The finds that nobody labelled
are a better one: each of them counts as a type of its own with one example, as far as it is of no
taught type; a stranger that calls more than once is thus known as one. They are kept with the
model. They are those of takes in which others were labelled (`calltag.learn.call_types.teach`).

The starter model's description of a moment is not used here, so that the prior outlives it.

Invented calls make length count for far too much, so what is known beforehand lets no direction
vary more between types than three times what it does within them, as variances. The figures, and
what was tried and not kept, stand in ``models/RECORD.md``, under call types.

References
----------
.. [1] S. Ioffe, "Probabilistic Linear Discriminant Analysis", ECCV 2006, pp. 531-542.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.linalg
from scipy.spatial.distance import cdist
from scipy.special import expit, logsumexp

from calltag.arrays import DoubleArray
from calltag.errors import ModelError
from calltag.sound.features import FEATURE_NAMES, MEASURED_VERSION

N_FEATURES = len(FEATURE_NAMES)
PRIOR = Path(__file__).parents[1] / "kinship.npz"
CUT = 4.0
"""Scaled measurements count no more than this, so that one wild number cannot decide."""

LEAST_SPREAD = 1e-3
"""Variance between types in any direction, at least: none tells them apart by itself."""

_PRIOR_WORTH = 80  # examples that the spread within types known beforehand counts for
_OF_EXAMPLES = 0.5  # weight of a type's examples, the rest is its centre's

MOST_COMPANY = 400
"""Finds without a label that are kept as company."""

_STRANGERS_WORTH = 5  # finds that the average stranger counts for, beside the company
_COMPANY_COUNTS = 3.0
_SAME = 1e-6  # squared distance: a find is no company to itself


@dataclass(frozen=True, slots=True)
class Kinship:
    """What is known beforehand of types and of the spread within them.

    Attributes
    ----------
    mean, scale : np.ndarray, shape (n_measured,)
        What scales each measurement.
    directions : np.ndarray, shape (n_measured, n_directions)
        Directions among the scaled measurements in which the spread within types is one.
    centre : np.ndarray, shape (n_directions,)
        Where the mean type lies.
    spread : np.ndarray, shape (n_directions,)
        Variance between types.
    """

    mean: DoubleArray
    scale: DoubleArray
    directions: DoubleArray
    centre: DoubleArray
    spread: DoubleArray

    def place(self, features: npt.NDArray[Any]) -> DoubleArray:
        """Place finds where types lie around zero and the spread within them is one.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features)
            One row for each find; only what is measured is looked at.

        Returns
        -------
        np.ndarray, shape (n, n_directions)
            Their places.
        """
        placed: DoubleArray = self.scaled(features) @ self.directions - self.centre
        return placed

    def scaled(self, features: npt.NDArray[Any]) -> DoubleArray:
        """Scale measurements.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features)
            One row for each find; only what is measured is looked at.

        Returns
        -------
        np.ndarray, shape (n, n_measured)
            Scaled and cut at `CUT`.
        """
        measured = np.asarray(features, np.float64)[:, : len(self.mean)]
        return np.clip(np.nan_to_num((measured - self.mean) / self.scale), -CUT, CUT)

    def sameness(self, places: DoubleArray, others: DoubleArray) -> DoubleArray:
        """Compare finds with others.

        Parameters
        ----------
        places : np.ndarray, shape (n, n_directions)
            Finds, as `place` places them.
        others : np.ndarray, shape (n_others, n_directions)
            Others.

        Returns
        -------
        np.ndarray, shape (n, n_others)
            Logarithm of how much more likely two finds are if both are of one type, whichever that
            is, than if they are of two.
        """
        alone = 1 + self.spread  # variance of a find, whatever its type; `spread` is what two share
        both = alone**2 - self.spread**2
        squares = [np.square(each) @ (alone / both - 1 / alone) for each in (places, others)]
        product = (places * (self.spread / both)) @ others.T
        surely = np.log(alone**2 / both).sum()
        return np.asarray((surely - squares[0][:, None] - squares[1]) / 2 + product)

    def arrays(self, dtype: type = np.float64) -> dict[str, npt.NDArray[Any]]:
        """Return its arrays by name, as they are stored.

        Parameters
        ----------
        dtype : type
            Of their numbers.

        Returns
        -------
        dict of str to np.ndarray
            The arrays.
        """
        return {name: getattr(self, name).astype(dtype) for name in _ARRAYS}


_ARRAYS = tuple(field.name for field in fields(Kinship))


@cache
def prior() -> Kinship:
    """Return what calltag comes with.

    Returns
    -------
    Kinship
        The prior.

    Raises
    ------
    ModelError
        If it is missing, damaged, or made for other measurements.
    """
    try:
        with np.load(PRIOR, allow_pickle=False) as stored:
            fits = int(stored["measured_version"]) == MEASURED_VERSION
            known = {name: stored[name].astype(float) for name in _ARRAYS}
    except Exception as error:
        raise ModelError(
            f"{PRIOR.name}: what types have in common cannot be read ({type(error).__name__});"
            " install calltag again"
        ) from error
    if not fits:
        raise ModelError(f"{PRIOR.name}: was made for other measurements; install calltag again")
    return Kinship(**known)


@dataclass(frozen=True, slots=True)
class Kin:
    """Taught types, each with its examples, among all types that there might be.

    Attributes
    ----------
    known : Kinship
        Where finds are placed; the spread within types is that of the user's examples as well.
    examples : np.ndarray, shape (n_examples, n_directions)
        Places of the examples.
    codes : np.ndarray, shape (n_examples,), int
        Type of each, from 0.
    company : np.ndarray, shape (n_company, n_directions)
        Places of finds that nobody labelled.
    strange : np.ndarray, shape (n_company,)
        Probability that each of those is of no taught type.
    """

    known: Kinship
    examples: DoubleArray
    codes: npt.NDArray[np.intp]
    company: DoubleArray
    strange: DoubleArray

    @classmethod
    def fit(
        cls,
        known: Kinship,
        features: npt.NDArray[Any],
        codes: npt.NDArray[np.intp],
        company: npt.NDArray[Any] | None = None,
    ) -> Kin:
        """Teach types.

        Parameters
        ----------
        known : Kinship
            What is known beforehand.
        features : np.ndarray, shape (n_examples, n_features)
            One row for each example.
        codes : np.ndarray, shape (n_examples,), int
            Type of each, from 0 without gaps.
        company : np.ndarray, shape (n_company, n_features), optional
            Finds that nobody labelled, of the same rushes or others; some of them may be of the
            types taught.

        Returns
        -------
        Kin
            The types.
        """
        placed = known.place(features)
        n = np.bincount(codes)
        apart = placed - _centres(placed, codes, n)[codes]
        within = _PRIOR_WORTH * np.eye(len(known.spread)) + apart.T @ apart
        within /= _PRIOR_WORTH + len(codes) - len(n)
        spread, turned = scipy.linalg.eigh(np.diag(known.spread), within)
        adapted = replace(
            known,
            directions=known.directions @ turned,
            centre=known.centre @ turned,
            spread=np.maximum(spread, LEAST_SPREAD),
        )
        alone = cls(adapted, placed @ turned, codes, np.zeros((0, len(spread))), np.zeros(0))
        if company is None or not len(company):
            return alone
        odds = alone.scores(company).max(axis=1)
        return replace(alone, company=adapted.place(company), strange=expit(-odds))

    def scores(self, features: npt.NDArray[Any]) -> DoubleArray:
        """Compare finds with each type.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features)
            One row for each find.

        Returns
        -------
        np.ndarray, shape (n, n_types)
            Logarithm of how much more likely a find is of the type than of one not taught.
        """
        placed = self.known.place(features)
        n = np.bincount(self.codes)
        by_centre = self._near(placed, _centres(self.examples, self.codes, n), n[:, None])
        each = self._near(placed, self.examples, np.ones((len(self.examples), 1)))
        by_example = np.stack(
            [
                np.logaddexp.reduce(each[:, self.codes == code], axis=1) - np.log(count)
                for code, count in enumerate(n)
            ],
            axis=1,
        )
        both = np.logaddexp(np.log(1 - _OF_EXAMPLES) + by_centre, np.log(_OF_EXAMPLES) + by_example)
        return np.asarray(both - self._strangers(placed)[:, None])

    def _strangers(self, placed: DoubleArray) -> DoubleArray:
        """Log density of finds that are of no taught type, but for a constant."""
        average = _log_density(placed, np.zeros((1, placed.shape[1])), 1 + self.known.spread)[:, 0]
        if not len(self.company):
            return average
        total = _STRANGERS_WORTH + self.strange.sum()
        near = self._near(placed, self.company, np.ones((len(self.company), 1)))
        near[cdist(placed, self.company, "sqeuclidean") < _SAME] = -np.inf
        own = logsumexp(near, axis=1, b=_COMPANY_COUNTS * self.strange / total)
        return np.logaddexp(np.log(_STRANGERS_WORTH / total) + average, own)

    def _near(self, placed: DoubleArray, means: DoubleArray, n: npt.NDArray[Any]) -> DoubleArray:
        """Log density of finds under types of which the mean of `n` examples is known."""
        sure = 1 / self.known.spread + n
        return _log_density(placed, n * means / sure, 1 + 1 / sure)


def _centres(
    placed: DoubleArray, codes: npt.NDArray[np.intp], n: npt.NDArray[np.intp]
) -> DoubleArray:
    sums = np.zeros((len(n), placed.shape[1]))
    np.add.at(sums, codes, placed)
    return sums / n[:, None]


def _log_density(placed: DoubleArray, means: DoubleArray, variances: DoubleArray) -> DoubleArray:
    """Normal log densities but for the constant, shape (n, n_means)."""
    variances = np.broadcast_to(variances, means.shape)
    squared = (
        (placed**2) @ (1 / variances).T
        - 2 * placed @ (means / variances).T
        + (means**2 / variances).sum(axis=1)
    )
    return np.asarray(-0.5 * (squared + np.log(variances).sum(axis=1)))
