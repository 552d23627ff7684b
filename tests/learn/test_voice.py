from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from calltag.learn.voice import Voice
from calltag.learn.voice_lessons import standardised, teach_voice


def drawn(rng: np.random.Generator) -> Voice:
    return Voice(
        first=rng.normal(size=(4, 6)),
        first_offset=rng.normal(size=6),
        second=rng.normal(size=(6, 6)),
        second_offset=rng.normal(size=6),
        bent=rng.normal(size=(6, 3)),
        straight=rng.normal(size=(4, 3)),
        offset=rng.normal(size=3),
    )


def test_numbers_are_those_of_two_bent_layers_and_a_straight_one(rng) -> None:
    """Unit by unit; the bend is x times the normal distribution function of x.

    D. Hendrycks, K. Gimpel, "Gaussian error linear units", arXiv:1606.08415, section 2.
    """
    voice, rows = drawn(rng), rng.normal(size=(5, 4))
    for row, found in zip(rows, voice(rows), strict=True):
        layer = row
        for weight, offset in (
            (voice.first, voice.first_offset),
            (voice.second, voice.second_offset),
        ):
            sums = [sum(layer * weight[:, unit]) + offset[unit] for unit in range(6)]
            layer = np.array([x * norm.cdf(x) for x in sums])
        expected = [
            sum(layer * voice.bent[:, i]) + sum(row * voice.straight[:, i]) + voice.offset[i]
            for i in range(3)
        ]
        assert found == pytest.approx(expected)


def test_standardised_numbers_differ_in_scale_only(rng) -> None:
    voice, rows = drawn(rng), rng.normal(size=(300, 4))
    before, after = voice(rows), standardised(voice, rows)(rows)
    assert after.mean(axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
    assert after.std(axis=0) == pytest.approx(np.ones(3))
    for one, other in zip(before.T, after.T, strict=True):
        assert np.corrcoef(one, other)[0, 1] == pytest.approx(1)


def test_weights_are_kept_by_name(rng) -> None:
    voice, rows = drawn(rng), rng.normal(size=(5, 4))
    again = Voice(**voice.arrays(np.float64))
    assert (again(rows) == voice(rows)).all()
    assert all(part.dtype == np.float32 for part in voice.arrays().values())


def test_types_that_no_straight_map_tells_apart_are_learnt(rng) -> None:
    """Where the third measurement is high, the first tells types apart; else the second does.

    The other of the two is chance. New types are told apart as well.
    """
    pytest.importorskip("torch", reason="no torch")

    def calls(n: int) -> tuple[np.ndarray, np.ndarray]:
        codes = np.repeat(np.arange(n), 8)
        high = (np.arange(n) % 2)[codes]
        place = rng.uniform(-4, 4, n)[codes] + rng.normal(0, 0.1, len(codes))
        chance = rng.uniform(-4, 4, len(codes))
        pair = np.where(high, (place, chance), (chance, place))
        return np.column_stack([*pair, 4.0 * high - 2]), codes

    def nearest_is_own(placed: np.ndarray, codes: np.ndarray) -> float:
        distance = ((placed[:, None] - placed) ** 2).sum(axis=2)
        np.fill_diagonal(distance, np.inf)
        return float((codes[distance.argmin(axis=1)] == codes).mean())

    voice = teach_voice(*calls(300), steps=1000)
    rows, codes = calls(20)
    assert nearest_is_own(voice(rows), codes) > nearest_is_own(rows, codes) + 0.1
