"""The background to expect at a moment: what sounded at other moments that were like it.

A saw that is revved, surf and gusts are never steady, so that a floor over some seconds says little
of what they are just now. But they come again: when it last sounded like this, how loud was each
band? Moments are compared by their levels in all bands. A call fills few of them, so that it hardly
changes which moments are alike, and what stands out of the expected background is what the moment
has of its own. Half of a moment's middle level is left out of the comparison: the same noise a
little louder is alike.

Voices are told from their accompaniment by likest moments in the same way (Z. Rafii and B. Pardo,
2012, "Music/voice separation using the similarity matrix", ISMIR).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from calltag.arrays import FloatArray
from calltag.sound.spectrum import FRAMES_PER_S

MOMENT_FRAMES = 10
"""Moments are this long, in frames."""

ALIKE = 8
"""So many of the likest moments say what is to be expected."""

EVERY = 2
"""Each is compared with every second moment: the others say the same, at twice the cost."""

APART_S = 0.5
"""Moments so near each other are not compared: they may be of one call."""

_OWN_LEVEL = np.float32(0.5)
_APART = round(APART_S * FRAMES_PER_S / MOMENT_FRAMES)
_LEAST_SHARE = 4  # no more than one in so many are likest


class Background(NamedTuple):
    """What is to be expected at each moment.

    Attributes
    ----------
    alike : np.ndarray, shape (n_moments, ceil(n_moments / 2)), float32
        In each row, what part every second moment has among the likest: together one, so that the
        product with what is known of those moments is its mean.
    expected_db : np.ndarray, shape (n_moments, n_bands), float32
        Level to expect in each band, in dB.
    """

    alike: FloatArray
    expected_db: FloatArray


def background(moments_db: FloatArray) -> Background:
    """Tell what to expect at each moment, by the others that sound most like it.

    Parameters
    ----------
    moments_db : np.ndarray, shape (n_moments, n_bands), float32
        Mean level of each moment and band, in dB. Time and memory grow with the square of their
        number: a minute or two.

    Returns
    -------
    Background
        The likest moments, and the level that they let expect. Where there are too few moments to
        choose from, all are like each.

    Examples
    --------
    Two noises take turns, and a call is planted in one of them: the noise is expected there, and
    the call is not.

    >>> falling = np.linspace(-20, -60, 64, dtype=np.float32)
    >>> turns = np.arange(200) // 25 % 2 == 0
    >>> level = np.where(turns[:, None], falling, falling[::-1])
    >>> level[108:112, 50] = -10.0
    >>> expected_db = background(level).expected_db
    >>> bool(abs(expected_db[110] - falling).max() < 1)
    True
    """
    middle = moments_db.shape[1] // 2
    own_db = _OWN_LEVEL * np.partition(moments_db, middle, axis=1)[:, middle, None]
    colours = moments_db - own_db
    alike = _likest(colours)
    return Background(alike, alike @ colours[::EVERY] + own_db)


def _likest(colours: FloatArray) -> FloatArray:
    n, n_others = len(colours), -(-len(colours) // EVERY)
    if n_others <= _LEAST_SHARE * _APART // EVERY:
        return np.full((n, n_others), 1 / n_others, np.float32)
    # A band that varies much says less; the dB keeps one that never varies from saying all.
    scaled = (colours - colours.mean(axis=0)) / np.sqrt(colours.std(axis=0) + 1)
    others = scaled[::EVERY]
    distance = scaled @ (-2 * others.T)  # squared, but for what is the same along a row
    distance += np.square(others).sum(axis=1)
    for lag in range(-_APART, _APART + 1):
        at = np.arange(max(0, -lag), min(n, n - lag))
        at = at[(at + lag) % EVERY == 0]
        distance[at, (at + lag) // EVERY] = np.inf
    count = min(ALIKE, n_others // _LEAST_SHARE)
    furthest = np.partition(distance, count - 1, axis=1)[:, count - 1, None]
    alike = (distance <= furthest).astype(np.float32)
    alike /= alike.sum(axis=1, keepdims=True)
    return alike
