"""Runs: every step that is so lies in one of them, and no other."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from calltag.sound.runs import runs


@given(st.lists(st.booleans(), max_size=60))
def test_runs_hold_what_is_so_and_nothing_else(so):
    found = runs(np.array(so, bool))
    again = np.zeros(len(so), bool)
    for first, last in found:
        assert first < last
        again[first:last] = True
    assert again.tolist() == so
    assert all(a[1] < b[0] for a, b in itertools.pairwise(found))


def test_numbers_count_as_so_unless_they_are_nought():
    assert runs(np.array([0, 2, 1, 0, 0, 1])) == [(1, 3), (5, 6)]
