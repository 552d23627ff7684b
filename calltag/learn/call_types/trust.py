"""How far to trust a panel of judges: a confidence for each of its two kinds, fitted to trials.

What a log holds beside the labelled sounds then tells how common the taught types are, and how much
less sure of them that makes (`calltag.learn.call_types.prevalence`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit

from calltag.arrays import DoubleArray
from calltag.learn.call_types.confidence import STRANGER_SHARE, Confidence
from calltag.learn.call_types.judges import Evidence
from calltag.learn.call_types.out_of_fold import OutOfFold, Strangers
from calltag.learn.call_types.panel import Opinion, Said, are_calls
from calltag.learn.call_types.prevalence import least_prevalence, prevalence, rarer

_MAY_BE_CALL = 0.3
"""Share of the votes for call types from which on a find that seems to be noise may be a call."""

LEAST_AMONG = 0.7
"""A call type is given from no less sure than this, where it is known how common the types are."""

_IN_TRIALS = 1 / (1 + STRANGER_SHARE)  # share of taught labels that confidences reckon with
_COUNTS_ABOVE = 0.5  # of the log-odds beyond what is enough, where finds made each other sure
_TOLD_OF_RARER = 0.5  # see `Trust.to_tell`
_SUREST = 1 - 1e-9


class Verdict(NamedTuple):
    """The labels of some finds.

    Attributes
    ----------
    label : np.ndarray of str, shape (n,)
        The likeliest label of each.
    sure : np.ndarray, shape (n,)
        Probability that it is right.
    given : np.ndarray, shape (n,), bool
        Whether that is enough for the find to be given it.
    """

    label: npt.NDArray[np.str_]
    sure: DoubleArray
    given: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Trust:
    """What the opinions of a panel are worth.

    Attributes
    ----------
    everything : Confidence
        In the judges who know all labels.
    types : Confidence or None
        In call types, as those say who know types alone, or else those who know all labels; None
        where it is the same as in all labels.
    share : float or None
        Share of finds of the taught call types that `types` reckons with; None where nothing is
        known of that.
    """

    everything: Confidence
    types: Confidence | None
    share: float | None = None

    def verdict(self, opinion: Opinion) -> Verdict:
        """Tell which label finds most likely have, and how sure that is.

        Noise that is sure enough has the last word. Where it is not, a type that is sure enough is
        given, if enough speaks for a call at all.

        Parameters
        ----------
        opinion : Opinion
            What the panel said of some finds.

        Returns
        -------
        Verdict
            One label for each of them.
        """
        label, sure = opinion.everything.best, self.everything(opinion.everything.evidence)
        types = opinion.types or opinion.everything
        type_sure = self.of_types(types.evidence)
        doubtful = ~self.enough(label, sure) & (opinion.call_share >= _MAY_BE_CALL)
        by_types = are_calls(label) | (
            doubtful & are_calls(types.best) & self.enough(types.best, type_sure)
        )
        return self.ruled(
            np.where(by_types, types.best, label), np.where(by_types, type_sure, sure)
        )

    def among(self, share: float) -> Trust:
        """Say what the panel is worth where so many finds are of taught types.

        Parameters
        ----------
        share : float
            Their share, as by `share_of_types`.

        Returns
        -------
        Trust
            The same, less sure of call types where they are rare. A type is given where it was
            before, if it is `LEAST_AMONG` sure then.
        """
        less = rarer(share, in_trials=_IN_TRIALS)
        before = float(expit(logit(self.of_types.threshold) + less))
        types = self.of_types.shifted(less, threshold=max(before, LEAST_AMONG))
        return Trust(self.everything, types, share)

    def share_of_types(self, opinion: Opinion, per_type: float, known: OutOfFold) -> float:
        """Tell what share of some finds are of the call types that were taught.

        Parameters
        ----------
        opinion : Opinion
            What the panel said of them.
        per_type : float
            Examples that taught each type, on average.
        known : OutOfFold
            Opinions of the examples out of fold.

        Returns
        -------
        float
            The share, as it seems to who knows none yet.
        """
        verdict = self.verdict(opinion)
        sure = np.where(are_calls(verdict.label), verdict.sure, 0.0)
        share = prevalence(sure, in_trials=_IN_TRIALS, per_type=per_type)
        tried = self.verdict(known.opinion)
        right = known.checked & are_calls(known.labels) & (tried.label == known.labels)
        return max(share, least_prevalence(tried.sure[right], LEAST_AMONG, in_trials=_IN_TRIALS))

    def ruled(self, label: npt.NDArray[np.str_], sure: DoubleArray) -> Verdict:
        """Tell which labels are sure enough to be given.

        Parameters
        ----------
        label : np.ndarray of str, shape (n,)
            The likeliest label of each find.
        sure : np.ndarray, shape (n,)
            Probability that it is right.

        Returns
        -------
        Verdict
            The same, and whether it is given.
        """
        return Verdict(label, sure, self.enough(label, sure))

    def enough(self, label: npt.NDArray[np.str_], sure: DoubleArray) -> npt.NDArray[np.bool_]:
        """Tell whether labels are sure enough: call types have a threshold of their own.

        Parameters
        ----------
        label : np.ndarray of str, shape (n,)
            Labels.
        sure : np.ndarray, shape (n,)
            Probability that each is right.

        Returns
        -------
        np.ndarray, shape (n,), bool
            Whether they are.
        """
        return np.asarray(sure >= self._least(label))

    def to_tell(self, verdict: Verdict) -> DoubleArray:
        """How sure finds are of themselves when they tell each other what they are.

        Finds of one take that sound alike show in part how rare a type is, so only `_TOLD_OF_RARER`
        of that is reckoned with before they do, and the rest after it.

        Parameters
        ----------
        verdict : Verdict
            What each is by itself.

        Returns
        -------
        np.ndarray, shape (n,)
            Probability that its label is right.
        """
        return self._rarer(verdict.label, verdict.sure, _TOLD_OF_RARER - 1)

    def told(
        self, label: npt.NDArray[np.str_], sure: DoubleArray, told: npt.NDArray[np.bool_]
    ) -> Verdict:
        """Tell which labels are sure enough, after finds told each other what they are.

        They make each other too sure. What is given stays the same, as less sure than they say.

        Parameters
        ----------
        label : np.ndarray of str, shape (n,)
            The likeliest label of each find, by all of its take.
        sure : np.ndarray, shape (n,)
            Probability that it is right, as they say who were `to_tell` it.
        told : np.ndarray, shape (n,), bool
            Whether others told it anything; where they did not, it stays as sure.

        Returns
        -------
        Verdict
            The labels, how sure they are, and whether they are given.
        """
        sure = self._rarer(label, sure, 1 - _TOLD_OF_RARER)
        least = self._least(label)
        above = logit(np.clip(sure, least, _SUREST)) - logit(least)
        less = expit(logit(least) + _COUNTS_ABOVE * above)
        return self.ruled(label, np.where(told & (sure > least), np.maximum(less, least), sure))

    def _rarer(self, label: npt.NDArray[np.str_], sure: DoubleArray, times: float) -> DoubleArray:
        """Reckon so many times more with how rare call types are."""
        if self.share is None:
            return sure
        less = times * rarer(self.share, in_trials=_IN_TRIALS)
        odds = logit(np.clip(sure, 1 - _SUREST, _SUREST))
        return np.where(are_calls(label), expit(odds + less), sure)

    def _least(self, label: npt.NDArray[np.str_]) -> DoubleArray:
        """How sure each label has to be to be given."""
        return np.where(are_calls(label), self.of_types.threshold, self.everything.threshold)

    @property
    def of_types(self) -> Confidence:
        """The confidence by which call types are given."""
        return self.everything if self.types is None else self.types

    def of_all_examples(self, labels: npt.NDArray[np.str_]) -> Trust:
        """Say what a panel taught with all examples is worth, which knows more than those tried.

        Parameters
        ----------
        labels : np.ndarray of str, shape (n,)
            Labels of all examples that were learnt from.

        Returns
        -------
        Trust
            The same, surer of everything.
        """
        return Trust(
            self.everything.of_all_examples(_per_label(labels)),
            self.types and self.types.of_all_examples(_per_label(labels[are_calls(labels)])),
        )


def fit_trust(known: OutOfFold, unknown: Strangers, used: npt.NDArray[np.bool_]) -> Trust:
    """Find out by trials how far to trust a panel.

    To those who know call types alone, noise is a stranger.

    Parameters
    ----------
    known : OutOfFold
        Opinions of the examples out of fold.
    unknown : Strangers
        Opinions of the examples as strangers.
    used : np.ndarray, shape (n,), bool
        Which examples to go by.

    Returns
    -------
    Trust
        With the usual confidence where there is none to go by.
    """
    inside, foreign = used & known.checked & known.believed, used[unknown.of]
    everything = _fitted(
        known.opinion.everything, known.labels, inside, unknown.opinion.everything, foreign
    )
    if known.opinion.types is None or unknown.opinion.types is None:
        return Trust(everything, None)
    calls = inside & are_calls(known.labels)
    types = _fitted(known.opinion.types, known.labels, calls, unknown.opinion.types, foreign)
    return Trust(everything, types)


def _fitted(
    said: Said,
    labels: npt.NDArray[np.str_],
    inside: npt.NDArray[np.bool_],
    of_strangers: Said,
    foreign: npt.NDArray[np.bool_],
) -> Confidence:
    """Fit a confidence to what was said of some examples, and of some strangers."""
    n_inside, n_foreign = int(inside.sum()), int(foreign.sum())
    if not n_inside:
        return Confidence()
    each = STRANGER_SHARE * n_inside / max(n_foreign, 1)
    both = zip(said.evidence, of_strangers.evidence, strict=True)
    right = said.best[inside] == labels[inside]
    return Confidence.fit(
        Evidence(*(np.concatenate([one[inside], other[foreign]]) for one, other in both)),
        np.concatenate([right, np.zeros(n_foreign, bool)]),
        np.concatenate([np.ones(n_inside), np.full(n_foreign, each)]),
        strange=np.arange(n_inside + n_foreign) >= n_inside,
    )


def _per_label(labels: npt.NDArray[np.str_]) -> float:
    """Examples of each label, on average."""
    return len(labels) / len(np.unique(labels))
