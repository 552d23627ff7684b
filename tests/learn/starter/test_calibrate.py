"""Teaching the second look, on odds that are known."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.finding.second_look import TOP_ODDS
from calltag.learn.finding.surroundings import EVIDENCE
from calltag.learn.networks.starter_model import Heard
from calltag.learn.starter.calibrate import fit, hear, right, share_in
from calltag.records.label import NOISE_KINDS
from calltag.records.span import Span
from calltag.sound.features import N_EMBEDDING
from calltag.sound.spectrum import RATE_HZ

from .conftest import heard, scene


def test_the_share_of_a_find_that_is_call() -> None:
    assert share_in(Span(1, 3), [Span(0, 2), Span(2.5, 9)]) == pytest.approx(0.75)
    assert share_in(Span(1, 3), []) == 0


def test_the_fit_tells_right_finds_from_wrong_ones_that_it_has_not_seen(rng) -> None:
    is_right = rng.random(800) < 0.5
    rows = rng.normal(0, 1, (800, len(EVIDENCE)))
    rows[:, 0] += 3 * is_right
    rows[:, TOP_ODDS] = 50.0 * np.abs(rows[:, TOP_ODDS])  # in other units
    look = fit(rows[:400], is_right[:400])
    assert ((look.probability(rows[400:]) > 0.5) == is_right[400:]).mean() > 0.88
    with pytest.raises(InputError, match="all alike"):
        fit(rows, np.ones(800, bool))


def test_half_heard_finds_teach_the_second_look_nothing(rng) -> None:
    is_right = rng.random(400) < 0.5
    rows = rng.normal(0, 1, (400, len(EVIDENCE)))
    rows[:, 0] += 3 * is_right
    rows[:, TOP_ODDS] = np.where(np.arange(400) < 300, 2.0, -0.5)
    look = fit(rows, is_right)
    likely = fit(rows[:300], is_right[:300])
    np.testing.assert_array_equal(look.probability(rows), likely.probability(rows))


def test_which_finds_are_right() -> None:
    whats = [heard((1, 2), (5, 6)), heard(), heard((1, 3))]
    scenes = [scene((0.9, 2.1)), scene((1, 2)), scene((2, 9))]
    assert right(whats, scenes).tolist() == [True, False, True]


def test_a_scene_is_heard_with_evidence_for_each_find(rng) -> None:
    class Ear:
        """Hears a call where it is loud."""

        def listen(self, level_db):
            loud = level_db[::2].max(axis=1)
            kinds = np.full((len(loud), len(NOISE_KINDS)), -4, np.float32)
            embedding = np.zeros((len(loud), N_EMBEDDING), np.float32)
            return Heard(np.where(loud > -50, 4, -4).astype(np.float32), kinds, embedding)

    t = np.arange(6 * RATE_HZ) / RATE_HZ
    sound = 1e-4 * rng.standard_normal(len(t))
    sound += 0.1 * np.sin(2 * np.pi * 3000 * t) * ((t > 2) & (t < 3))
    what = hear(Ear(), sound.astype(np.float32))
    assert len(what.finds) == 1
    assert what.finds[0] == pytest.approx((2, 3), abs=0.05)
    assert what.evidence.shape == (1, len(EVIDENCE))
    assert what.evidence[0, EVIDENCE.index("snr_db")] > 30
    assert hear(Ear(), np.zeros(RATE_HZ, np.float32)).evidence.shape == (0, len(EVIDENCE))
