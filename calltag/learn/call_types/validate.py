"""How well labels are learnt: figures from examples judged without their own takes.

Every figure rests on judges, and on a confidence, that were made without the example's group. An
example whose label no other group holds cannot be judged so; it is left out of the figures, and the
warnings say it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calltag.learn.call_types.confidence import calibration_error
from calltag.learn.call_types.out_of_fold import OutOfFold, Strangers
from calltag.learn.call_types.panel import are_calls
from calltag.learn.call_types.trust import Trust, Verdict, fit_trust
from calltag.learn.labels.vocabulary import is_call, spelling_twins
from calltag.learn.scoring.counting import mean_f1
from calltag.learn.scoring.intervals import Interval, wilson

ENOUGH = 5
"""Examples of a label that it takes to be learnt with some certainty."""

SUSPECT = 0.7
"""A label is doubted where another one is at least this sure."""

CONFUSED_SHARE = 0.1
"""Two labels are confused where at least this share of their examples go to the other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelFigures:
    """How well one label is known.

    Attributes
    ----------
    label : str
        The label.
    n : int
        Its examples.
    groups : int
        Groups (takes) that they come from.
    checked : int
        How many of them could be judged without their group.
    right : int
        How many of those were known.
    """

    label: str
    n: int
    groups: int
    checked: int
    right: int


@dataclass(frozen=True, slots=True)
class Doubt:
    """A label that is probably wrong.

    Attributes
    ----------
    index : int
        Which example.
    label : str
        Its label.
    suggestion : str
        What it sounds like.
    confidence : float
        How sure that is.
    """

    index: int
    label: str
    suggestion: str
    confidence: float


@dataclass(frozen=True, slots=True)
class Confused:
    """Two labels that are taken for each other.

    Attributes
    ----------
    one, other : str
        The labels.
    times : int
        How many examples of one were taken for the other.
    of : int
        How many examples of the two were checked.
    """

    one: str
    other: str
    times: int
    of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Validation:
    """Figures of a validation that leaves whole groups out.

    Attributes
    ----------
    n : int
        Examples.
    groups : int
        Groups that they come from.
    checked : int
        Examples that could be judged without their group; what follows is of them.
    right : int
        How many were known.
    accuracy : float
        Their share; ``nan``, as all that follows, where nothing could be checked.
    accuracy_interval : Interval
        Its interval, as if examples were independent (Wilson).
    balanced_accuracy : float
        Mean share of known examples over the labels.
    macro_f1 : float
        Mean F1 of the labels.
    named, named_right : int
        Examples sure enough to be given a label, and how many of those were right.
    calibration_error : float
        Mean distance of confidence from the share that was right.
    strangers, strangers_named : int
        Examples judged without their label being known, and how many would have been given another;
        noise that is taken for other noise is not among these.
    by_label : tuple of LabelFigures
        In alphabetical order.
    confusion : tuple of tuple of int
        Row: the example's label; column: what it was taken for. In the order of `by_label`.
    doubts : tuple of Doubt
        Labels to look at again, the most doubtful first.
    not_known : tuple of int
        The examples that were checked and not known.
    confused : tuple of Confused
        Pairs of labels, the most confused first.
    warnings : tuple of str
        Sentences that say why figures may mislead.
    """

    n: int
    groups: int
    checked: int
    right: int
    accuracy: float
    accuracy_interval: Interval
    balanced_accuracy: float
    macro_f1: float
    named: int
    named_right: int
    calibration_error: float
    strangers: int
    strangers_named: int
    by_label: tuple[LabelFigures, ...]
    confusion: tuple[tuple[int, ...], ...]
    doubts: tuple[Doubt, ...]
    not_known: tuple[int, ...]
    confused: tuple[Confused, ...]
    warnings: tuple[str, ...]


def validate(
    known: OutOfFold,
    unknown: Strangers,
    groups: npt.NDArray[np.str_],
    *,
    share: float | None = None,
) -> Validation:
    """Make figures of trials.

    What is labelled is of a label, so how sure that is, and the doubts, reckon with trials alone.
    What gets a name does so as a tagger of all examples would give it, among all finds.

    Parameters
    ----------
    known : OutOfFold
        Judgements of the examples by judges that did not know their groups.
    unknown : Strangers
        Judgements by judges that did not know their labels.
    groups : np.ndarray of str, shape (n,)
        The group of each example.
    share : float, optional
        Share of all finds that are of the call types, where that is known.

    Returns
    -------
    Validation
        The figures.
    """
    classes, codes = np.unique(known.labels, return_inverse=True)
    checked = known.checked
    verdict = _verdict_without_group(known, unknown, share)
    own, best = codes[checked], np.searchsorted(classes, verdict.label[checked])
    right = own == best
    named = verdict.given[checked]
    names, group_codes = np.unique(groups, return_inverse=True)
    confusion = np.zeros((len(classes), len(classes)), np.int64)
    np.add.at(confusion, (own, best), 1)
    by_label = tuple(
        LabelFigures(
            label=str(label),
            n=int((codes == code).sum()),
            groups=len(set(group_codes[codes == code])),
            checked=int(confusion[code].sum()),
            right=int(confusion[code, code]),
        )
        for code, label in enumerate(classes)
    )
    n_checked, n_right = int(checked.sum()), int(right.sum())
    return Validation(
        n=len(codes),
        groups=len(names),
        checked=n_checked,
        right=n_right,
        accuracy=n_right / n_checked if n_checked else float("nan"),
        accuracy_interval=wilson(n_right, n_checked),
        balanced_accuracy=balanced_accuracy(confusion),
        macro_f1=macro_f1(confusion),
        named=int(named.sum()),
        named_right=int((named & right).sum()),
        calibration_error=calibration_error(verdict.sure[checked], right),
        strangers=len(unknown.of),
        strangers_named=_strangers_named(known, unknown, share),
        by_label=by_label,
        confusion=tuple(tuple(int(n) for n in row) for row in confusion),
        doubts=_doubts(known, verdict),
        not_known=tuple(np.flatnonzero(checked)[~right].tolist()),
        confused=_confused(confusion, classes.tolist()),
        warnings=_warnings(by_label, len(names)),
    )


