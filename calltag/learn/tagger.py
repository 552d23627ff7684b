"""The tagger: gives finds the labels that the user taught it, or leaves them unnamed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.errors import InputError
from calltag.learn.confidence import STRANGER_SHARE, Confidence
from calltag.learn.judges import Evidence, Judges
from calltag.learn.labels import is_call
from calltag.learn.out_of_fold import OutOfFold, Strangers
from calltag.records.label import CALL


class Tag(NamedTuple):
    """The label of a find.

    Attributes
    ----------
    label : str
        A label that was taught; `CALL` where none is sure enough.
    confidence : float
        Probability that the label is right; of `CALL`, that it is neither noise nor `no call`, as
        far as the taught labels tell.
    """

    label: str
    confidence: float


@dataclass(frozen=True, slots=True)
class Tagger:
    """Judges and how far to trust them.

    Attributes
    ----------
    judges : Judges
        Who votes.
    confidence : Confidence
        What their votes are worth.
    """

    judges: Judges
    confidence: Confidence

    @classmethod
    def from_trials(cls, judges: Judges, known: OutOfFold, unknown: Strangers) -> Tagger:
        """Make a tagger of judges and of how such judges did.

        Parameters
        ----------
        judges : Judges
            Taught with all examples.
        known : OutOfFold
            Judgements of the examples out of fold.
        unknown : Strangers
            Judgements of the examples as strangers.

        Returns
        -------
        Tagger
            The tagger.
        """
        tried = fit_confidence(known, unknown, np.ones(len(known.codes), bool))
        return cls(judges, tried.of_all_examples(len(known.codes) / len(known.classes)))

    @property
    def classes(self) -> tuple[str, ...]:
        """The labels it knows, in alphabetical order."""
        return tuple(str(label) for label in self.judges.classes)

    def tag(self, features: npt.NDArray[Any]) -> list[Tag]:
        """Label finds.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features), float
            One row for each find.

        Returns
        -------
        list of Tag
            One for each find.

        Raises
        ------
        InputError
            If the rows are not as long as those it was taught with.
        """
        features = np.asarray(features)
        n_features = len(self.judges.mean)
        if features.ndim != 2 or features.shape[1] != n_features:
            raise InputError(
                f"features of shape {features.shape} do not fit a model of {n_features} features;"
                " log the rushes again"
            )
        if not len(features):
            return []
        judgement = self.judges.judge(features)
        votes, confidence = judgement.votes, self.confidence(judgement.evidence)
        animal = np.array([is_call(label) for label in self.classes])
        call_share = votes[:, animal].sum(axis=1)
        best = self.judges.classes[votes.argmax(axis=1)]
        return [
            Tag(str(label), float(sure))
            if sure >= self.confidence.threshold
            else Tag(CALL, float(share))
            for label, sure, share in zip(best, confidence, call_share, strict=True)
        ]


def fit_confidence(known: OutOfFold, unknown: Strangers, used: npt.NDArray[np.bool_]) -> Confidence:
    """Fit a confidence to trials.

    Parameters
    ----------
    known : OutOfFold
        Judgements of the examples out of fold.
    unknown : Strangers
        Judgements of the examples as strangers.
    used : np.ndarray, shape (n,), bool
        Which examples to go by.

    Returns
    -------
    Confidence
        The usual one where there is none to go by.
    """
    inside = used & known.checked
    foreign = used[unknown.of]
    n_inside, n_foreign = int(inside.sum()), int(foreign.sum())
    if not n_inside:
        return Confidence()
    each = STRANGER_SHARE * n_inside / max(n_foreign, 1)
    both = zip(known.evidence, unknown.evidence, strict=True)
    return Confidence.fit(
        Evidence(*(np.concatenate([one[inside], other[foreign]]) for one, other in both)),
        np.concatenate([known.right[inside], np.zeros(n_foreign, bool)]),
        np.concatenate([np.ones(n_inside), np.full(n_foreign, each)]),
        strange=np.arange(n_inside + n_foreign) >= n_inside,
    )
