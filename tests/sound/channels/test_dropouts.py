"""Digital silence in one channel, sample by sample."""

from __future__ import annotations

from itertools import groupby

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.sound.channels.dropouts import dropouts, sounds, zero_runs

RATE_HZ = 48_000
LEAST = 480  # samples in 10 ms


def tone(n: int = 10_000, peak: float = 0.1) -> np.ndarray:
    """Sound whose every sample has the same size, so that none is zero by chance."""
    return (peak * np.where(np.arange(n) % 7 < 3, 1, -1)).astype(np.float32)


@pytest.mark.parametrize(("length", "told"), [(LEAST - 1, []), (LEAST, [(4000, 4000 + LEAST)])])
def test_a_dropout_lasts_ten_milliseconds_or_longer(length, told):
    sound = tone()
    sound[4000 : 4000 + length] = 0
    assert dropouts(sound, RATE_HZ) == told


@pytest.mark.parametrize(("length", "told"), [(LEAST - 1, False), (LEAST, True)])
@pytest.mark.parametrize("at_end", [False, True])
def test_an_end_of_the_sound_counts_as_sound(at_end, length, told):
    sound = tone()
    first = len(sound) - length if at_end else 0
    sound[first : first + length] = 0
    assert dropouts(sound, RATE_HZ) == ([(first, first + length)] if told else [])


@pytest.mark.parametrize("side", [slice(4000 - LEAST, 4000), slice(4700, 4700 + LEAST)])
@pytest.mark.parametrize(("beside_dbfs", "told"), [(-69.0, [(4000, 4700)]), (-72.0, [])])
def test_silence_that_sound_fades_to_is_no_dropout(side, beside_dbfs, told):
    """Sound is what peaks above -70 dBFS."""
    sound = tone()
    sound[4000:4700] = 0
    sound[side] *= 10 ** (beside_dbfs / 20) / 0.1
    assert dropouts(sound, RATE_HZ) == told


def test_nothing_is_no_sound():
    assert not sounds(np.zeros(0, np.float32))


def test_faint_sound_is_no_silence_though_many_of_its_samples_are_zero():
    """A quiet place in 16 bits: hiss of four steps, -77 dBFS, whose longest zeros are a few."""
    hiss = np.random.default_rng(1).normal(0, 1.4e-4, 60 * RATE_HZ)
    sound = (np.round(hiss * 2**15) / 2**15).astype(np.float32)
    assert dropouts(sound, RATE_HZ) == []


@given(
    lengths=st.lists(st.tuples(st.integers(0, 60), st.integers(1, 90)), max_size=6),
    tail=st.integers(0, 60),
    least=st.integers(1, 60),
)
def test_zero_runs_are_those_that_counting_finds(lengths, tail, least):
    row = np.zeros(tail, np.float32)
    for zeros, some in reversed(lengths):
        row = np.concatenate([np.zeros(zeros, np.float32), tone(some), row])
    counted = []
    at = 0
    for silent, group in groupby(row, key=lambda sample: sample == 0):
        length = len(list(group))
        if silent and (length >= least or at == 0 or at + length == len(row)):
            counted.append((at, at + length))
        at += length
    assert list(zero_runs(row, least)) == counted
