"""Gusts and knocks by their shape: made ones, and what must not pass for them."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.sound.bursts import find_knocks, group_levels_db, gustiness, rumble
from calltag.sound.spectrum import RATE_HZ, mel_power, power_spectrum

SECONDS = 12


def levels(sound):
    power = power_spectrum(np.asarray(sound, np.float32))
    return group_levels_db(mel_power(power)[: SECONDS * 100])


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


def test_what_is_low_leaps_about_where_it_blows(rng):
    """Puffs, eight a second, for three seconds: of steady noise a tenth changes by about 1 dB."""
    n = SECONDS * RATE_HZ
    puffs = np.exp(
        0.6 * np.interp(np.arange(n), np.arange(0, n, 6000), rng.normal(0, 1, n // 6000))
    )
    puffs[: 4 * RATE_HZ] = puffs[7 * RATE_HZ :] = 0
    told = rumble(levels(air(rng) + 0.05 * puffs * falling(rng, 16)))
    assert len(told.change_db) == SECONDS * 10
    assert told.change_db[55] > 2.5
    assert told.change_db[:20].max() < 1.6
    assert told.high_change_db[55] < 1.2


@pytest.mark.parametrize("slope", [0.0, 3.0, 8.0])
def test_what_is_steady_does_not_leap(rng, slope):
    assert rumble(levels(0.05 * falling(rng, slope))).change_db.max() < 1.8


def test_rumble_stands_above_what_is_higher_by_its_fall():
    groups = np.repeat([[-20.0, -27.0, -33.0, -51.0]], 300, axis=0)
    told = rumble(groups)
    np.testing.assert_allclose(told.over_next_db, 7)
    np.testing.assert_allclose(told.over_high_db, 31)
    np.testing.assert_allclose(told.change_db, 0, atol=1e-9)


def test_a_leap_counts_for_three_seconds():
    """Once by 30 dB, of 30 tenths: a mean of 1 dB, from 1.5 s before to 1.5 s after."""
    groups = np.repeat([[-50.0, -60.0, -70.0, -80.0]], 600, axis=0)
    groups[300:, 0] += 30
    told = rumble(groups)
    on = told.change_db > 0.5
    np.testing.assert_allclose(told.change_db[on], 1)
    assert (int(on.argmax()), int(on.sum())) == (16, 30)
    np.testing.assert_allclose(told.high_change_db, 0, atol=1e-9)


def test_a_gust_is_where_it_blows(rng):
    gate = np.zeros(SECONDS * RATE_HZ)
    gate[4 * RATE_HZ : 7 * RATE_HZ] = np.hanning(3 * RATE_HZ) ** 0.5
    gust = gustiness(levels(air(rng) + 0.05 * gate * falling(rng, 8)))
    assert len(gust) == SECONDS * 10
    assert gust[47:63].min() > 0.7
    assert gust[:36].max() < 0.1
    assert gust[75:].max() < 0.1


@pytest.mark.parametrize("slope", [0.0, 3.0])
def test_what_bursts_without_falling_like_wind_is_none(rng, slope):
    gate = np.zeros(SECONDS * RATE_HZ)
    gate[4 * RATE_HZ : 7 * RATE_HZ] = 1
    assert gustiness(levels(air(rng) + 0.05 * gate * falling(rng, slope))).max() < 0.5


def test_a_boom_is_no_gust(rng):
    t = np.arange(RATE_HZ) / RATE_HZ
    sound = air(rng)
    for at_s in (2, 5, 8):
        with_at(sound, 0.1 * np.hanning(RATE_HZ) * np.sin(2 * np.pi * 130 * t), at_s)
    assert gustiness(levels(sound)).max() < 0.3
    assert find_knocks(levels(sound)) == []  # it swells too slowly for a knock


def test_steady_wind_without_bursts_is_no_gust(rng):
    assert gustiness(levels(0.05 * falling(rng, 8))).mean() < 0.2


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
    assert len(gustiness(np.zeros((9, 4), np.float32))) == 0
    assert [len(part) for part in rumble(np.zeros((9, 4), np.float32))] == [0] * 4
