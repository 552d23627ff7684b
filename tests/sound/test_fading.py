"""Fades at the ends of sound."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.sound.fading import fade_ends


@pytest.mark.parametrize("shape", [(100,), (3, 100)])
def test_a_fade_is_half_a_raised_cosine_and_the_rest_is_untouched(shape) -> None:
    """Its gain after k of n samples is (1 - cos(pi k / n)) / 2; at the end, backwards."""
    sound = np.full(shape, -0.5, np.float32)
    fade_ends(sound, 40, 10)
    rise, fall = ((1 - np.cos(np.pi * np.arange(n) / n)) / 2 for n in (40, 10))
    expected = -0.5 * np.concatenate([rise, np.ones(50), fall[::-1]])
    np.testing.assert_allclose(sound, np.broadcast_to(expected, shape), atol=1e-7)
    assert (sound[..., 40:90] == -0.5).all()


@pytest.mark.parametrize(
    ("fade_in", "fade_out", "ends"), [(0, 0, (1, 1)), (5, 0, (0, 1)), (0, 5, (1, 0))]
)
def test_an_end_without_a_fade_is_as_it_was(fade_in, fade_out, ends) -> None:
    sound = np.ones(20, np.float32)
    fade_ends(sound, fade_in, fade_out)
    assert (sound[0], sound[-1]) == ends
    assert sound.sum() == pytest.approx(20 - (fade_in + fade_out + bool(fade_in or fade_out)) / 2)
