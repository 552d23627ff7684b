"""What is known of a take's sound."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.edit.sync.trace import EVEN_RATE_HZ, trace_blocks

RATE_HZ = 48_000


@pytest.mark.parametrize("lengths", [[480_000], [1, 479_999], [7000] * 69, [100_000, 0, 380_000]])
def test_a_trace_does_not_depend_on_blocks(rng, pairs, lengths: list[int]) -> None:
    sound = pairs.pink(rng, 480_000).astype(np.float32)
    whole = trace_blocks([sound])
    ends = np.cumsum(lengths)
    pieces = trace_blocks([*np.split(sound, ends[:-1])[: len(lengths)], sound[ends[-1] :]])
    np.testing.assert_array_equal(pieces.even, whole.even)
    np.testing.assert_allclose(pieces.outline, whole.outline, atol=1e-5)


def test_a_trace_does_not_depend_on_level(rng, pairs) -> None:
    sound = pairs.heard(rng, pairs.chorus(rng, 10), pairs.pink(rng, 10 * RATE_HZ), 10)
    loud, soft = pairs.traced(sound), pairs.traced(sound / 100)
    np.testing.assert_allclose(loud.outline, soft.outline, atol=0.05)
    assert np.abs(loud.even.astype(int) - soft.even).max() <= 1


def test_a_click_stays_where_it_was(rng, pairs) -> None:
    sound = rng.normal(0, 1e-4, 10 * RATE_HZ)
    sound[round(6.25 * RATE_HZ)] = 0.9
    power = np.square(pairs.traced(sound).even.astype(float)).sum(axis=1)
    assert int(power.argmax()) == round(6.25 * EVEN_RATE_HZ)


def test_sound_outside_a_take_is_silence(rng, pairs) -> None:
    trace = pairs.traced(pairs.pink(rng, RATE_HZ))
    n = len(trace.even)
    around = trace.sound(-5, n + 5)
    assert not around[:5].any()
    assert not around[-5:].any()
    np.testing.assert_array_equal(around[5:-5], trace.sound(0, n))
    assert not trace.sound(-20, -5).any()
    assert not trace.sound(n + 5, n + 20).any()
