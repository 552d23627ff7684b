"""The background to expect: librosa's filter by likeness, and noise that comes again."""

from __future__ import annotations

import librosa
import numpy as np
import pytest

from calltag.arrays import FloatArray
from calltag.sound.background import ALIKE, APART_S, EVERY, MOMENT_FRAMES, background
from calltag.sound.spectrum import FRAMES_PER_S, N_MELS, RATE_HZ, mel_power, power_spectrum, to_db

MINUTE = 60 * FRAMES_PER_S // MOMENT_FRAMES
APART = round(APART_S * FRAMES_PER_S / MOMENT_FRAMES)


def expected(moments_db: FloatArray) -> FloatArray:
    return background(moments_db).expected_db


@pytest.mark.field
def test_it_is_what_librosa_makes_of_likest_moments(librosa_example) -> None:
    """`decompose.nn_filter` and `segment.recurrence_matrix` of librosa, on a real recording."""
    path = librosa_example("glacier-bay-humpback.ogg")
    samples = librosa.load(path, sr=RATE_HZ, duration=40)[0]
    level_db = to_db(mel_power(power_spectrum(samples)))
    n = len(level_db) // MOMENT_FRAMES
    moments_db = level_db[: n * MOMENT_FRAMES].reshape(n, MOMENT_FRAMES, N_MELS).mean(axis=1)
    own = np.sort(moments_db, axis=1)[:, N_MELS // 2, None] / 2
    colours = moments_db - own
    scaled = (colours - colours.mean(axis=0)) / np.sqrt(colours.std(axis=0) + 1)
    even = colours[::EVERY]
    likeness = librosa.segment.recurrence_matrix(
        scaled[::EVERY].T,
        k=ALIKE,
        width=APART // EVERY + 1,
        mode="distance",  # in the mode of connections it does not keep the nearest
        sparse=True,
    )
    theirs = librosa.decompose.nn_filter(even.T, rec=likeness).T + own[::EVERY]
    np.testing.assert_allclose(expected(moments_db)[::EVERY], theirs, atol=0.02)


def test_a_motor_that_revs_is_expected_and_a_call_over_it_is_not(motor_db) -> None:
    """What is usual over time knows neither."""
    rng = np.random.default_rng(1)
    moments_db = motor_db(rng, MINUTE, every=20) + rng.normal(0, 1, (MINUTE, N_MELS))
    moments_db = moments_db.astype(np.float32)
    alone_db = moments_db.copy()
    moments_db[300:305, 40:46] = -35.0
    level_db = expected(moments_db)
    assert np.abs(level_db - alone_db).mean() < 2.5
    assert np.abs(np.median(moments_db, axis=0) - alone_db).mean() > 8
    over_db = (moments_db - level_db)[300:305]
    assert over_db[:, 40:46].mean() > 15
    assert np.abs(np.delete(over_db, np.s_[40:46], axis=1)).mean() < 4


def test_a_call_that_comes_once_is_not_what_is_expected_of_itself() -> None:
    """A call as long as `APART_S` finds no likeness within itself."""
    moments_db = np.full((MINUTE, N_MELS), -70, np.float32)
    moments_db[300 : 300 + APART, 20:30] = -30
    np.testing.assert_allclose(expected(moments_db), -70, atol=1e-3)


def test_noise_that_is_louder_once_is_half_expected() -> None:
    rng = np.random.default_rng(2)
    moments_db = np.asarray(-60 + rng.normal(0, 1, (MINUTE, N_MELS)), np.float32)
    moments_db[300 : 300 + APART] += 6
    level_db = expected(moments_db)
    assert level_db[300 : 300 + APART].mean() == pytest.approx(-57, abs=0.5)
    assert level_db[:280].mean() == pytest.approx(-60, abs=0.3)


@pytest.mark.parametrize("n", [21, 40, 200, 780])
def test_the_likest_are_others_and_not_near(n: int) -> None:
    moments_db = np.random.default_rng(3).normal(-60, 5, (n, N_MELS)).astype(np.float32)
    alike = background(moments_db).alike
    count = min(ALIKE, -(-n // EVERY) // 4)
    np.testing.assert_allclose(alike.sum(axis=1), 1, rtol=1e-5)
    np.testing.assert_array_equal(np.count_nonzero(alike, axis=1), count)
    one, other = np.nonzero(alike)
    assert (np.abs(one - EVERY * other) > APART).all()


@pytest.mark.parametrize("n", [1, 2, 20])
def test_too_few_to_choose_from_are_all_alike(n: int) -> None:
    moments_db = np.full((n, N_MELS), -60, np.float32)
    moments_db[0] = -50
    n_others = -(-n // EVERY)
    found = background(moments_db)
    np.testing.assert_array_equal(found.alike, np.full((n, n_others), 1 / n_others, np.float32))
    np.testing.assert_allclose(found.expected_db[1:], -60 + 5 / n_others, atol=1e-3)


def test_silence_is_expected_where_there_is_silence() -> None:
    silence = np.full((MINUTE, N_MELS), -120, np.float32)
    level_db = expected(silence)
    assert level_db.dtype == np.float32
    np.testing.assert_allclose(level_db, silence, atol=1e-3)
