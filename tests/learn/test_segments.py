"""Events in call odds: their ends, gaps, order, and how the evidence for them is gathered."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from calltag.learn.hearing import STEPS_PER_S, Heard
from calltag.learn.segments import (
    EVIDENCE,
    LONGEST_GAP_S,
    SHORTEST_S,
    SOUNDING_ODDS,
    call_probability,
    evidence,
    find_segments,
)
from calltag.records import NOISE_KINDS
from calltag.sound.features import N_EMBEDDING

GAP = round(LONGEST_GAP_S * STEPS_PER_S)
SHORTEST = round(SHORTEST_S * STEPS_PER_S)
ODDS = npst.arrays(
    np.float32, st.integers(0, 300), elements=st.sampled_from([-4.0, SOUNDING_ODDS, 0.5, 4.0])
)


def steps(n, *on):
    odds = np.full(n, -5.0, np.float32)
    for first, last in on:
        odds[first:last] = 5
    return odds


@pytest.mark.parametrize("n", [0, 1, 100])
def test_nothing_heard_nothing_found(n):
    assert find_segments(steps(n)) == []


def test_one_call_through_and_through():
    assert find_segments(steps(50, (0, 50))) == [(0, 50)]


@pytest.mark.parametrize(("gap", "found"), [(1, 1), (GAP, 1), (GAP + 1, 2), (3 * GAP, 2)])
def test_short_gaps_are_closed(gap, found):
    assert len(find_segments(steps(200, (10, 30), (30 + gap, 50 + gap)))) == found


@pytest.mark.parametrize("length", [1, SHORTEST, SHORTEST + 1])
def test_too_short_is_no_event(length):
    assert len(find_segments(steps(50, (20, 20 + length)))) == (length >= SHORTEST)


def test_pieces_too_short_alone_may_make_an_event_together():
    odds = steps(60, *((at, at + 1) for at in range(10, 40, 5)))
    assert find_segments(odds) == [(10, 36)]


@given(ODDS)
def test_events_are_apart_in_order_and_begin_and_end_with_sound(odds):
    found = find_segments(odds)
    sounding = odds > SOUNDING_ODDS
    for first, last in found:
        assert 0 <= first < last <= len(odds)
        assert last - first >= SHORTEST
        assert sounding[first]
        assert sounding[last - 1]
        silent = np.diff(np.flatnonzero(np.r_[True, sounding[first:last], True])) - 1
        assert silent.max() <= GAP
    assert all(b[0] - a[1] > GAP for a, b in itertools.pairwise(found))
    covered = np.zeros(len(odds), bool)
    for first, last in found:
        covered[first:last] = True
    # what sounds and is in no event is shorter, all in all, than an event may be
    for _, run in itertools.groupby(np.flatnonzero(sounding & ~covered), lambda i: i // GAP):
        assert len(list(run)) < SHORTEST


@given(ODDS)
def test_found_the_same_backwards(odds):
    backwards = [(len(odds) - last, len(odds) - first) for first, last in find_segments(odds)]
    assert find_segments(odds[::-1]) == backwards[::-1]


# --- evidence and probability ---------------------------------------------------------------------


def heard(call, kinds=None):
    call = np.asarray(call, np.float32)
    if kinds is None:
        kinds = np.full((len(call), len(NOISE_KINDS)), -4, np.float32)
    return Heard(call, kinds, np.zeros((len(call), N_EMBEDDING), np.float32))


def named(what, first, last):
    values = evidence(what, first, last)
    assert values.shape == (len(EVIDENCE),)
    assert np.isfinite(values).all()
    return dict(zip(EVIDENCE, values.tolist(), strict=True))


def test_evidence_of_a_lone_call():
    odds = steps(1000, (500, 540))
    odds[500:540] = np.r_[np.full(10, 1), np.full(10, 2), np.full(20, 6)]
    found = named(heard(odds), 500, 540)
    assert found["mean_odds"] == pytest.approx(3.75)
    assert found["top_odds"] == 6
    assert found["low_odds"] == pytest.approx(1.75)  # the lower quarter, between 1 and 2
    assert found["spread"] == pytest.approx(np.std(odds[500:540]))
    assert found["log_steps"] == pytest.approx(np.log(40))
    assert found["odds_before"] == found["odds_after"] == -5
    assert found["calls_around"] == found["sure_around"] == 0
    assert found["wind_in_it"] == found["machine_around"] == -4


def test_evidence_of_what_is_around():
    odds = steps(1000, (500, 540), (300, 350), (600, 650))
    found = named(heard(odds), 500, 540)
    # 250 steps on each side less the 15 next to it, of which 50 and 50 are call
    assert found["calls_around"] == pytest.approx(100 / 470, abs=0.01)
    odds[300:350] = 1
    less = named(heard(odds), 500, 540)
    assert less["sure_around"] < found["sure_around"]
    assert less["unsure_around"] > found["unsure_around"]


def test_evidence_of_noise_in_it_and_around():
    kinds = np.full((1000, len(NOISE_KINDS)), -4, np.float32)
    kinds[480:600, NOISE_KINDS.index("voice")] = 5
    kinds[560:600, NOISE_KINDS.index("wind")] = 40  # however sure, it counts as 6 at most
    found = named(heard(steps(1000, (500, 540)), kinds), 500, 540)
    assert found["voice_in_it"] == 5
    assert -4 < found["voice_around"] < 5
    assert found["wind_in_it"] == -4
    assert found["wind_around"] <= 6


@pytest.mark.parametrize(("first", "last"), [(0, 4), (0, 40), (36, 40), (10, 11)])
def test_evidence_at_the_ends_of_a_take(first, last):
    named(heard(steps(40, (first, last))), first, last)


def test_probability_is_that_of_the_weighed_evidence():
    flat = dict.fromkeys(EVIDENCE, 0.0)
    call = heard(steps(400, (200, 220)))
    assert call_probability(call, 200, 220, {"offset": 0.0, **flat}) == 0.5
    weighed = {"offset": 1.0, **flat, "mean_odds": 0.4, "odds_before": 0.2}
    expected = 1 / (1 + np.exp(-(1 + 0.4 * 5 + 0.2 * -5)))
    assert call_probability(call, 200, 220, weighed) == pytest.approx(expected)


def test_probability_stays_one_whatever_the_weights():
    flat = dict.fromkeys(EVIDENCE, 0.0)
    call = heard(steps(400, (200, 220)))
    for offset in (-1e9, -700, 700, 1e9):
        probability = call_probability(call, 200, 220, {"offset": offset, **flat})
        assert 0 <= probability <= 1
        assert (probability > 0.5) == (offset > 0)


def test_a_card_without_a_weight_is_no_card():
    with pytest.raises(KeyError, match="top_odds"):
        call_probability(
            heard(steps(40, (10, 20))), 10, 20,
            {"offset": 0.0, **{name: 0.0 for name in EVIDENCE if name != "top_odds"}},
        )  # fmt: skip
