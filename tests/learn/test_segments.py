"""Events in call odds: their ends, gaps and order."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from calltag.learn.hearing import STEPS_PER_S
from calltag.learn.segments import LONGEST_GAP_S, SHORTEST_S, SOUNDING_ODDS, find_segments

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
