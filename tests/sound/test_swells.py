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


CENTRES_HZ = mel_edges_hz()[1 : N_MELS + 1]


def rising(course_db, low_hz=0.0, high_hz=1000.0, but_db=0.0):
    """Still air, and bands between two frequencies that take a course; all others another."""
    levels = np.full((len(course_db), N_MELS), -70.0)
    bands = (low_hz <= CENTRES_HZ) & (high_hz >= CENTRES_HZ)
    levels[:, bands] += course_db[:, None]
    levels[:, ~bands] += np.broadcast_to(but_db, len(course_db))[:, None]
    return levels


def course(*knots):
    """Levels in dB, a minute long, straight between knots of second and dB."""
    return np.interp(T_S, *np.transpose(knots))


def plateau(height_db, seconds=12.0):
    return course((20, 0), (23, height_db), (23 + seconds, height_db), (26 + seconds, 0))


def test_a_swell_stands_5_db_above_the_quietest_tenth_of_the_take():
    assert slow_swells(rising(plateau(5.1))).sum() == pytest.approx(120, abs=4)
    assert not slow_swells(rising(plateau(4.9))).any()
    for quiet_s, told in ((7.5, True), (4.5, False)):  # an eighth of it, and less than a tenth
        passing = course((quiet_s, 0), (quiet_s + 3, 7), (60, 7))
        assert slow_swells(rising(passing)).any() == told


def test_a_swell_takes_6_s():
    for seconds, told in ((5.5, False), (6.3, True)):
        brief = np.where(np.abs(T_S - 30) < seconds / 2, 6.5, 0.0)
        assert slow_swells(rising(brief)).any() == told


def test_a_swell_rises_by_no_more_than_8_db_within_3_s():
    """A tent of 30 dB, whose slopes are 7.7 or 8.7 dB in 3 s; over its top it moves by half."""
    for db_in_3_s, told in ((7.7, True), (8.7, False)):
        half_s = 3 * 30 / db_in_3_s
        tent = course((30 - half_s, 0), (30, 30), (30 + half_s, 0))
        assert slow_swells(rising(tent)).any() == told


def test_a_swell_rises_less_above_than_below():
    for above_db, told in ((6.1, False), (5.9, True)):
        assert slow_swells(rising(plateau(7.0), but_db=plateau(above_db))).any() == told


def test_a_swell_strays_by_no_more_than_noise_of_200_hz():
    """From its median of a second, to and fro every few tenths: by 1 dB at most in the mean."""
    for strays_db, told in ((1.8, True), (2.3, False)):  # a fifth of the time, so 0.8 and 1.03
        rough = plateau(9.0)
        rough[::5] += strays_db
        assert slow_swells(rising(rough)).any() == told


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "told"),
    [
        (0, 1000, True),
        (100, 110, True),  # the lowest band below 110 Hz
        (670, 800, True),
        (800, 2500, False),
        (8000, 20_000, False),
    ],
)
def test_a_swell_lies_between_100_and_800_hz(low_hz, high_hz, told):
    assert slow_swells(rising(plateau(18.0), low_hz, high_hz)).any() == told


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "told"),
    [
        (2500, 3000, False),
        (7000, 8000, False),
        (1100, 2450, True),
        (8050, 20_000, True),
    ],
)
def test_what_rises_as_much_between_2500_and_8000_hz_is_no_swell(low_hz, high_hz, told):
    levels = rising(plateau(7.0), high_hz=900.0)
    bands = (low_hz <= CENTRES_HZ) & (high_hz >= CENTRES_HZ)
    levels[:, bands] += plateau(20.0)[:, None]
    assert slow_swells(levels).any() == told


def test_a_band_counts_by_its_power():
    """One band of n that rises by L dB lifts the mean by 10 lg (1 + (10 ** (L / 10) - 1) / n).

    Of the 13 bands between 100 and 800 Hz that is 5 dB where one rises by 14.6 dB.
    """
    assert ((CENTRES_HZ >= 100) & (CENTRES_HZ <= 800)).sum() == 13
    for rise_db, told in ((14.9, True), (14.3, False)):
        assert slow_swells(rising(plateau(rise_db), 380, 390)).any() == told
