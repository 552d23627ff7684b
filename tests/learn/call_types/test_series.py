"""Finds of one take tell each other what they are."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.call_types import series
from calltag.learn.call_types.kinship import Kinship
from calltag.learn.call_types.series import heard_together

BOOM, RASP = "marsh hooter: boom", "pit rail: rasp"
N = 24


@pytest.fixture
def known() -> Kinship:
    """Types spread four times as wide as the calls of one, in many measurements."""
    one = np.ones(N)
    return Kinship(np.zeros(N), one, np.eye(N), np.zeros(N), 4.0 * one)


@pytest.fixture
def calls(rng):
    """So many calls of a type that lies anywhere."""

    def some(n: int) -> np.ndarray:
        return rng.normal(0, 2, N) + rng.normal(0, 1, (n, N))

    return some


def together(known, features, takes, labels, sure):
    return heard_together(known, features, np.array(takes), np.array(labels), np.array(sure))


def test_an_unsure_call_gets_its_name_from_sure_ones_like_it(known, calls) -> None:
    features = calls(4)
    labels, sure, _ = together(known, features, ["a"] * 4, [BOOM] * 4, [0.95, 0.95, 0.95, 0.4])
    assert (labels == BOOM).all()
    assert sure[3] > 0.7
    assert (sure[:3] >= 0.95).all()


def test_a_call_taken_for_another_type_is_outvoted(known, calls) -> None:
    labels, sure, _ = together(known, calls(6), ["a"] * 6, [BOOM] * 5 + [RASP], [0.95] * 5 + [0.55])
    assert labels[5] == BOOM
    assert sure[5] > 0.5


def test_a_series_that_is_never_surely_of_a_type_is_less_sure_to_be(known, calls) -> None:
    _, sure, _ = together(known, calls(6), ["a"] * 6, [BOOM] * 6, [0.5] * 6)
    assert (sure < 0.35).all()


def test_unlike_calls_and_other_takes_have_no_say(known, calls) -> None:
    one, other = calls(3), calls(3)
    features = np.concatenate([one, other])
    given = [BOOM] * 3 + [RASP] * 3
    before = [0.4, 0.95, 0.95, 0.9, 0.9, 0.9]
    labels, sure, told = together(known, features, [1, 2, 3, 4, 5, 6], given, before)
    assert (labels.tolist(), sure.tolist()) == (given, before), "each is alone in its take"
    assert not told.any()
    labels, sure, told = together(known, features, [1, 2, 2, 1, 1, 1], given, before)
    assert told.all()
    assert labels.tolist() == given
    assert sure[0] == pytest.approx(0.4, abs=0.1)


def test_the_order_of_finds_makes_no_difference(known, calls, rng) -> None:
    features = np.concatenate([calls(20) for _ in range(3)])
    takes, given = rng.integers(0, 4, 60), np.array([BOOM, RASP])[rng.integers(0, 2, 60)]
    before = rng.uniform(0.2, 1, 60)
    labels, sure, told = heard_together(known, features, takes, given, before)
    order = rng.permutation(60)
    other = heard_together(known, features[order], takes[order], given[order], before[order])
    assert (other[0] == labels[order]).all()
    np.testing.assert_allclose(other[1], sure[order])
    assert (other[2] == told[order]).all()


def test_a_take_of_many_calls_is_gone_through_in_parts(known, calls, rng, monkeypatch) -> None:
    features, before = np.concatenate([calls(25), calls(25)]), rng.uniform(0.2, 1, 50)
    whole = together(known, features, [1] * 50, [BOOM, RASP] * 25, before)
    monkeypatch.setattr(series, "_ROWS", 7)
    parts = together(known, features, [1] * 50, [BOOM, RASP] * 25, before)
    assert (parts[0] == whole[0]).all()
    np.testing.assert_allclose(parts[1], whole[1])


def test_what_is_handed_in_stays_as_it_is(known, calls) -> None:
    given, before = np.array([BOOM, RASP]), np.array([0.95, 0.3])
    heard_together(known, calls(2), np.array([1, 1]), given, before)
    assert given.tolist() == [BOOM, RASP]
    assert before.tolist() == [0.95, 0.3]
