"""How many finds agree with a reference, take by take.

Two ways of counting, each with its own use:

- By events, as the sound-event community counts [1]_: a find is right when its start lies within
  a collar of a reference's start (`calltag.learn.labels.sameness.ONSET_COLLAR_S` unless told
  otherwise) and its end within the greater of that and a share of the reference's length. One find
  answers for one reference, paired so that as many as possible are right.
- By overlap, which asks less of the edges: a reference counts as found when finds cover
  `FOUND_SHARE` of it, a find as right when `RIGHT_SHARE` of it lies in references. Whether a right
  find bears the right name is counted so, too: an end that is off makes no name wrong.

Figures that nothing was counted for are ``nan``.

References
----------
.. [1] A. Mesaros, T. Heittola, T. Virtanen, "Metrics for polyphonic sound event detection", Applied
   Sciences 6(6), 2016, 162.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray
from calltag.learn.labels.vocabulary import is_call_type
from calltag.learn.scoring.event_matching import match_events
from calltag.records.label import Label

FOUND_SHARE = 0.25
"""Share of a reference that finds must cover for it to count as found, by overlap."""

RIGHT_SHARE = 0.5
"""Share of a find that must lie in references for it to count as right, by overlap."""

Pair = tuple[list[Label], list[Label]]
"""References and finds of one take."""


@dataclass(frozen=True, slots=True)
class Counts:
    """References, finds, and pairs that agree.

    Attributes
    ----------
    truth, found : int
        How many there are of each.
    right : int
        How many finds are paired with a reference.
    """

    truth: int
    found: int
    right: int

    @property
    def precision(self) -> float:
        """Share of the finds that are right."""
        return ratio(self.right, self.found)

    @property
    def recall(self) -> float:
        """Share of the references that were found."""
        return ratio(self.right, self.truth)

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall."""
        return ratio(2 * self.right, self.truth + self.found)


