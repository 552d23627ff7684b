"""How deep a band beats, against the closed form of amplitude modulation.

A tone times 1 + m cos(2 pi f t) has the envelope 1 + m cos(2 pi f t), whose standard deviation over
its mean is m / sqrt(2): the definition of the modulation index.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.sound.envelope import FASTEST_HZ, beat_depth
from calltag.sound.spectrum import RATE_HZ

T = np.arange(2 * RATE_HZ) / RATE_HZ


@given(st.floats(0.05, 0.95), st.floats(8, 120), st.floats(1500, 9000))
def test_a_modulated_tone_has_the_closed_forms_depth(index: float, rate_hz: float, hz: float):
    tone = np.sin(2 * np.pi * hz * T) * (1 + index * np.cos(2 * np.pi * rate_hz * T))
    depth = beat_depth(tone.astype(np.float32), hz - 400, hz + 400)
    assert depth == pytest.approx(index / np.sqrt(2), abs=0.02)


def test_a_steady_tone_noise_and_silence_hardly_beat(rng) -> None:
    assert beat_depth(np.sin(2 * np.pi * 3000 * T).astype(np.float32), 2500, 3500) < 0.01
    for _ in range(10):
        assert beat_depth(rng.standard_normal(len(T)).astype(np.float32), 3000, 3600) < 0.2
    assert beat_depth(np.zeros(len(T), np.float32), 2500, 3500) == 0
    assert beat_depth(np.ones(100, np.float32), 2500, 3500) == 0


def test_what_is_a_pitch_or_a_swell_is_no_beat() -> None:
    for rate_hz in (1.0, 2 * FASTEST_HZ):
        tone = np.sin(2 * np.pi * 3000 * T) * (1 + 0.5 * np.cos(2 * np.pi * rate_hz * T))
        assert beat_depth(tone.astype(np.float32), 2500, 3500) < 0.05
