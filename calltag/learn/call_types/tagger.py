"""The tagger: gives finds the labels that the user taught it, or leaves them unnamed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.errors import InputError
from calltag.learn.call_types.out_of_fold import OutOfFold, Strangers
from calltag.learn.call_types.panel import Opinion, Panel
from calltag.learn.call_types.series import heard_together
from calltag.learn.call_types.trust import Trust, Verdict, fit_trust
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
    """A panel of judges and how far to trust it.

    Attributes
    ----------
    panel : Panel
        Who judges.
    trust : Trust
        What they say is worth.
    """

    panel: Panel
    trust: Trust

    @classmethod
    def from_trials(cls, panel: Panel, known: OutOfFold, unknown: Strangers) -> Tagger:
        """Make a tagger of a panel and of how such panels did.

        Parameters
        ----------
        panel : Panel
            Taught with all examples that are believed.
        known : OutOfFold
            Opinions of the examples out of fold.
        unknown : Strangers
            Opinions of the examples as strangers.

        Returns
        -------
        Tagger
            The tagger.
        """
        tried = fit_trust(known, unknown, np.ones(len(known.labels), bool))
        return cls(panel, tried.of_all_examples(known.labels[known.believed]))

    def among(self, features: npt.NDArray[Any], known: OutOfFold) -> Tagger:
        """Make a tagger that reckons with how common the taught call types are.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features), float
            One row for each of some finds, as they come: nobody chose them.
        known : OutOfFold
            Opinions of the examples out of fold.

        Returns
        -------
        Tagger
            The same, less sure of call types where they are rare; the same altogether where there
            are no finds, or no call types.

        Raises
        ------
        InputError
            If the rows are not as long as those it was taught with.
        """
        per_type = self.panel.per_type
        if not len(features) or not per_type:
            return self
        share = self.trust.share_of_types(self._opinion(features), per_type, known)
        return Tagger(self.panel, self.trust.among(share))

    @property
    def classes(self) -> tuple[str, ...]:
        """The labels it knows, in alphabetical order."""
        return tuple(str(label) for label in self.panel.everything.classes)

    def tag(self, features: npt.NDArray[Any], takes: npt.NDArray[Any] | None = None) -> list[Tag]:
        """Label finds.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features), float
            One row for each find.
        takes : np.ndarray, shape (n,), optional
            The take of each, however it is called: finds of one take that sound alike tell each
            other what they are. Each is judged by itself unless given.

        Returns
        -------
        list of Tag
            One for each find; `CALL` for what it is not sure enough of.

        Raises
        ------
        InputError
            If the rows are not as long as those it was taught with.
        """
        opinion = self._opinion(features)
        verdict = self._verdict(opinion, features, takes)
        return [
            Tag(str(label), float(sure)) if given else Tag(CALL, float(share))
            for label, sure, given, share in zip(*verdict, opinion.call_share, strict=True)
        ]

    def verdict(self, features: npt.NDArray[Any], takes: npt.NDArray[Any] | None = None) -> Verdict:
        """Tell the likeliest label of finds, how sure it is, and whether that is enough.

        Parameters
        ----------
        features : np.ndarray, shape (n, n_features), float
            One row for each find.
        takes : np.ndarray, shape (n,), optional
            The take of each, as for `tag`.

        Returns
        -------
        Verdict
            One label for each find.

        Raises
        ------
        InputError
            If the rows are not as long as those it was taught with.
        """
        return self._verdict(self._opinion(features), features, takes)

    def _verdict(
        self, opinion: Opinion, features: npt.NDArray[Any], takes: npt.NDArray[Any] | None
    ) -> Verdict:
        alone = self.trust.verdict(opinion)
        kin = self.panel.kin
        if takes is None or kin is None:
            return alone
        sure = self.trust.to_tell(alone)
        return self.trust.told(*heard_together(kin.known, features, takes, alone.label, sure))

    def _opinion(self, features: npt.NDArray[Any]) -> Opinion:
        features = np.asarray(features)
        n_features = self.panel.n_features
        if features.ndim != 2 or features.shape[1] != n_features:
            raise InputError(
                f"features of shape {features.shape} do not fit a model of {n_features} features;"
                " log the rushes again"
            )
        return self.panel.judge(features)
