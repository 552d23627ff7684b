"""Loudness of all channels of a take, against an independent meter."""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest

from calltag.sound.loudness.take_loudness import TakeLoudness, beside
from calltag.sound.spectrum import RATE_HZ, power_frames

TONE = (0.1 * np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)).astype(np.float32)


def test_copies_count_by_their_level():
    assert beside(np.stack([TONE, TONE]), 0) == (pytest.approx(2), [])
    assert beside(np.stack([TONE, -TONE / 2]), 0) == (pytest.approx(1.25), [])
    assert beside(np.stack([TONE, -TONE / 2]), 1) == (pytest.approx(5), [])
    assert beside(np.stack([TONE, TONE])[:, :100], 1) == (pytest.approx(2), [])


def test_others_are_listened_to_and_silent_ones_are_not(rng):
    hiss = rng.normal(0, 0.01, RATE_HZ).astype(np.float32)
    assert beside(np.stack([hiss, TONE, 0 * TONE, TONE + hiss]), 1) == (1, [0, 3])
    assert beside(np.stack([0 * TONE, TONE]), 0) == (1, [1])


def metered(sound, block_n):
    meter = TakeLoudness()

    def chosen():
        for first in range(0, sound.shape[1], block_n):
            block = sound[:, first : first + block_n]
            meter.hear(block, 0, block[0])
            yield block[0]

    for power in power_frames(chosen()):
        meter.add(power, meter.gain)
    return meter


@pytest.mark.parametrize("block_n", [RATE_HZ * 15, 10_007, 700])
def test_blocks_of_any_length(rng, block_n):
    sound = rng.normal(0, 0.02, (3, 20 * RATE_HZ)).astype(np.float32)
    sound[1] += np.tile(TONE, 20)
    theirs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(sound.T)
    assert metered(sound, block_n).integrated_lufs() == pytest.approx(theirs, abs=0.05)


@pytest.mark.parametrize("block_n", [10_007, 7000, 3000, 700])
def test_blocks_of_any_length_are_listened_to_at_the_same_moments(rng, block_n):
    sound = rng.normal(0, 0.02, (2, 20 * RATE_HZ)).astype(np.float32)
    sound[1, : 5 * RATE_HZ] *= 10
    whole = metered(sound, sound.shape[1])
    parts = metered(sound, block_n)
    assert parts.integrated_lufs() == pytest.approx(whole.integrated_lufs(), abs=1e-5)
    assert parts.range_lu() == pytest.approx(whole.range_lu(), abs=1e-5)
