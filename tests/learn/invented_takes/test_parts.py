"""What a take is put together from: parts over a background."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import scipy.signal

from calltag.learn.invented_takes.parts import (
    NOTHING,
    TAKE_S,
    Part,
    _gain,
    background,
    in_turn,
    put_together,
    when,
)
from calltag.records.span import Span
from calltag.sound.spectrum import RATE_HZ


def level_db(sound: np.ndarray) -> float:
    return float(10 * np.log10((sound**2).mean()))


def test_a_part_stands_out_by_what_is_asked_in_its_own_band() -> None:
    """Noise between 1 and 2 kHz for a quarter of the take, over noise that has all frequencies."""
    rng = np.random.default_rng(5)
    n = TAKE_S * RATE_HZ
    sound, behind = np.zeros(n), rng.standard_normal(n)
    band = scipy.signal.butter(8, [1000, 2000], "band", fs=RATE_HZ, output="sos")
    sound[n // 2 : n * 3 // 4] = scipy.signal.sosfilt(band, rng.standard_normal(n // 4))
    part = Part(sound, (Span(TAKE_S / 2, TAKE_S * 3 / 4),))
    lifted = _gain(part, behind, 12.0) * sound[n // 2 : n * 3 // 4]
    over_db = level_db(lifted) - level_db(scipy.signal.sosfilt(band, behind))
    assert over_db == pytest.approx(12, abs=0.5)


def test_what_is_in_turn_lies_where_it_is_said_and_ends_with_its_time() -> None:
    """A sound of a tenth of a second, all ones: with no spread, nothing else is in the part."""
    one = np.ones(RATE_HZ // 10, np.float32)
    part = in_turn(np.random.default_rng(2), lambda: one, 2.0, 9.0, 0.1, 0.0)
    assert part.spans[0] == Span(2.0, 2.1)
    assert 7.0 < part.spans[-1].start_s < 8.0
    assert all(b.start_s - a.end_s > 0.0499 for a, b in itertools.pairwise(part.spans))
    there = np.zeros(TAKE_S * RATE_HZ)
    for span in part.spans:
        there[round(span.start_s * RATE_HZ) : round(span.end_s * RATE_HZ)] = 1
    assert np.array_equal(part.sound, there)


def test_what_is_alone_has_most_of_the_take() -> None:
    rng = np.random.default_rng(3)
    for alone, least_s, most_s in ((True, 6.0, 19.0), (False, 5.0, 11.0)):
        times = [when(rng, alone=alone) for _ in range(200)]
        assert all(0.5 <= a < b <= TAKE_S - 0.5 for a, b in times)
        assert all(least_s <= b - a <= most_s for a, b in times)


def test_what_is_not_there_adds_nothing_and_draws_no_level() -> None:
    behind = background(np.random.default_rng(4))
    alone, beside = (
        put_together(np.random.default_rng(5), behind, parts)
        for parts in ([], [(NOTHING, (0.0, 24.0))] * 2)
    )
    assert np.array_equal(alone, beside)
    assert np.abs(alone).max() <= 0.601
