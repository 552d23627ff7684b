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

from calltag.learn.call_types.judges import Evidence
from calltag.learn.call_types.panel import Opinion, Panel, Said, judged_apart

ONE_BY_ONE = 10
"""Up to this many groups are left out one at a time; more are left out in so many parts."""

STRANGER_PARTS = 10
"""Labels are left out in at most so many parts."""


@dataclass(frozen=True, slots=True)
class OutOfFold:
    """Opinions of examples by panels taught without their groups.

    Attributes
    ----------
    labels : np.ndarray of str, shape (n,)
        Each example's own label.
    opinion : Opinion
        What was said of them; nothing speaks for any label where nothing could be asked.
    parts : np.ndarray, shape (n,), int
        Which part each example was left out with.
    checked : np.ndarray, shape (n,), bool
        Whether the judges knew its label from other groups; else nothing can be said of it.
    believed : np.ndarray, shape (n,), bool
        Whether its label was learnt from, wherever its group was not left out.
    """

    labels: npt.NDArray[np.str_]
    opinion: Opinion
    parts: npt.NDArray[np.intp]
    checked: npt.NDArray[np.bool_]
    believed: npt.NDArray[np.bool_]

    def without(self, these: npt.NDArray[np.bool_]) -> OutOfFold:
        """Leave examples out of all figures.

        Parameters
        ----------
        these : np.ndarray, shape (n,), bool
            Which.

        Returns
        -------
        OutOfFold
            The same opinions; those examples count as not checked.
        """
        return replace(self, checked=self.checked & ~these)


class Strangers(NamedTuple):
    """Opinions of examples by panels that do not know their label, each certainly wrong.

    Attributes
    ----------
    opinion : Opinion
        What was said of them.
    of : np.ndarray, shape (n,), int
        Which example each is.
    """

    opinion: Opinion
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
    classes, codes = np.unique(labels, return_inverse=True)
    held = np.zeros((len(names), len(classes)))
    np.add.at(held, (group_codes, codes), 1)
    held /= held.sum(axis=0)  # a label's share counts, not its number: rare ones must spread too
    order = np.random.default_rng(seed).permutation(len(names))
    order = order[np.argsort(-held[order].sum(axis=1), kind="stable")]
    filled = np.zeros((ONE_BY_ONE, len(classes)))
    part_of = np.zeros(len(names), np.intp)
    for group in order:
        crowding = filled @ held[group] + 1e-6 * filled.sum(axis=1)  # none in an empty part
        part_of[group] = crowding.argmin()
        filled[part_of[group]] += held[group]
    return part_of[group_codes]


def out_of_fold(
    features: npt.NDArray[Any],
    labels: npt.NDArray[np.str_],
    groups: npt.NDArray[np.str_],
    *,
    company: npt.NDArray[Any] | None = None,
    believed: npt.NDArray[np.bool_] | None = None,
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
    believed : np.ndarray, shape (n,), bool, optional
        Whose labels to learn from; all unless given.

    Returns
    -------
    OutOfFold
        The opinions. With one group only, or one label only outside a group, nothing is checked.

    Raises
    ------
    ModelError
        If what is known of call types beforehand is missing or damaged.
    """
    if believed is None:
        believed = np.ones(len(labels), bool)
    apart = _Apart(features, labels, company, believed)
    checked = np.zeros(len(labels), bool)
    parts = parts_of(labels, groups)
    for part in np.unique(parts):
        left_out = parts == part
        taught = ~left_out & believed
        if apart.judge(left_out, taught):
            checked[left_out] = np.isin(labels[left_out], labels[taught])
    return OutOfFold(labels, apart.opinion, parts, checked, believed)


def strangers(
    features: npt.NDArray[Any],
    labels: npt.NDArray[np.str_],
    *,
    company: npt.NDArray[Any] | None = None,
    believed: npt.NDArray[np.bool_] | None = None,
) -> Strangers:
    """Judge each example by a panel taught without its label.

    Parameters
    ----------
    features : np.ndarray, shape (n, n_features)
        Examples.
    labels : np.ndarray of str, shape (n,)
        Their labels.
    company : np.ndarray, shape (n_company, n_features), optional
        Finds that nobody labelled.
    believed : np.ndarray, shape (n,), bool, optional
        Whose labels to go by; the others are no strangers. All unless given.

    Returns
    -------
    Strangers
        The opinions; none where there are fewer than three labels.

    Raises
    ------
    ModelError
        If what is known of call types beforehand is missing or damaged.
    """
    if believed is None:
        believed = np.ones(len(labels), bool)
    apart = _Apart(features, labels, company, believed)
    judged = np.zeros(len(labels), bool)
    classes = np.unique(labels)
    order = np.random.default_rng(0).permutation(classes)
    for together in np.array_split(order, min(len(classes), STRANGER_PARTS)):
        of_these = np.isin(labels, together)
        left_out = of_these & believed
        if apart.judge(left_out, ~of_these & believed):
            judged |= left_out
    return Strangers(apart.opinion.of(judged), np.flatnonzero(judged))


class _Apart:
    """Judges examples by panels that were taught with others, and puts together what they say."""

    def __init__(
        self,
        features: npt.NDArray[Any],
        labels: npt.NDArray[np.str_],
        company: npt.NDArray[Any] | None,
        believed: npt.NDArray[np.bool_],
    ) -> None:
        self._features, self._labels, self._company = features, labels, company
        self.opinion = _nothing_said(labels, apart=judged_apart(labels[believed]))

    def judge(self, left_out: npt.NDArray[np.bool_], taught: npt.NDArray[np.bool_]) -> bool:
        """Judge those left out; False where the taught have one label only, which tells nothing."""
        if len(np.unique(self._labels[taught])) < 2:
            return False
        panel = Panel.fit(self._features[taught], self._labels[taught], self._company)
        _put(self.opinion, left_out, panel.judge(self._features[left_out]))
        return True


def _nothing_said(labels: npt.NDArray[np.str_], *, apart: bool) -> Opinion:
    """Room for what will be said of examples, with nothing in favour of any label."""
    n = len(labels)
    everything, types = (
        Said(np.zeros(n, labels.dtype), Evidence(np.zeros(n), np.full(n, -1.0), np.zeros(n)))
        for _ in range(2)
    )
    return Opinion(everything, types if apart else None, np.zeros(n))


def _put(whole: Opinion, these: npt.NDArray[np.bool_], part: Opinion) -> None:
    """Write what is said of some examples to its place.

    Where one call type was left to learn, nobody knew types alone: who knew all labels, speaks.
    """
    whole.call_share[these] = part.call_share
    for room, said in (
        (whole.everything, part.everything),
        (whole.types, part.types or part.everything),
    ):
        if room is None:
            continue
        room.best[these] = said.best
        for place, value in zip(room.evidence, said.evidence, strict=True):
            place[these] = value
