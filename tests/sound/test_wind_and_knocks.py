"""Gusts and knocks by their shape: made ones, and what must not pass for them."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.sound.spectrum import RATE_HZ, mel_edges_hz, mel_power, power_spectrum
from calltag.sound.wind_and_knocks import (
    find_knocks,
    group_levels_db,
    gustiness,
    rumble,
    tenth_levels_db,
)

SECONDS = 12


def levels(sound):
    power = power_spectrum(np.asarray(sound, np.float32))
    return group_levels_db(mel_power(power)[: SECONDS * 100])


def tenths(sound):
    return tenth_levels_db(levels(sound))


def falling(rng, db_an_octave, corner_hz=30.0):
    """Noise that falls so fast from a corner on: wind's falls by 6 dB an octave and more."""
    n = SECONDS * RATE_HZ
    spectrum = np.fft.rfft(rng.standard_normal(n))
    hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    spectrum *= (np.maximum(hz, corner_hz) / corner_hz) ** (-db_an_octave / 6.02) * (hz > 10)
    sound = np.fft.irfft(spectrum, n)
    return sound / sound.std()


def knock(hz=80.0, decay_s=0.03):
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    return np.sin(2 * np.pi * hz * t) * np.exp(-t / decay_s)


def air(rng):
    return 0.001 * falling(rng, 3)


def with_at(sound, piece, at_s):
    first = round(at_s * RATE_HZ)
    sound[first : first + len(piece)] += piece
    return sound


def test_groups_read_the_mean_power_of_their_bands():
    mel = np.ones((3, 64), np.float32)
    np.testing.assert_allclose(group_levels_db(mel), 0, atol=1e-4)
    np.testing.assert_allclose(group_levels_db(100 * mel), 20, atol=1e-4)


@pytest.mark.parametrize("number", [np.float16, np.float32, np.float64])
def test_a_tenth_has_the_mean_power_of_its_frames(number):
    """Ten frames of which one is 20 dB up: 10.9 times the power of one; the rest is left out."""
    frames = np.full((29, 4), -40, number)
    frames[13, 1] = -20
    told = tenth_levels_db(frames)
    expected = np.full((2, 4), -40.0)
    expected[1, 1] += 10 * np.log10(10.9)
    np.testing.assert_allclose(told, expected, rtol=1e-12)


def test_tenths_of_a_long_take_are_those_of_its_parts(rng):
    frames = rng.uniform(-90, -20, (125_000, 4)).astype(np.float16)
    parts = [tenth_levels_db(frames[:50_000]), tenth_levels_db(frames[50_000:])]
    np.testing.assert_array_equal(tenth_levels_db(frames), np.concatenate(parts))


