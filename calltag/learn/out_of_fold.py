"""What the judges say of examples that they were not taught with.

Examples are left out by groups (takes), never one by one: sounds of one take share its background,
its distance and often its animal, so a judge that knows one of them half knows the others. The same
is done with whole labels, to see what the judges make of sounds that nobody taught them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray
from calltag.learn.judges import Evidence, Judges

ONE_BY_ONE = 10
"""Up to this many groups are left out one at a time; more are left out in so many parts."""

STRANGER_PARTS = 10
"""Labels are left out in at most so many parts."""


@dataclass(frozen=True, slots=True)
class OutOfFold:
    """Judgements of examples by judges taught without their groups.

    Attributes
    ----------
    classes : np.ndarray of str, shape (n_classes,)
        Labels in alphabetical order.
    codes : np.ndarray, shape (n,), int
        Position in `classes` of each example's own label.
    votes : np.ndarray, shape (n, n_classes)
        Votes; 0 for labels that the judges did not know.
    likeness, kinship : np.ndarray, shape (n,)
        Likeness and kinship to the label with the most votes.
    parts : np.ndarray, shape (n,), int
        Which part each example was left out with.
    checked : np.ndarray, shape (n,), bool
        Whether the judges knew its label from other groups; else nothing can be said of it.
    """

    classes: npt.NDArray[np.str_]
    codes: npt.NDArray[np.intp]
    votes: DoubleArray
    likeness: DoubleArray
    kinship: DoubleArray
    parts: npt.NDArray[np.intp]
    checked: npt.NDArray[np.bool_]

    @property
    def top(self) -> DoubleArray:
        """Votes of the label that has most, shape (n,)."""
        top: DoubleArray = self.votes.max(axis=1)
        return top

    @property
    def evidence(self) -> Evidence:
        """What spoke for each label."""
        return Evidence(self.top, self.likeness, self.kinship)

    def without(self, these: npt.NDArray[np.bool_]) -> OutOfFold:
        """Leave examples out of all figures.

        Parameters
        ----------
        these : np.ndarray, shape (n,), bool
            Which.

        Returns
        -------
        OutOfFold
            The same judgements; those count as not checked.
        """
        return replace(self, checked=self.checked & ~these)

    @property
    def right(self) -> npt.NDArray[np.bool_]:
        """Whether the label with the most votes is the example's own, shape (n,)."""
        return np.asarray(self.votes.argmax(axis=1) == self.codes)


class Strangers(NamedTuple):
    """Judgements of examples by judges that do not know their label, each certainly wrong.

    Attributes
    ----------
    evidence : Evidence
        What spoke for each label.
    of : np.ndarray, shape (n,), int
        Which example each is.
    """

    evidence: Evidence
    of: npt.NDArray[np.intp]


def parts_of(
    labels: npt.NDArray[np.str_], groups: npt.NDArray[np.str_], *, seed: int = 0
) -> npt.NDArray[np.intp]:
    """Share examples out into parts that are left out together.

    Parameters
    ----------
    labels : np.ndarray of str, shape (n,)
        Their labels.
    groups : np.ndarray of str, shape (n,)
        Their groups; none is split.
    seed : int
        Of the order in which groups are dealt.

    Returns
    -------
    np.ndarray, shape (n,), int
        The part of each: a group for itself, or, where there are more than `ONE_BY_ONE`, one of so
        many parts with their labels spread evenly.
    """
    names, group_codes = np.unique(groups, return_inverse=True)
    if len(names) <= ONE_BY_ONE:
        return group_codes
    classes, codes = np.unique(labels, return_inverse=True)
    held = np.zeros((len(names), len(classes)))
    np.add.at(held, (group_codes, codes), 1)
    held /= held.sum(axis=0)  # a label's share counts, not its number: rare ones must spread too
    order = np.random.default_rng(seed).permutation(len(names))
    order = order[np.argsort(-held[order].sum(axis=1), kind="stable")]
    filled = np.zeros((ONE_BY_ONE, len(classes)))
    part_of = np.zeros(len(names), np.intp)
    for group in order:
        crowding = filled @ held[group] + 1e-6 * filled.sum(axis=1)
        part_of[group] = crowding.argmin()
        filled[part_of[group]] += held[group]
    return part_of[group_codes]


def out_of_fold(
    features: npt.NDArray[Any],
    labels: npt.NDArray[np.str_],
    groups: npt.NDArray[np.str_],
    *,
    company: npt.NDArray[Any] | None = None,
) -> OutOfFold:
    """Judge each example by judges taught without its group.

    Parameters
    ----------
    features : np.ndarray, shape (n, n_features)
        Examples.
    labels, groups : np.ndarray of str, shape (n,)
        Their labels, and what is left out together.
    company : np.ndarray, shape (n_company, n_features), optional
        Finds that nobody labelled.

    Returns
    -------
    OutOfFold
        The judgements. With one group only, or one label only outside a group, nothing is checked.
    """
    classes, codes = np.unique(labels, return_inverse=True)
    n = len(labels)
    votes, likeness, kinship = np.zeros((n, len(classes))), np.full(n, -1.0), np.zeros(n)
    checked = np.zeros(n, bool)
    parts = parts_of(labels, groups)
    for part in np.unique(parts):
        left_out = parts == part
        taught = np.unique(codes[~left_out])
        if len(taught) < 2:
            continue
        judges = Judges.fit(features[~left_out], labels[~left_out], company)
        judgement = judges.judge(features[left_out])
        votes[np.ix_(left_out, taught)] = judgement.votes
        likeness[left_out] = judgement.likeness
        kinship[left_out] = judgement.kinship
        checked[left_out] = np.isin(codes[left_out], taught)
    return OutOfFold(classes, codes, votes, likeness, kinship, parts, checked)


def strangers(
    features: npt.NDArray[Any],
    labels: npt.NDArray[np.str_],
    *,
    company: npt.NDArray[Any] | None = None,
) -> Strangers:
    """Judge each example by judges taught without its label.

    Parameters
    ----------
    features : np.ndarray, shape (n, n_features)
        Examples.
    labels : np.ndarray of str, shape (n,)
        Their labels.
    company : np.ndarray, shape (n_company, n_features), optional
        Finds that nobody labelled.

    Returns
    -------
    Strangers
        The judgements; none where there are fewer than three labels.
    """
    classes, codes = np.unique(labels, return_inverse=True)
    if len(classes) < 3:
        return Strangers(Evidence(*np.zeros((3, 0))), np.zeros(0, np.intp))
    n_parts = min(len(classes), STRANGER_PARTS)
    order = np.random.default_rng(0).permutation(len(classes))
    top, likeness, kinship = np.zeros((3, len(labels)))
    for together in np.array_split(order, n_parts):
        left_out = np.isin(codes, together)
        judges = Judges.fit(features[~left_out], labels[~left_out], company)
        judgement = judges.judge(features[left_out])
        top[left_out] = judgement.votes.max(axis=1)
        likeness[left_out] = judgement.likeness
        kinship[left_out] = judgement.kinship
    return Strangers(Evidence(top, likeness, kinship), np.arange(len(labels)))