def balanced_accuracy(confusion: npt.NDArray[np.int64]) -> float:
    """Mean share of known examples over the labels that have any.

    Parameters
    ----------
    confusion : np.ndarray, shape (n_classes, n_classes)
        Rows: true labels; columns: what they were taken for.

    Returns
    -------
    float
        The mean; ``nan`` for an empty table.

    References
    ----------
    .. [1] K. H. Brodersen, C. S. Ong, K. E. Stephan, J. M. Buhmann, "The balanced accuracy and its
       posterior distribution", ICPR 2010, pp. 3121-3124.

    Examples
    --------
    88 true negatives, 2 false positives, 4 false negatives, 6 true positives.

    >>> round(balanced_accuracy(np.array([[88, 2], [4, 6]])), 3)
    0.789
    """
    n = confusion.sum(axis=1)
    return float((confusion.diagonal()[n > 0] / n[n > 0]).mean()) if n.any() else float("nan")


def macro_f1(confusion: npt.NDArray[np.int64]) -> float:
    """Mean F1 over the labels that some example has, or was taken for.

    Parameters
    ----------
    confusion : np.ndarray, shape (n_classes, n_classes)
        Rows: true labels; columns: what they were taken for.

    Returns
    -------
    float
        The mean; ``nan`` for an empty table.
    """
    own, taken_for = confusion.sum(axis=1), confusion.sum(axis=0)
    return mean_f1(np.stack([own, taken_for, confusion.diagonal()], axis=1))


def _verdict_without_group(known: OutOfFold, unknown: Strangers, share: float | None) -> Verdict:
    """The label of each example, by a trust fitted without its part, given as a tagger would."""
    n = len(known.labels)
    verdict = Verdict(np.zeros(n, known.labels.dtype), np.zeros(n), np.zeros(n, bool))
    for part in np.unique(known.parts):
        inside = known.parts == part
        trust, opinion = fit_trust(known, unknown, ~inside), known.opinion.of(inside)
        given = _as_used(trust, known, share).verdict(opinion).given
        tried = trust.verdict(opinion)._replace(given=given)
        for whole, piece in zip(verdict, tried, strict=True):
            whole[inside] = piece
    return verdict


def _as_used(trust: Trust, known: OutOfFold, share: float | None) -> Trust:
    """What a trust of trials is worth where a tagger of all examples gives names."""
    surer = trust.of_all_examples(known.labels[known.believed])
    return surer if share is None else surer.among(share)


def _strangers_named(known: OutOfFold, unknown: Strangers, share: float | None) -> int:
    """How many strangers get a label, trusted as without their own.

    That noise of one kind is taken for that of another misleads nobody.
    """
    n = 0
    labels = known.labels[unknown.of]
    for label in np.unique(labels):
        trust = _as_used(fit_trust(known, unknown, known.labels != label), known, share)
        verdict = trust.verdict(unknown.opinion.of(labels == label))
        misleading = is_call(str(label)) | are_calls(verdict.label)
        n += int((verdict.given & misleading).sum())
    return n


def _doubts(known: OutOfFold, verdict: Verdict) -> tuple[Doubt, ...]:
    wrong = verdict.label != known.labels
    suspect = np.flatnonzero(known.checked & wrong & (verdict.sure >= SUSPECT))
    return tuple(
        Doubt(int(i), str(known.labels[i]), str(verdict.label[i]), float(verdict.sure[i]))
        for i in suspect[np.argsort(-verdict.sure[suspect], kind="stable")]
    )


def _confused(confusion: npt.NDArray[np.int64], classes: Sequence[str]) -> tuple[Confused, ...]:
    pairs = [
        Confused(
            classes[i],
            classes[j],
            int(confusion[i, j] + confusion[j, i]),
            int(confusion[i].sum() + confusion[j].sum()),
        )
        for i in range(len(classes))
        for j in range(i + 1, len(classes))
    ]
    pairs = [pair for pair in pairs if pair.times >= max(2, CONFUSED_SHARE * pair.of)]
    return tuple(sorted(pairs, key=lambda pair: -pair.times / pair.of))


def _warnings(by_label: Sequence[LabelFigures], n_groups: int) -> tuple[str, ...]:
    warnings = []
    if n_groups == 1:
        warnings.append(
            "All labels are of one take, so there is no telling how well they are known in another."
        )
    else:
        warnings += [
            f"`{figures.label}` is labelled in one take only, so it could not be checked; label it"
            " in another."
            for figures in by_label
            if figures.groups == 1
        ]
    warnings += [
        f"`{figures.label}` has {figures.n} examples; {ENOUGH} or more make it surer."
        for figures in by_label
        if figures.n < ENOUGH
    ]
    if all(is_call(figures.label) for figures in by_label):
        warnings.append(
            "No label that was learnt says `no call` or names a noise; a few such labels, where"
            " calltag took something else for a call, keep more of these from getting a type."
        )
    warnings += [
        f"{' and '.join(f'`{name}`' for name in twins)} differ only in spelling; make them one."
        for twins in spelling_twins(figures.label for figures in by_label)
    ]
    return tuple(warnings)
