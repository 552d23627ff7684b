"""Which sounds are worth a label next."""

from __future__ import annotations

import numpy as np

from calltag.arrays import FloatArray
from calltag.learn.tagger import Tagger


def next_to_label(tagger: Tagger, features: FloatArray, *, n: int) -> list[int]:
    """Choose the sounds whose label would teach most.

    Those are sounds that the tagger is unsure of, unlike what it was taught, and unlike each other.

    Parameters
    ----------
    tagger : Tagger
        A taught tagger.
    features : np.ndarray, shape (n_sounds, n_features)
        Sounds without a label.
    n : int
        How many to choose.

    Returns
    -------
    list of int
        Positions in `features`, the most telling first.

    References
    ----------
    .. [1] B. Settles, "Active Learning Literature Survey", University of Wisconsin-Madison,
       Computer Sciences Technical Report 1648, 2009, sections 3.1 and 3.6.
    """
    if not len(features):
        return []
    unsure = 1 - tagger.verdict(features).sure
    place = tagger.panel.everything.directions(features)
    nearest = (place @ tagger.panel.everything.examples.T).max(axis=1)
    chosen: list[int] = []
    while len(chosen) < min(n, len(features)):
        worth = unsure * (1 - np.clip(nearest, 0, 1))
        worth[chosen] = -1
        best = int(worth.argmax())
        chosen.append(best)
        nearest = np.maximum(nearest, place @ place[best])
    return chosen
