"""The order in which labels teach most: which sounds a user should listen to first.

With a taught tagger, the sounds whose label would teach most
(`calltag.learn.call_types.next_to_label`), then those that it is least sure of. Before anything is
taught, sounds that are surely calls and unlike each other, so that all types of a shoot come early.
Both begin with whole ones.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.call_types.examples import Sound
from calltag.learn.call_types.next_to_label import is_scrap, next_to_label, share_of_scraps
from calltag.learn.call_types.tagger import Tagger

_TELLING = 200
"""Sounds that are ordered by what they would teach; the rest follows by how unsure they are."""

_CUT = 3.0
"""Features count no more than this many interquartile ranges from the middle."""


def listening_order(
    sounds: Sequence[Sound],
    call_probability: Sequence[float],
    tagger: Tagger | None,
    cut_off: Sequence[bool] | None = None,
) -> list[int]:
    """Order sounds by what their labels would teach.

    Parameters
    ----------
    sounds : sequence of Sound
        Sounds without a label.
    call_probability : sequence of float
        Of each, that it is a call at all.
    tagger : Tagger or None
        What was taught so far; None before.
    cut_off : sequence of bool, optional
        Of each, whether an end of its take cuts it off; none by default.

    Returns
    -------
    list of int
        Positions in `sounds`, the most telling first. Sounds that were measured by another version
        come last.
    """
    if not sounds:
        return []
    shapes = [sound.features.shape for sound in sounds]
    shape = (tagger.panel.n_features,) if tagger else max(set(shapes), key=shapes.count)
    alike = [i for i, own in enumerate(shapes) if own == shape]
    if not alike:
        return list(range(len(sounds)))
    features = np.stack([sounds[i].features for i in alike])
    cut = cut_off or [False] * len(sounds)
    scrap = np.array([is_scrap(sounds[i].span, cut_off=cut[i]) for i in alike])
    if tagger:
        first = next_to_label(tagger, features, n=_TELLING, scrap=scrap)
        sure = np.array([tag.confidence for tag in tagger.tag(features)])
        order = list(dict.fromkeys([*first, *np.argsort(sure, kind="stable").tolist()]))
    else:
        odds = [call_probability[i] for i in alike]
        order = _unlike_each_other(features, np.array(odds), scrap)
    placed = [alike[i] for i in order]
    return placed + sorted(set(range(len(sounds))) - set(placed))


def _unlike_each_other(
    features: FloatArray, call_probability: DoubleArray, scrap: npt.NDArray[np.bool_]
) -> list[int]:
    """Begin with what is surest, go on with what is sure and unlike all that was chosen."""
    low, middle, high = np.percentile(features, [25, 50, 75], axis=0)
    place = np.clip((features - middle) / np.maximum(high - low, 1e-6), -_CUT, _CUT)
    square = np.einsum("if,if->i", place, place)
    nearest = np.full(len(place), float(place.shape[1]))  # squared
    left = np.ones(len(place), bool)
    chosen: list[int] = []
    for n_chosen in range(min(_TELLING, len(place))):
        counts = share_of_scraps(scrap, n_chosen)
        best = int(np.where(left, counts * call_probability * np.sqrt(nearest), -1.0).argmax())
        chosen.append(best)
        left[best] = False
        away = square + square[best] - 2 * (place @ place[best])
        nearest = np.minimum(nearest, np.maximum(away, 0.0))
    rest = np.flatnonzero(left)
    return chosen + [int(i) for i in rest[np.argsort(-call_probability[rest], kind="stable")]]
