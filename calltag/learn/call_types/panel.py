"""Who judges a find: judges who know all labels, and judges who know call types alone.

The first say whether a find is noise, `no call`, or a call; of what is a call, the second say of
which type. So what the user labels as noise does not blur what is known of types: a stretch of
steady noise has no shape that others of its label share, and as one more type among the types it
makes all of them less sure. To those who judge types, labelled noise is what else there is, as are
the finds that nobody labelled.

With one call type, or without any other label, all labels are judged at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray
from calltag.learn.call_types.judges import Evidence, Judgement, Judges
from calltag.learn.call_types.kinship import Kin
from calltag.learn.labels.vocabulary import is_call

FEWEST_TYPES = 2
"""Call types that have judges of their own, at least: one alone cannot be told from another."""


class Said(NamedTuple):
    """What some judges say of some finds.

    Attributes
    ----------
    best : np.ndarray of str, shape (n,)
        The label with the most votes.
    evidence : Evidence
        What speaks for it.
    """

    best: npt.NDArray[np.str_]
    evidence: Evidence


@dataclass(frozen=True, slots=True)
class Opinion:
    """What a panel says of some finds.

    Attributes
    ----------
    everything : Said
        By the judges who know all labels.
    types : Said or None
        By those who know call types alone; None where there are none.
    call_share : np.ndarray, shape (n,)
        Votes for call types, of the judges who know all labels.
    """

    everything: Said
    types: Said | None
    call_share: DoubleArray

    def of(self, these: npt.NDArray[Any]) -> Opinion:
        """Choose finds.

        Parameters
        ----------
        these : np.ndarray
            Which: a mask, or positions.

        Returns
        -------
        Opinion
            What was said of these.
        """
        return Opinion(
            _of(self.everything, these),
            None if self.types is None else _of(self.types, these),
            self.call_share[these],
        )


@dataclass(frozen=True, slots=True)
class Panel:
    """Judges of all labels, and of call types alone.

    Attributes
    ----------
    everything : Judges
        Who know all labels.
    types : Judges or None
        Who know call types alone; None where all labels are judged at once.
    """

    everything: Judges
    types: Judges | None

    @classmethod
    def fit(
        cls,
        features: npt.NDArray[Any],
        labels: npt.NDArray[np.str_],
        company: npt.NDArray[Any] | None = None,
    ) -> Panel:
        """Teach a panel; call types have judges of their own where `judged_apart` says so.

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
        Panel
            The panel.

        Raises
        ------
        ModelError
            If what is known of call types beforehand is missing or damaged.
        """
        everything = Judges.fit(features, labels, company)
        if not judged_apart(labels):
            return cls(everything, None)
        calls = are_calls(labels)
        noise = features[~calls]
        others = noise if company is None else np.concatenate([company, noise])
        return cls(everything, Judges.fit(features[calls], labels[calls], others))

    @property
    def n_features(self) -> int:
        """Length of the rows that it judges."""
        return len(self.everything.mean)

    @property
    def kin(self) -> Kin | None:
        """What knows the taught call types among all others; None where nothing does."""
        return (self.types or self.everything).kin

    @property
    def per_type(self) -> float:
        """Examples that taught each call type, on average; 0 where there is no type."""
        judges = self.types or self.everything
        codes = judges.codes[are_calls(judges.classes)[judges.codes]]
        return len(codes) / max(1, len(np.unique(codes)))

    def judge(self, features: npt.NDArray[Any]) -> Opinion:
        """Judge finds.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features)
            One row for each find.

        Returns
        -------
        Opinion
            What the judges say.
        """
        judgement = self.everything.judge(features)
        return Opinion(
            _said(self.everything, judgement),
            None if self.types is None else _said(self.types, self.types.judge(features)),
            judgement.votes[:, are_calls(self.everything.classes)].sum(axis=1),
        )


def judged_apart(labels: npt.NDArray[np.str_]) -> bool:
    """Tell whether call types have judges of their own.

    Parameters
    ----------
    labels : np.ndarray of str, shape (n,)
        All that was taught.

    Returns
    -------
    bool
        Whether there are types enough, and labels that name none.

    Examples
    --------
    >>> types = ["marsh hooter: boom", "pit rail: rasp"]
    >>> judged_apart(np.array([*types, "wind"])), judged_apart(np.array(types))
    (True, False)
    """
    names = np.unique(labels)
    calls = are_calls(names)
    return bool(calls.sum() >= FEWEST_TYPES and not calls.all())


def are_calls(labels: npt.NDArray[np.str_]) -> npt.NDArray[np.bool_]:
    """Tell which labels are of an animal's call.

    Parameters
    ----------
    labels : np.ndarray of str, shape (n,)
        Labels.

    Returns
    -------
    np.ndarray, shape (n,), bool
        False for noise and for `no call`.
    """
    names, codes = np.unique(labels, return_inverse=True)
    return np.array([is_call(str(name)) for name in names], bool)[codes]


def _said(judges: Judges, judgement: Judgement) -> Said:
    return Said(judges.classes[judgement.votes.argmax(axis=1)], judgement.evidence)


def _of(said: Said, these: npt.NDArray[Any]) -> Said:
    return Said(said.best[these], Evidence(*(each[these] for each in said.evidence)))
