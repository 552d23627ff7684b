"""Which sounds are worth a label next."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.call_types.tagger import Tagger
from calltag.records.span import Span

_SHORT_S = 0.15
_FIRST, _SCRAP = 5, 0.5
"""A scrap counts half where the first few are chosen; then as any other sound, since a type may
have short calls alone."""


def is_scrap(span: Span, *, cut_off: bool = False) -> bool:
    """Tell whether a sound is too little to begin with: short, or cut off by an end of its take.

    Parameters
    ----------
    span : Span
        Where it is.
    cut_off : bool
        Whether an end of its take cuts it off.

    Returns
    -------
    bool
        Whether it is.
    """
    return cut_off or span.length_s < _SHORT_S


def share_of_scraps(scrap: npt.NDArray[np.bool_], n_chosen: int) -> DoubleArray:
    """Tell what share of their worth sounds keep where the next one is chosen.

    Parameters
    ----------
    scrap : np.ndarray, shape (n_sounds,), bool
        Whether each is a scrap.
    n_chosen : int
        How many were chosen before.

    Returns
    -------
    np.ndarray, shape (n_sounds,)
        1 for all but the scraps among the first few.
    """
    return np.where(scrap & (n_chosen < _FIRST), _SCRAP, 1.0)


def next_to_label(
    tagger: Tagger,
    features: FloatArray,
    *,
    n: int,
    scrap: npt.NDArray[np.bool_] | None = None,
) -> list[int]:
    """Choose the sounds whose label would teach most.

    Those are sounds that the tagger is unsure of, unlike what it was taught, and unlike each other;
    they begin with whole ones.

    Parameters
    ----------
    tagger : Tagger
        A taught tagger.
    features : np.ndarray, shape (n_sounds, n_features)
        Sounds without a label.
    n : int
        How many to choose.
    scrap : np.ndarray, shape (n_sounds,), bool, optional
        Of each, whether it is a scrap, as by `is_scrap`; none by default.

    Returns
    -------
    list of int
        Positions in `features`, the most telling first.

    References
    ----------
    .. [1] B. Settles, "Active Learning Literature Survey", University of Wisconsin-Madison,
       Computer Sciences Technical Report 1648, 2009, sections 3.1 and 3.6.
    """
    scraps = np.zeros(len(features), bool) if scrap is None else scrap
    unsure = 1 - tagger.verdict(features).sure
    place = tagger.panel.everything.directions(features)
    nearest = (place @ tagger.panel.everything.examples.T).max(axis=1)
    chosen: list[int] = []
    while len(chosen) < min(n, len(features)):
        worth = unsure * (1 - np.clip(nearest, 0, 1)) * share_of_scraps(scraps, len(chosen))
        worth[chosen] = -1
        best = int(worth.argmax())
        chosen.append(best)
        nearest = np.maximum(nearest, place @ place[best])
    return chosen
