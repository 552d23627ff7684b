"""Slow swells: an aircraft's course, and what rises and sinks otherwise."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.ndimage

from calltag.sound.spectrum import N_MELS, mel_edges_hz
from calltag.sound.swells import OVER_DB, SHORTEST_S, slow_swells

T_S = np.arange(600) / 10
LOW = mel_edges_hz()[1 : N_MELS + 1] < 1000
PASSES_DB = 18 * np.exp(-(((T_S - 30) / 8) ** 2))


def levels_db(rng, low_db=0.0, high_db=0.0, rough_db=0.5):
    """A minute of air at -70 dB a band, with so much more in low bands and in high ones."""
    levels = np.full((600, N_MELS), -70.0)
    levels[:, LOW] += np.broadcast_to(low_db, 600)[:, None]
    levels[:, ~LOW] += np.broadcast_to(high_db, 600)[:, None]
    return levels + rng.normal(0, rough_db, (600, 1))


def test_what_passes_is_told_from_where_it_stands_out(rng):
    told = slow_swells(levels_db(rng, PASSES_DB))
    over = PASSES_DB >= OVER_DB
    assert (told != over).mean() < 0.05
    assert told.sum() > 100
    # however the levels are kept
    assert (slow_swells(levels_db(rng, PASSES_DB).astype(np.float16)) != over).mean() < 0.05


@pytest.mark.parametrize(
    "name", ["leaves", "surf", "gusts", "a knock", "a call", "it stays", "silence"]
)
def test_what_rises_otherwise_is_no_swell(rng, name):
    slow = scipy.ndimage.gaussian_filter1d(rng.normal(size=600), 15)
    levels = {
        "leaves": levels_db(rng, PASSES_DB, PASSES_DB + 2),
        "surf": levels_db(rng, 12 * (1 - T_S % 7 / 7), 10 * (1 - T_S % 7 / 7)),
        "gusts": levels_db(rng, 8 * slow / slow.std(), rough_db=2.5),
        "a knock": levels_db(rng, np.where(np.abs(T_S - 30) < 0.3, 25, 0)),
        "a call": levels_db(rng, np.where(np.abs(T_S - 30) < SHORTEST_S / 2 - 1, 15, 0)),
        "it stays": levels_db(rng, 18.0),
        "silence": np.full((600, N_MELS), -110.0),
    }[name]
    assert not slow_swells(levels).any()


@pytest.mark.parametrize("n", [0, 1, 5, 59])
def test_a_short_take_has_none(rng, n):
    told = slow_swells(levels_db(rng, PASSES_DB)[300 : 300 + n])
    assert told.shape == (n,)
    assert not told.any()
