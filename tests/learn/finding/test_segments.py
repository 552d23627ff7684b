"""Events in call odds: their ends, gaps and order."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from calltag.learn.finding.segments import (
    BELOW_PEAK,
    FAINTEST_ODDS,
    HALF_HEARD_ODDS,
    LONGEST_GAP_S,
    SHORTEST_S,
    SOUNDING_ODDS,
    find_half_heard,
    find_segments,
)
from calltag.learn.networks.starter_model import STEPS_PER_S

GAP = round(LONGEST_GAP_S * STEPS_PER_S)
SHORTEST = round(SHORTEST_S * STEPS_PER_S)
ODDS = npst.arrays(
    np.float32, st.integers(0, 300), elements=st.sampled_from([-4.0, -1.0, SOUNDING_ODDS, 0.5, 4.0])
)


def events(odds, power=None):
    return find_segments(odds, np.ones((len(odds), 8)) if power is None else power)


def steps(n, *on):
    odds = np.full(n, -5.0, np.float32)
    for first, last in on:
        odds[first:last] = 5
    return odds


@pytest.mark.parametrize("n", [0, 1, 100])
def test_nothing_heard_nothing_found(n):
    assert events(steps(n)) == []


def test_one_call_through_and_through():
    assert events(steps(50, (0, 50))) == [(0, 50)]


@pytest.mark.parametrize(("gap", "found"), [(1, 1), (GAP, 1), (GAP + 1, 2), (3 * GAP, 2)])
def test_short_gaps_are_closed(gap, found):
    assert len(events(steps(200, (10, 30), (30 + gap, 50 + gap)))) == found


@pytest.mark.parametrize("length", [1, SHORTEST, SHORTEST + 1])
def test_too_short_is_no_event(length):
    assert len(events(steps(50, (20, 20 + length)))) == (length >= SHORTEST)


def test_pieces_too_short_alone_may_make_an_event_together():
    odds = steps(60, *((at, at + 1) for at in range(10, 40, 5)))
    assert events(odds) == [(10, 36)]


@given(ODDS)
def test_events_are_apart_in_order_and_begin_and_end_with_sound(odds):
    found = events(odds)
    sounding, faint = odds > SOUNDING_ODDS, odds > FAINTEST_ODDS
    for first, last in found:
        assert 0 <= first < last <= len(odds)
        assert last - first >= SHORTEST
        assert faint[first]
        assert faint[last - 1]
        assert sounding[first:last].any()
        silent = np.diff(np.flatnonzero(np.r_[True, faint[first:last], True])) - 1
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
    backwards = [(len(odds) - last, len(odds) - first) for first, last in events(odds)]
    assert events(odds[::-1]) == backwards[::-1]


@pytest.mark.parametrize(
    ("highest", "around", "goes_on"),
    [
        (1.0, -1.0, True),
        (1.0, FAINTEST_ODDS - 0.1, False),
        (BELOW_PEAK - 0.5, -0.4, True),
        (BELOW_PEAK - 0.5, -0.6, False),
        (BELOW_PEAK + 1, -0.1, False),
    ],
)
def test_only_a_faint_event_goes_on_below_even_odds(highest, around, goes_on):
    odds = steps(200)
    odds[70:130] = around
    odds[90:110] = highest
    assert events(odds) == ([(70, 130)] if goes_on else [(90, 110)])


def test_a_faint_event_goes_on_over_a_lull_but_not_into_the_next():
    odds = steps(200)
    odds[40:150] = -1.0
    odds[60:64] = odds[46:48] = -5.0
    odds[80:90] = 1.0
    odds[120:130] = 5.0  # clear, so it ends where it is
    assert events(odds) == [(40, 130)]
    odds[100:112] = -5.0
    assert events(odds) == [(40, 100), (120, 130)]


def sounds(n, rng, *on, level=30.0):
    power = rng.gamma(4, 0.25, (n, 64))
    for first, last in on:
        power[first:last, 20:30] *= level
    return power


@pytest.mark.parametrize(("gap", "found"), [(4, 1), (GAP, 1), (GAP + 8, 2), (3 * GAP, 2)])
def test_silence_parts_what_the_odds_hold_together(rng, gap, found):
    odds = steps(300, (100, 160 + gap))
    pieces = events(odds, sounds(300, rng, (100, 130), (130 + gap, 160 + gap)))
    assert len(pieces) == found
    assert pieces[0][0] == 100
    assert pieces[-1][1] == 160 + gap
    if found == 2:
        assert pieces[0][1] == pytest.approx(130, abs=3)
        assert pieces[1][0] == pytest.approx(130 + gap, abs=3)


def test_a_soft_part_is_not_silence(rng):
    power = sounds(300, rng, (100, 130), (170, 200))
    power[130:170, 20:30] *= 6
    assert events(steps(300, (100, 200)), power) == [(100, 200)]


def test_where_all_is_busy_nothing_tells_silence(rng):
    power = sounds(100, rng, (0, 30), (70, 100))
    assert events(steps(100, (0, 100)), power) == [(0, 100)]


def test_what_does_not_stand_out_is_left_whole(rng):
    assert events(steps(300, (100, 200)), sounds(300, rng)) == [(100, 200)]


@pytest.mark.parametrize("at", [0, 100, 200])
def test_silence_parts_at_either_end_of_a_take_too(rng, at):
    power = sounds(300, rng, (at, at + 30), (at + 70, at + 100))
    pieces = events(steps(300, (at, at + 100)), power)
    assert [(begin - at, end - at) for begin, end in pieces] == [
        (0, pytest.approx(30, abs=3)),
        (pytest.approx(70, abs=3), 100),
    ]


def test_what_sounds_long_before_or_after_says_nothing_of_the_silence(rng):
    # Between 1.5 s before an event and as long after it is what lies behind it.
    power = sounds(300, rng, (100, 130), (170, 200))
    power[:20] *= 1000
    power[280:] *= 1000
    assert len(events(steps(300, (100, 200)), power)) == 2


@pytest.mark.parametrize("heard", [(140, 200), (100, 160)])
def test_silence_parts_and_does_not_shorten(rng, heard):
    assert events(steps(300, (100, 200)), sounds(300, rng, heard)) == [(100, 200)]


def test_what_goes_on_faintly_in_other_bands_does_not_fill_a_silence(rng):
    power = sounds(300, rng, (100, 130), (170, 200), level=1000.0)
    power[100:200, 40:60] *= 10
    assert len(events(steps(300, (100, 200)), power)) == 2


def test_a_sound_that_is_hardly_louder_than_silence_is_not_parted(rng):
    # The background is a sixth of it: nothing in it has faded to a tenth of its own level.
    power = sounds(300, rng, (100, 130), (170, 200), level=6.0)
    assert events(steps(300, (100, 200)), power) == [(100, 200)]


@pytest.mark.parametrize(("lull", "goes_on"), [(5, True), (6, False)])
def test_a_lull_of_a_tenth_of_a_second_is_passed(lull, goes_on):
    odds = steps(200)
    odds[70:130] = -1.0
    odds[90:100] = 1.0
    odds[110 : 110 + lull] = odds[90 - 10 - lull : 90 - 10] = -5.0  # steps of 20 ms
    assert events(odds) == ([(70, 130)] if goes_on else [(80, 110)])


def test_an_instant_before_a_long_event_is_no_background_of_it(rng) -> None:
    turns = [(at, at + 21) for at in range(0, 2000, 30)]
    power = rng.gamma(8, 1 / 8, (2000, 64))
    for at, (first, last) in enumerate(turns):
        power[first:last, slice(4, 8) if at % 2 else slice(40, 46)] *= 100.0
    odds = np.full(2000, 4.0)
    odds[:11] = -5.0  # where a window begins amid a call
    pieces = find_segments(odds, power)
    assert [first for first, _ in pieces[1:]] == pytest.approx([at for at, _ in turns[1:]], abs=2)


def test_the_fainter_of_two_animals_in_turn_is_no_silence(rng):
    # Ten times less in power than the other, and each of its calls longer than a silence.
    power = sounds(400, rng)
    starts = range(100, 300, 28)
    for n, first in enumerate(starts):
        low = (10, 45)[n % 2]
        power[first : first + 20, low : low + 4] *= (3000, 200)[n % 2]
    pieces = events(steps(400, (100, 100 + 28 * len(starts) - 8)), power)
    assert len(pieces) == len(starts)
    assert [begin for begin, _ in pieces] == pytest.approx(list(starts), abs=2)


# --- half-heard events ----------------------------------------------------------------------------


@given(ODDS)
def test_half_heard_events_are_all_that_may_be_calls_and_is_apart_from_those_that_likely_are(odds):
    likely = events(odds)
    half_heard = find_half_heard(odds, likely)
    found = sorted([*likely, *half_heard])
    assert all(b[0] - a[1] > GAP for a, b in itertools.pairwise(found))
    for first, last in half_heard:
        assert last - first >= SHORTEST
        assert odds[first] > HALF_HEARD_ODDS
        assert odds[last - 1] > HALF_HEARD_ODDS
    may_be = np.flatnonzero(odds > HALF_HEARD_ODDS)
    for group in np.split(may_be, np.flatnonzero(np.diff(may_be) > GAP + 1) + 1):
        if len(group) and group[-1] + 1 - group[0] >= SHORTEST:
            alone = all(
                first - group[-1] - 1 > GAP or group[0] - last > GAP for first, last in likely
            )
            assert ((group[0], group[-1] + 1) in half_heard) == alone


@pytest.mark.parametrize(
    ("top", "is_one"), [(HALF_HEARD_ODDS, False), (HALF_HEARD_ODDS + 0.1, True), (-0.1, True)]
)
def test_how_low_the_odds_of_a_half_heard_event_may_be(top, is_one):
    odds = steps(100)
    odds[40:60] = top
    assert find_half_heard(odds, []) == ([(40, 60)] if is_one else [])


def test_what_is_close_to_a_likely_event_is_no_event_of_its_own():
    odds = steps(200)
    odds[40:60] = -0.5
    assert find_half_heard(odds, [(60 + GAP, 150)]) == []
    assert find_half_heard(odds, [(61 + GAP, 150)]) == [(40, 60)]
