"""One animal answers another: where an event is parted, and where it is one call."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.learn.finding.turns import QUIET_S, SHORTEST_S, in_turns
from calltag.learn.networks.starter_model import STEPS_PER_S

N, N_MELS = 400, 64
FIRST, LAST = 150, 250
LOW, HIGH = (4, 8), (40, 46)
QUIET = round(QUIET_S * STEPS_PER_S)
SHORTEST = round(SHORTEST_S * STEPS_PER_S)


def air(rng: np.random.Generator) -> np.ndarray:
    """Steady noise: the mean of eight powers in each band and step."""
    return rng.gamma(8, 1 / 8, (N, N_MELS)).astype(np.float32)


def scene(rng: np.random.Generator, *sounds: tuple[int, int, tuple[int, int]], level=100.0):
    power = air(rng)
    for first, last, (low, high) in sounds:
        power[first:last, low:high] *= level
    return power


def parted(power: np.ndarray) -> list[tuple[int, int]]:
    return in_turns([(FIRST, LAST)], power)


@pytest.mark.parametrize("level", [30.0, 100.0, 1e4])
def test_an_answer_in_another_band_is_a_call_of_its_own(rng, level) -> None:
    power = scene(rng, (FIRST, 190, LOW), (204, LAST, HIGH), level=level)
    (first, end), (goes_on, last) = parted(power)
    assert (first, last) == (FIRST, LAST)
    assert end == pytest.approx(190, abs=2)
    assert goes_on == pytest.approx(204, abs=2)


def test_turns_are_told_however_many_follow(rng) -> None:
    turns = [(150, 170), (180, 200), (210, 230), (238, 250)]
    bands = itertools.cycle([LOW, HIGH])
    pieces = parted(scene(rng, *[(*turn, band) for turn, band in zip(turns, bands, strict=False)]))
    assert np.array(pieces) == pytest.approx(np.array(turns), abs=2)


def test_only_what_is_next_to_the_pause_is_compared(rng) -> None:
    power = scene(rng, (FIRST, 210, LOW), (210, 222, HIGH), (234, LAST, LOW))
    (_, end), (goes_on, _) = parted(power)
    assert (end, goes_on) == (pytest.approx(222, abs=2), pytest.approx(234, abs=2))


@pytest.mark.parametrize(
    "sounds",
    [
        pytest.param([(FIRST, 190, LOW), (204, LAST, LOW)], id="the same voice"),
        pytest.param([(FIRST, 190, (40, 44)), (204, LAST, (42, 46))], id="another note of it"),
        pytest.param([(FIRST, 199, LOW), (201, LAST, HIGH)], id="no pause"),
        pytest.param([(FIRST, 200, LOW), (190, LAST, HIGH)], id="at once"),
        pytest.param([(FIRST, 190, LOW), (248, LAST, HIGH)], id="a click at its end"),
        pytest.param([(FIRST, 190, LOW)], id="nothing after it"),
        pytest.param([], id="nothing that stands out"),
    ],
)
def test_what_may_be_one_call_stays_whole(rng, sounds) -> None:
    assert parted(scene(rng, *sounds)) == [(FIRST, LAST)]


def test_what_hardly_stands_out_stays_whole(rng) -> None:
    faint = scene(rng, (FIRST, 190, LOW), (204, LAST, HIGH), level=4.0)
    assert parted(faint) == [(FIRST, LAST)]


def test_a_sweep_is_one_call(rng) -> None:
    sweep = [
        (at, at + 3, (band, band + 4))
        for at, band in zip(range(150, 250, 2), range(50), strict=True)
    ]
    assert parted(scene(rng, *sweep)) == [(FIRST, LAST)]


def test_without_a_background_nothing_is_told(rng) -> None:
    power = scene(rng, (0, 190, LOW), (204, N, HIGH))
    assert in_turns([(0, N)], power) == [(0, N)]


def test_where_turns_are_all_that_is_heard_their_pauses_are_the_background(rng) -> None:
    turns = [(at, at + 21) for at in range(0, N, 30)]
    bands = itertools.cycle([LOW, HIGH])
    power = scene(rng, *[(*turn, band) for turn, band in zip(turns, bands, strict=False)])
    pieces = in_turns([(0, N)], power)
    assert np.array(pieces) == pytest.approx(np.array([*turns[:-1], (turns[-1][0], N)]), abs=2)


def test_one_voice_that_is_all_that_is_heard_stays_whole(rng) -> None:
    power = scene(rng, *[(at, at + 21, LOW) for at in range(0, N, 30)])
    assert in_turns([(0, N)], power) == [(0, N)]


def test_one_voice_stays_whole_however_far_it_stands_out() -> None:
    power = np.zeros((N, N_MELS), np.float32)
    power[FIRST:190, slice(*LOW)] = power[204:LAST, slice(*LOW)] = 1e8
    assert parted(power) == [(FIRST, LAST)]


def test_other_events_stay_as_they_are(rng) -> None:
    power = scene(rng, (FIRST, 190, LOW), (204, LAST, HIGH), (300, 320, HIGH))
    pieces = in_turns([(20, 40), (FIRST, LAST), (300, 320)], power)
    assert (pieces[0], pieces[-1], len(pieces)) == ((20, 40), (300, 320), 4)


@given(st.integers(0, 2**32 - 1))
def test_pieces_lie_in_order_within_their_event(seed) -> None:
    rng = np.random.default_rng(seed)
    sounds = [
        (int(at), int(at + rng.integers(2, 40)), (int(low), int(low) + 4))
        for at, low in zip(rng.integers(FIRST, LAST, 6), rng.integers(0, 60, 6), strict=True)
    ]
    pieces = parted(scene(rng, *sounds, level=float(rng.uniform(2, 1000))))
    assert (pieces[0][0], pieces[-1][1]) == (FIRST, LAST)
    assert all(last - first >= SHORTEST for first, last in pieces)
    assert all(b[0] - a[1] >= QUIET for a, b in itertools.pairwise(pieces))
