"""Calls come in series: finds of one take that sound alike tell each other what they are.

The animal that calls once calls again, with the same voice and into the same microphone. So a find
is not named by itself alone: how sure its label is also depends on what the finds of its take are
that are most likely of its type (`calltag.learn.call_types.kinship.Kinship.sameness`). A faint call
gets its name from a clear one, and one that was taken for another type by chance is outvoted; what
nobody taught, heard several times and never surely of a type, is less sure to be one.

Each find hands on what it is believed to be by itself, as far as the two are likely of one type:
one round of belief propagation [1]_. As the finds of a take are not independent witnesses, what
they say counts for less than it would.

References
----------
.. [1] J. Pearl, "Probabilistic Reasoning in Intelligent Systems", Morgan Kaufmann, 1988, chapter 4.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from calltag.arrays import DoubleArray
from calltag.learn.call_types.kinship import Kinship

_WITNESSES = 6  # finds that are listened to for each, the likest ones
_COUNTS = 0.4  # of what they would say if they were independent
# Log-odds that two finds of a take are of one type, over their sameness, which alone is too sure
# of both, that they are and that they are not.
_OF_SAMENESS, _AT_NO_SAMENESS = 0.2, -2.0
_OTHER = 0.3  # of what speaks against a label, so much speaks for another one of the take
# What a find would be believed to be if nothing were known: one of four types, or of none.
_USUAL, _USUAL_STRANGER = 0.225, 0.1
_LEAST = 1e-3
_ROWS = 250  # of pairs at a time, so that a take of very many finds takes little memory


def heard_together(
    known: Kinship,
    features: npt.NDArray[np.floating],
    takes: npt.NDArray[np.generic],
    labels: npt.NDArray[np.str_],
    sure: DoubleArray,
) -> tuple[npt.NDArray[np.str_], DoubleArray, npt.NDArray[np.bool_]]:
    """Let the finds of each take tell each other what they are.

    Parameters
    ----------
    known : Kinship
        Where finds are placed.
    features : np.ndarray, shape (n, n_features)
        One row for each find.
    takes : np.ndarray, shape (n,)
        The take of each, however it is called.
    labels : np.ndarray of str, shape (n,)
        The likeliest label of each, by itself.
    sure : np.ndarray, shape (n,)
        Probability that it is right.

    Returns
    -------
    labels : np.ndarray of str, shape (n,)
        The likeliest label of each, by all of its take.
    sure : np.ndarray, shape (n,)
        Probability that it is right.
    told : np.ndarray, shape (n,), bool
        Whether another told it anything: a find that is alone in its take keeps label and
        probability.
    """
    labels, sure, told = labels.copy(), sure.copy(), np.zeros(len(labels), bool)
    order = np.argsort(takes, kind="stable")
    borders = np.flatnonzero(takes[order][1:] != takes[order][:-1]) + 1
    for these in np.split(order, borders):
        if len(these) > 1:
            places = known.place(features[these])
            labels[these], sure[these] = _told(known, places, labels[these], sure[these])
            told[these] = True
    return labels, sure, told


def _told(
    known: Kinship, places: DoubleArray, labels: npt.NDArray[np.str_], sure: DoubleArray
) -> tuple[npt.NDArray[np.str_], DoubleArray]:
    """What the finds of one take are by what all of them say."""
    names, codes = np.unique(labels, return_inverse=True)
    beliefs = _beliefs(codes, len(names), sure)
    usual = np.full(len(names) + 1, _USUAL)
    usual[-1] = _USUAL_STRANGER
    likelier = beliefs / usual - 1
    told = np.log(beliefs)
    for first in range(0, len(places), _ROWS):
        rows = slice(first, first + _ROWS)
        witnesses, same = _witnesses(known, places, rows)
        told[rows] += _COUNTS * np.log1p(same[:, :, None] * likelier[witnesses]).sum(axis=1)
    told = np.exp(told - told.max(axis=1, keepdims=True))
    told /= told.sum(axis=1, keepdims=True)
    best = told[:, :-1].argmax(axis=1)
    return names[best], told[np.arange(len(best)), best]


def _beliefs(codes: npt.NDArray[np.intp], n_names: int, sure: DoubleArray) -> DoubleArray:
    """Probability of each label of the take, and last of none that was taught, for each find."""
    beliefs = np.empty((len(codes), n_names + 1))
    beliefs[:, :-1] = (_OTHER * (1 - sure) / max(1, n_names - 1))[:, None]
    beliefs[:, -1] = (1 - sure) * (1 - _OTHER if n_names > 1 else 1.0)
    beliefs[np.arange(len(codes)), codes] = sure
    beliefs = np.maximum(beliefs, _LEAST)
    return np.asarray(beliefs / beliefs.sum(axis=1, keepdims=True))


def _witnesses(
    known: Kinship, places: DoubleArray, rows: slice
) -> tuple[npt.NDArray[np.intp], DoubleArray]:
    """The finds that are likest each of some, and how likely those are of its type."""
    sameness = known.sameness(places[rows], places)
    own = np.arange(len(places))[rows]
    sameness[np.arange(len(own)), own] = -np.inf
    n = min(_WITNESSES, len(places) - 1)
    witnesses = np.argpartition(-sameness, n - 1, axis=1)[:, :n]
    likest = np.take_along_axis(sameness, witnesses, axis=1)
    return witnesses, expit(_OF_SAMENESS * likest + _AT_NO_SAMENESS)
