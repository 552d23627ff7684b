"""Combs: the statistics of noise in closed form, and lines laid where they are looked for."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.sound.beats.comb import Comb, comb_evidence, follow, heights_db

COMB = Comb(lowest_hz=16.0, highest_hz=260.0, step_hz=0.25, lines=10, top_hz=1500.0)
BIN_HZ = 0.5


def frames(sound, rate_hz=6000):
    return np.asarray(sound, np.float32).reshape(-1, rate_hz)


def lines(rate_hz, height_db=10.0, numbers=range(1, 11), n_bins=3001):
    """A spectrum of lines above nothing, each three bins wide."""
    heights = np.zeros((1, n_bins), np.float32)
    for number in numbers:
        at = round(rate_hz * number / BIN_HZ)
        heights[0, at - 1 : at + 2] = height_db
    return heights


def test_noise_stands_as_far_above_its_median_as_theory_says(rng):
    heights = heights_db(frames(rng.standard_normal(60 * 6000)), 3001)[:, 100:]
    assert heights.shape == (60, 2901)
    # Bins of white noise are complex Gaussian; a Hann window ties those half a resolution apart by
    # the transform of its square. Drawn from that: the highest of three, over the median of one,
    # which is ln 2 of the mean power.
    window = np.hanning(6000) ** 2
    tied = np.array([window @ np.exp(-1j * np.pi * k * np.arange(6000) / 6000) for k in range(3)])
    tied /= tied[0]
    covariance = np.array(
        [[tied[j - i] if j >= i else np.conj(tied[i - j]) for j in range(3)] for i in range(3)]
    )
    draws = rng.standard_normal((200_000, 3)) + 1j * rng.standard_normal((200_000, 3))
    power = np.abs(draws @ np.linalg.cholesky(covariance).T) ** 2 / 2
    expected = np.clip(10 * np.log10(power / np.log(2)), -10, 20).max(axis=1)
    assert heights.mean() == pytest.approx(expected.mean(), abs=0.1)
    assert heights.std() == pytest.approx(expected.std(), abs=0.1)


def test_evidence_of_noise_is_about_nothing(rng):
    heights = heights_db(frames(rng.standard_normal(40 * 6000)), 3001)
    evidence, strength_db = comb_evidence(heights, BIN_HZ, COMB)
    assert evidence.shape == (40, len(COMB.rates_hz))
    assert strength_db.mean() == pytest.approx(0, abs=0.2)
    # the less of two: below nothing, by less than their spread
    assert -0.7 < evidence.mean() < 0
    assert np.median(evidence.max(axis=1)) < 3.3
    assert evidence.max() < 5


@pytest.mark.parametrize("rate_hz", [18, 40, 77.5, 150, 230])
def test_evidence_of_lines_in_closed_form(rate_hz):
    evidence, strength_db = comb_evidence(lines(rate_hz), BIN_HZ, COMB)
    best = int(follow(evidence, COMB)[0])
    assert COMB.rates_hz[best] == pytest.approx(rate_hz, abs=0.5)
    n = min(10, int(1500 / rate_hz))
    # lines of 10 dB, nothing between: against the places between, or against noise
    expected = min(10 * n / np.sqrt(2), (10 - 2.5) * n) / (4.5 * np.sqrt(n))
    assert evidence.max() == pytest.approx(expected, rel=0.01)
    assert strength_db[0, best] == pytest.approx(10, abs=0.01)


def test_one_line_is_no_comb():
    whistle = lines(700, height_db=20.0, numbers=[1])
    comb = lines(70, height_db=20.0)
    assert comb_evidence(whistle, BIN_HZ, COMB)[0].max() < 2
    assert comb_evidence(comb, BIN_HZ, COMB)[0].max() > 8


def test_the_lowest_rate_that_explains_all_lines():
    both = np.concatenate([lines(30), lines(60), lines(90)])
    evidence, _ = comb_evidence(both, BIN_HZ, COMB)
    found = [COMB.rates_hz[follow(evidence[i : i + 1], COMB)[0]] for i in range(3)]
    assert found == pytest.approx([30, 60, 90], abs=0.5)


def test_a_rate_is_followed_past_frames_that_look_like_half_of_it():
    rates_hz = [60, 66, 72, 80, 88, 80]
    frames = np.concatenate([lines(rate) for rate in rates_hz])
    frames[2] = lines(36, numbers=[2, 4, 6, 8, 10])[0] + lines(36, height_db=5.0, numbers=[1, 3])[0]
    evidence, _ = comb_evidence(frames, BIN_HZ, COMB)
    assert COMB.rates_hz[follow(evidence, COMB)] == pytest.approx(rates_hz, abs=0.6)
    # no engine goes from 40 to 200 Hz within half a second
    leap = np.concatenate([lines(40), lines(40), lines(200, 5.0), lines(41)])
    evidence, _ = comb_evidence(leap, BIN_HZ, COMB)
    assert (COMB.rates_hz[follow(evidence, COMB)] < 80).all()