@dataclass(frozen=True, slots=True)
class Overlap:
    """Figures by overlap.

    Attributes
    ----------
    truth, hit : int
        References, and how many of them were found.
    found, right : int
        Finds, and how many of them are right.
    onset_error_s : float
        Median distance from the start of a reference that was found to the nearest start of a find
        that overlaps it.
    """

    truth: int
    hit: int
    found: int
    right: int
    onset_error_s: float

    @property
    def precision(self) -> float:
        """Share of the finds that are right."""
        return ratio(self.right, self.found)

    @property
    def recall(self) -> float:
        """Share of the references that were found."""
        return ratio(self.hit, self.truth)

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall."""
        return _harmonic(self.precision, self.recall)


@dataclass(frozen=True, slots=True)
class Names:
    """What finds are named that are right by overlap, where the reference names a type.

    Attributes
    ----------
    right : int
        Finds with the type of the reference with which they share most time, or of references in
        which `RIGHT_SHARE` of them lies: two animals may call at once.
    other : int
        Finds with another type.
    none : int
        Finds without one.
    """

    right: int
    other: int
    none: int


def count_events(
    rows: Sequence[Sequence[Pair]], collar_s: float, offset_share: float
) -> npt.NDArray[np.int64]:
    """Count by events: a row for each take, so that takes can be drawn again for the intervals.

    Parameters
    ----------
    rows : sequence of sequence of Pair
        For each take, what is held against each other: all of it, or each label by itself.
    collar_s : float
        Seconds that a start may be off, and an end at least.
    offset_share : float
        Share of a reference's length that its end may be off.

    Returns
    -------
    np.ndarray, shape (n_takes, n_cells, 3), int64
        In each cell, how many references and finds there are, and how many pairs of them agree.
    """
    counts = [[_match(*pair, collar_s, offset_share) for pair in row] for row in rows]
    return np.array(counts, np.int64).reshape(len(rows), -1, 3)


def _match(
    truth: list[Label], found: list[Label], collar_s: float, offset_share: float
) -> tuple[int, int, int]:
    pairs = match_events(truth, found, collar_s=collar_s, offset_share=offset_share)
    return len(truth), len(found), len(pairs)


def count_overlaps(pairs: Sequence[Pair]) -> tuple[Overlap, npt.NDArray[np.int64]]:
    """Count by overlap.

    Parameters
    ----------
    pairs : sequence of Pair
        Of each take.

    Returns
    -------
    overlap : Overlap
        All takes together.
    rows : np.ndarray, shape (n_takes, 1, 4), int64
        References, found ones, finds and right ones of each take, to be drawn again.
    """
    overlaps = [_overlap(*pair) for pair in pairs]
    rows = np.array([row for row, _ in overlaps]).reshape(-1, 1, 4)
    errors = [error for _, of_take in overlaps for error in of_take]
    truth, hit, found, right = (int(n) for n in rows.sum(axis=(0, 1)))
    error_s = float(np.median(errors)) if errors else math.nan
    return Overlap(truth, hit, found, right, error_s), rows


def _overlap(
    truth: list[Label], found: list[Label]
) -> tuple[tuple[int, int, int, int], list[float]]:
    """Count a take by overlap: (references, found, finds, right), and the onset errors."""
    t, f = _ends_s(truth), _ends_s(found)
    hit = _covered(t, f, FOUND_SHARE)
    right = _covered(f, t, RIGHT_SHARE)
    apart = np.where(_common_s(t, f) > 0, np.abs(t[:, None, 0] - f[None, :, 0]), np.inf)
    errors = [float(row.min()) for row in apart[hit]]
    return (len(truth), int(hit.sum()), len(found), int(right.sum())), errors


def count_names(pairs: Sequence[Pair]) -> Names:
    """Count how finds that are right by overlap are named, wherever they start and end.

    Parameters
    ----------
    pairs : sequence of Pair
        Of each take.

    Returns
    -------
    Names
        All takes together.
    """
    right = other = none = 0
    for truth, found in pairs:
        t, f = _ends_s(truth), _ends_s(found)
        labels = np.array([event.label for event in truth])
        common_s = _common_s(f, t)
        for number in np.flatnonzero(_covered(f, t, RIGHT_SHARE)):
            named, meant = found[number].label, truth[int(common_s[number].argmax())].label
            if not is_call_type(meant):
                continue
            if not is_call_type(named):
                none += 1
            elif named == meant or _covered(f[[number]], t[labels == named], RIGHT_SHARE).any():
                right += 1
            else:
                other += 1
    return Names(right, other, none)


def _ends_s(events: list[Label]) -> DoubleArray:
    """Start and end of each event, shape (n, 2)."""
    return np.array([(event.start_s, event.end_s) for event in events]).reshape(-1, 2)


def _covered(these: DoubleArray, others: DoubleArray, share: float) -> npt.NDArray[np.bool_]:
    """Which of these stretches the others cover a share of; where they overlap they count once."""
    common_s = _common_s(these, _united(others)).sum(axis=1)
    covered: npt.NDArray[np.bool_] = common_s >= share * (these[:, 1] - these[:, 0])
    return covered & (common_s > 0)


def _common_s(these: DoubleArray, others: DoubleArray) -> DoubleArray:
    """How long each of these stretches overlaps each of the others, in seconds."""
    t, o = these[:, None], others[None]
    return np.maximum(np.minimum(t[..., 1], o[..., 1]) - np.maximum(t[..., 0], o[..., 0]), 0.0)


def _united(stretches: DoubleArray) -> DoubleArray:
    """The same without overlaps: those that overlap are one."""
    if not len(stretches):
        return stretches
    starts, ends = np.sort(stretches, axis=0).T
    apart = starts[1:] > ends[:-1]  # where as many have ended as have begun
    return np.stack([starts[np.append(True, apart)], ends[np.append(apart, True)]], axis=1)


def f1_of_all(table: npt.NDArray[np.int64]) -> float:
    """F1 of all cells together.

    Parameters
    ----------
    table : np.ndarray, shape (n_cells, 3)
        By `count_events`, of one take or summed over several.

    Returns
    -------
    float
        F1; ``nan`` where nothing was counted.
    """
    truth, found, right = table.sum(axis=0)
    return ratio(2 * right, truth + found)


def mean_f1(table: npt.NDArray[np.int64]) -> float:
    """Mean F1 of the cells.

    Parameters
    ----------
    table : np.ndarray, shape (n_cells, 3)
        By `count_events`, of one take or summed over several.

    Returns
    -------
    float
        The mean of those that something was counted for; ``nan`` where there is none.
    """
    each = [ratio(2 * right, truth + found) for truth, found, right in table if truth + found]
    return float(np.mean(each)) if each else math.nan


def f1_by_overlap(table: npt.NDArray[np.int64]) -> float:
    """F1 by overlap.

    Parameters
    ----------
    table : np.ndarray, shape (1, 4)
        By `count_overlaps`, of one take or summed over several.

    Returns
    -------
    float
        F1; ``nan`` where nothing was counted.
    """
    truth, hit, found, right = table.sum(axis=0)
    return _harmonic(ratio(right, found), ratio(hit, truth))


def ratio(part: float, whole: float) -> float:
    """Divide, where there is something to divide by.

    Parameters
    ----------
    part, whole : float
        Any numbers.

    Returns
    -------
    float
        Their ratio; ``nan`` where the whole is nothing.
    """
    return float(part / whole) if whole else math.nan


def _harmonic(precision: float, recall: float) -> float:
    if math.isnan(precision) or math.isnan(recall):
        return 0.0 if not (math.isnan(precision) and math.isnan(recall)) else math.nan
    return 2 * precision * recall / (precision + recall) if precision + recall else 0.0