def test_what_is_low_leaps_about_where_it_blows(rng):
    """Puffs, eight a second, for three seconds: of steady noise a tenth changes by about 1 dB."""
    n = SECONDS * RATE_HZ
    puffs = np.exp(
        0.6 * np.interp(np.arange(n), np.arange(0, n, 6000), rng.normal(0, 1, n // 6000))
    )
    puffs[: 4 * RATE_HZ] = puffs[7 * RATE_HZ :] = 0
    told = rumble(tenths(air(rng) + 0.05 * puffs * falling(rng, 16)))
    assert len(told.change_db) == SECONDS * 10
    assert told.change_db[55] > 2.5
    assert told.change_db[:20].max() < 1.6
    assert told.high_change_db[55] < 1.2


@pytest.mark.parametrize("slope", [0.0, 3.0, 8.0])
def test_what_is_steady_does_not_leap(rng, slope):
    assert rumble(tenths(0.05 * falling(rng, slope))).change_db.max() < 1.8


def test_rumble_stands_above_what_is_higher_by_its_fall():
    groups = np.repeat([[-20.0, -27.0, -33.0, -51.0]], 300, axis=0)
    told = rumble(tenth_levels_db(groups))
    np.testing.assert_allclose(told.over_next_db, 7)
    np.testing.assert_allclose(told.over_high_db, 31)
    np.testing.assert_allclose(told.change_db, 0, atol=1e-9)


def test_a_leap_counts_for_three_seconds():
    """Once by 30 dB, of 30 tenths: a mean of 1 dB, from 1.5 s before to 1.5 s after."""
    groups = np.repeat([[-50.0, -60.0, -70.0, -80.0]], 600, axis=0)
    groups[300:, 0] += 30
    told = rumble(tenth_levels_db(groups))
    on = told.change_db > 0.5
    np.testing.assert_allclose(told.change_db[on], 1)
    assert (int(on.argmax()), int(on.sum())) == (16, 30)
    np.testing.assert_allclose(told.high_change_db, 0, atol=1e-9)


def test_a_gust_is_where_it_blows(rng):
    gate = np.zeros(SECONDS * RATE_HZ)
    gate[4 * RATE_HZ : 7 * RATE_HZ] = np.hanning(3 * RATE_HZ) ** 0.5
    gust = gustiness(tenths(air(rng) + 0.05 * gate * falling(rng, 8)))
    assert len(gust) == SECONDS * 10
    assert gust[47:63].min() > 0.7
    assert gust[:36].max() < 0.1
    assert gust[75:].max() < 0.1


@pytest.mark.parametrize("slope", [0.0, 3.0])
def test_what_bursts_without_falling_like_wind_is_none(rng, slope):
    gate = np.zeros(SECONDS * RATE_HZ)
    gate[4 * RATE_HZ : 7 * RATE_HZ] = 1
    assert gustiness(tenths(air(rng) + 0.05 * gate * falling(rng, slope))).max() < 0.5


def test_a_boom_is_no_gust(rng):
    t = np.arange(RATE_HZ) / RATE_HZ
    sound = air(rng)
    for at_s in (2, 5, 8):
        with_at(sound, 0.1 * np.hanning(RATE_HZ) * np.sin(2 * np.pi * 130 * t), at_s)
    assert gustiness(tenths(sound)).max() < 0.3
    assert find_knocks(levels(sound)) == []  # it swells too slowly for a knock


def test_steady_wind_without_bursts_is_no_gust(rng):
    assert gustiness(tenths(0.05 * falling(rng, 8))).mean() < 0.2


@pytest.mark.parametrize("hz", [45, 80, 160])
def test_knocks_are_found_to_a_few_frames(rng, hz):
    sound = air(rng)
    for at_s in (2.0, 5.0, 5.6, 9.0):
        with_at(sound, 0.2 * knock(hz), at_s)
    found = find_knocks(levels(sound))
    assert [k.frame / 100 for k in found] == pytest.approx([2.0, 5.0, 5.6, 9.0], abs=0.06)
    assert all(k.fall_db > 15 for k in found)
    assert all(k.over_high_db > 10 for k in found)


def test_an_engine_that_starts_and_stays_is_no_knock(rng):
    t = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    engine = sum(np.sin(2 * np.pi * 60 * k * t) / k for k in range(1, 10))
    assert find_knocks(levels(air(rng) + 0.05 * engine * (t > 5))) == []


def test_too_short_to_tell():
    assert find_knocks(np.zeros((10, 4), np.float32)) == []
    none = tenth_levels_db(np.zeros((9, 4), np.float32))
    assert len(gustiness(none)) == 0
    assert [len(part) for part in rumble(none)] == [0] * 4


def test_groups_cover_the_bands_that_they_are_named_by():
    """50-220, 220-440, 500-830 Hz, 1-5 kHz: from edge to edge of their mel bands."""
    covered = []
    for band in range(64):
        mel = np.zeros((1, 64), np.float32)
        mel[0, band] = 1
        covered.append(group_levels_db(mel)[0] > -50)
    edges_hz = mel_edges_hz()
    ends = [
        (edges_hz[on.argmax()], edges_hz[64 - on[::-1].argmax() + 1])
        for on in np.transpose(covered)
    ]
    np.testing.assert_allclose(ends, [(50, 218), (218, 442), (498, 834), (1061, 5343)], atol=1)


GUST_DB = np.array([-40.0, -45.0, -50.0, -60.0])


def gust_of(over_db=12.0, groups_db=GUST_DB, share=0.2):
    """What a burst of two seconds and more, so far above what came before, looks like at most."""
    n = 300
    levels = np.repeat([[*(groups_db - over_db)]], n * 10, axis=0)
    first = n // 2 * 10
    levels[first : first + round(share * n) * 10] = groups_db
    return gustiness(tenth_levels_db(levels)).max()


@pytest.mark.parametrize(
    ("over_db", "how_much"),
    [(4.9, 0), (6, 0.2), (7.5, 0.5), (10, 1), (15, 1), (20, 1.25), (25, 1.5), (40, 1.5)],
)
def test_a_gust_is_told_by_how_far_it_stands_out(over_db, how_much):
    """From 5 dB above the quietest tenth on, and surely by 10; to one and a half by 25."""
    assert gust_of(over_db) == pytest.approx(how_much, abs=1e-5)


@pytest.mark.parametrize(
    ("next_db", "middle_db", "high_db", "how_much"),
    [
        (-42, -50, -60, 0),  # hardly lower than the lowest
        (-43.5, -50, -60, 0.5),
        (-45, -50, -60, 1),
        (-62, -67, -80, 1),
        (-64, -69, -80, 0.5),  # as beside a line
        (-66, -71, -80, 0),
        (-45, -46, -60, 0),
        (-45, -47.5, -60, 0.5),
        (-45, -49, -60, 1),
        (-45, -50, -48, 0),
        (-45, -50, -50, 0.5),
        (-45, -50, -52, 1),
    ],
)
def test_a_gust_falls_steadily_from_the_lowest_bands_on(next_db, middle_db, high_db, how_much):
    groups_db = np.array([-40.0, next_db, middle_db, high_db])
    assert gust_of(groups_db=groups_db) == pytest.approx(how_much, abs=1e-5)


def test_what_blows_for_most_of_sixteen_seconds_is_no_burst():
    """Held against the quietest tenth of 16 s around."""
    levels = np.repeat([GUST_DB], 4000, axis=0)
    for quiet_s, told in ((1.4, False), (1.8, True)):
        quiet = levels.copy()
        quiet[2000 : 2000 + round(quiet_s * 100)] -= 12
        gust = gustiness(tenth_levels_db(quiet))
        assert (gust[240] > 0.9) == told  # 4 s after it began
        assert gust[320] == 0  # 12 s after


def leap(before_db=-60.0, peak_db=-40.0, after_db=-60.0, n=200, frames=3):
    """Levels of the lowest bands that leap up at 1 s; the others lie 5, 10 and 20 dB below."""
    low = np.full(n, before_db)
    low[100 + frames :] = after_db
    low[100 : 100 + frames] = peak_db
    return low[:, None] - [0, 5, 10, 20]


def test_a_knock_says_where_it_is_and_how_it_looks():
    (found,) = find_knocks(leap(after_db=-57.0))
    assert abs(found.frame - 100) <= 3
    assert found[1:] == pytest.approx((17, 5, 20), abs=1e-4)


@pytest.mark.parametrize(
    ("before_db", "peak_db", "after_db", "n"),
    [
        (-60.0, -47.8, -60.0, 1),
        (-60.0, -48.2, -60.0, 0),  # leaps by less than 12 dB
        (-60.0, -40.0, -48.2, 1),
        (-60.0, -40.0, -47.8, 0),  # falls by less than 8 dB
    ],
)
def test_a_knock_leaps_by_12_db_and_falls_by_8(before_db, peak_db, after_db, n):
    assert len(find_knocks(leap(before_db, peak_db, after_db))) == n


def test_a_knock_is_looked_for_in_the_lowest_bands():
    alone = np.tile(leap()[0], (200, 1))
    alone[:, 0] = leap()[:, 0]
    assert len(find_knocks(alone)) == 1
    others = leap()
    others[:, 0] = alone[0, 0]
    assert find_knocks(others) == []


def test_a_rattle_with_a_quiet_moment_before_it_is_no_knock():
    """A leap is held against the upper fifth of the quarter of a second before."""
    for loud, told in ((7, False), (3, True)):  # of 24 frames
        levels = leap()
        levels[75 : 75 + loud] += 15
        assert any(abs(knock.frame - 100) <= 3 for knock in find_knocks(levels)) == told


def test_two_knocks_at_once_are_one():
    for apart, n in ((6, 1), (9, 2)):  # frames
        levels = leap(frames=1)
        levels[100 + apart] = levels[100]
        assert len(find_knocks(levels)) == n


def test_what_is_loud_when_the_take_begins_is_no_knock_and_its_last_moment_may_hold_one():
    assert find_knocks(leap()[100:]) == []  # what came before it, nobody knows
    (last,) = find_knocks(leap()[:110])
    assert abs(last.frame - 100) <= 3
    assert find_knocks(leap(after_db=-40.0)[:110]) == []  # it stays, as far as is known
