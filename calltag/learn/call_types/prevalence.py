"""How common the taught types are among all that is found, told by finds that nobody labelled.

A user labels what matters, and a log holds much else: of two types taught, most finds are of
neither. How sure a label is depends on that, as the worth of any test depends on how common the
thing is that it tests for. Trials cannot know it, since all that is tried was labelled. The finds
without a label know it: if most look like none of the types, then what looks a little like one
is most likely none, too.

The share is found by expectation maximisation [1]_: as many finds are of the taught types as the
sum of what each is likely to be, each being as likely as it looks where so many are. Calls in noise
and from afar look less like the labelled ones than those do, the more so the fewer are labelled; by
so much the share is taken to be higher. And it is taken to be so high that of the labelled sounds
that trials knew nine in ten keep their names: where labels are wrong, or types much alike, judges
are sure of nothing, and what is sure of little would be sure of less still.

References
----------
.. [1] M. Saerens, P. Latinne, C. Decaestecker, "Adjusting the outputs of a classifier to new a
   priori probabilities: a simple procedure", Neural Computation 14(1), 2002, pp. 21-41.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit, logit

from calltag.arrays import DoubleArray

_RECKONED = 20  # finds more, of which as many are of taught types as in trials: few say little
_HALF_SEEN = 3.5  # examples of a type by which half of its calls are seen to be of it
_KEPT = 0.9  # of the labelled sounds that were known
_STEPS, _ENOUGH = 1000, 1e-9
_SUREST = 1e-9


def prevalence(sure: DoubleArray, *, in_trials: float, per_type: float) -> float:
    """Tell what share of finds are of taught types.

    Parameters
    ----------
    sure : np.ndarray, shape (n,)
        Probability that each find is of the type that it is likest, as trials have it; 0 where it
        is likest a label that is no type.
    in_trials : float
        Share of sounds of taught types that those probabilities reckon with.
    per_type : float
        Examples that taught each type, on average.

    Returns
    -------
    float
        The share, at most `in_trials`.

    Examples
    --------
    Of 2000 finds that are told apart well, 200 look like one of the types. By many examples nearly
    all that are of them do so; by five of each, three of five.

    >>> sure = np.repeat([1.0, 0.0], [200, 1800])
    >>> [round(prevalence(sure, in_trials=0.9, per_type=n), 2) for n in (1000, 5)]
    [0.11, 0.18]
    >>> prevalence(np.zeros(0), in_trials=0.9, per_type=5)
    0.9
    """
    odds = logit(np.clip(sure, _SUREST, 1 - _SUREST))
    share = in_trials
    for _ in range(_STEPS):
        likely = expit(odds + rarer(share, in_trials=in_trials))
        before, share = share, (likely.sum() + _RECKONED * in_trials) / (len(sure) + _RECKONED)
        if abs(share - before) < _ENOUGH:
            break
    seen = per_type / (per_type + _HALF_SEEN)
    return float(min(share / seen, in_trials))


def least_prevalence(sure: DoubleArray, threshold: float, *, in_trials: float) -> float:
    """Tell the least share of taught types by which labelled sounds keep their names.

    Parameters
    ----------
    sure : np.ndarray, shape (n,)
        Probability of labelled sounds that their label is right, where trials found it so.
    threshold : float
        How sure a name has to be.
    in_trials : float
        Share of sounds of taught types that those probabilities reckon with.

    Returns
    -------
    float
        The share by which nine of ten are still as sure as that; at most `in_trials`.

    Examples
    --------
    What is 0.99 sure where 10 of 11 are of taught types, is 0.9 sure where half are.

    >>> round(least_prevalence(np.full(7, 0.99), 0.9, in_trials=10 / 11), 2)
    0.48
    """
    if not len(sure):
        return in_trials
    kept = np.quantile(np.clip(sure, _SUREST, 1 - _SUREST), 1 - _KEPT)
    return float(min(expit(logit(in_trials) + logit(threshold) - logit(kept)), in_trials))


def rarer(share: float, *, in_trials: float) -> float:
    """Log-odds that finds lose where fewer are of taught types than in trials.

    Parameters
    ----------
    share : float
        Share of finds that are of taught types.
    in_trials : float
        The same in trials.

    Returns
    -------
    float
        What to add to the log-odds; 0 or less.
    """
    return min(0.0, float(logit(share) - logit(in_trials)))
