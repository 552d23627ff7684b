"""The noise floor: follows slow change, ignores calls, gusts and clicks, whatever the length."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.sound.floor import SHARE, SPAN_S, STEP_FRAMES, noise_floor_db
from calltag.sound.spectrum import FRAMES_PER_S, mel_power, power_spectrum, to_db


def steady(seconds, level_db=-60.0, bands=3):
    return np.full((round(seconds * FRAMES_PER_S), bands), level_db, np.float32)


@pytest.mark.parametrize("n_frames", [1, 2, 19, 20, 21, 39, 40, 399, 3000])
def test_a_steady_level_is_its_own_floor_at_any_length(n_frames):
    level = np.float32([-60, -50, -40]) + np.zeros((n_frames, 1), np.float32)
    floor = noise_floor_db(level)
    assert floor.shape == level.shape
    assert floor.dtype == np.float32
    np.testing.assert_array_equal(floor, level)


@pytest.mark.parametrize("call_s", [0.05, 0.5, 2.0, 4.0])
def test_a_call_does_not_lift_the_floor_even_under_itself(call_s):
    level = steady(40)
    first = 20 * FRAMES_PER_S
    level[first : first + round(call_s * FRAMES_PER_S), 1] += 40
    np.testing.assert_array_equal(noise_floor_db(level), steady(40))


def test_many_short_calls_do_not_lift_it_as_long_as_they_leave_gaps():
    level = steady(60)
    for first in range(50, len(level), 200):  # a call of 1 s every 2 s
        level[first : first + 100, 0] += 30
    np.testing.assert_allclose(noise_floor_db(level), steady(60), atol=1e-4)


def test_a_noise_that_stays_becomes_the_floor():
    # An engine that sets in at 30 s and runs on.
    level = steady(60)
    level[30 * FRAMES_PER_S :] += 25
    floor = noise_floor_db(level)[:, 0]
    half_s = SPAN_S / 2
    assert (floor[: round((30 - half_s) * FRAMES_PER_S)] == -60).all()
    assert (floor[round((30 + half_s) * FRAMES_PER_S) :] == -35).all()
    assert (np.diff(floor) >= 0).all()


@pytest.mark.parametrize("db_per_s", [-1.0, 0.3, 1.0])
def test_slow_change_is_followed(db_per_s):
    # Half of the span holds levels below that of its middle, so a quarter of it lies a quarter of
    # the span further down the slope; the last step of 0.2 s adds up to half a step.
    t = np.arange(60 * FRAMES_PER_S) / FRAMES_PER_S
    level = (-60 + db_per_s * t)[:, None].astype(np.float32)
    inner = slice(5 * FRAMES_PER_S, -5 * FRAMES_PER_S)
    behind = (level - noise_floor_db(level))[inner]
    lag = abs(db_per_s) * SPAN_S / 4
    np.testing.assert_allclose(behind, lag, atol=abs(db_per_s) * 0.25)


def test_each_band_has_its_own_floor():
    level = steady(30)
    level[:, 1] += 20
    level[1000:1100, 2] += 30
    np.testing.assert_array_equal(noise_floor_db(level)[500], np.float32([-60, -40, -60]))


def test_the_floor_of_noise_lies_just_below_its_mean():
    # Levels averaged over 0.2 s scatter little: a quarter of them lie less than 1 dB below.
    rng = np.random.default_rng(6)
    noise = rng.normal(0, 0.05, 20 * 48_000).astype(np.float32)
    level = to_db(mel_power(power_spectrum(noise)))
    gap = level.mean(axis=0) - noise_floor_db(level).mean(axis=0)
    assert (gap > 0).all()
    assert (gap[20:] < 1.0).all()


def test_it_is_the_stated_percentile_of_the_averaged_levels():
    rng = np.random.default_rng(7)
    level = rng.normal(-60, 6, (30 * FRAMES_PER_S, 2)).astype(np.float32)
    floor = noise_floor_db(level)
    steps = level.reshape(-1, STEP_FRAMES, 2).mean(axis=1)
    half = round(SPAN_S / 2 * FRAMES_PER_S / STEP_FRAMES)
    for middle in range(half, len(steps) - half):
        around = np.sort(steps[middle - half : middle + half + 1], axis=0)
        expected = around[int(len(around) * SHARE / 100)]
        # two frames lie half a frame each from the middle of the step
        first = middle * STEP_FRAMES + STEP_FRAMES // 2 - 1
        np.testing.assert_allclose(floor[first : first + 2].mean(axis=0), expected, atol=0.1)


def test_silence_and_the_order_of_time():
    rng = np.random.default_rng(8)
    level = rng.normal(-60, 6, (24 * STEP_FRAMES, 2)).astype(np.float32)
    np.testing.assert_allclose(noise_floor_db(level)[::-1], noise_floor_db(level[::-1]), atol=1e-3)
    silence = np.full((500, 2), -110, np.float32)
    np.testing.assert_array_equal(noise_floor_db(silence), silence)
