from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.linear_model import LogisticRegression

from calltag.learn.confidence import STRANGER_SHARE, THRESHOLDS, Confidence, calibration_error


def trials(rng: np.random.Generator, n: int, curve: tuple[float, float, float]):
    """Votes, likeness, and what came true by a known curve."""
    top, likeness = rng.uniform(0.2, 0.99, n), rng.uniform(-0.1, 0.9, n)
    right = rng.random(n) < Confidence(curve)(top, likeness)
    return top, likeness, right


@pytest.mark.parametrize("curve", [(-1.0, 1.5, 3.0), (-3.0, 0.6, 9.0)])
def test_curve_is_found_again_from_many_trials(rng, curve) -> None:
    top, likeness, right = trials(rng, 20_000, curve)
    fitted = Confidence.fit(top, likeness, right, np.ones(len(top)))
    assert fitted.curve == pytest.approx(curve, abs=0.2)
    fresh = trials(rng, 20_000, curve)
    assert calibration_error(fitted(*fresh[:2]), fresh[2]) < 0.015


def test_curve_of_many_trials_is_plain_logistic_regression(rng) -> None:
    top, likeness, right = trials(rng, 5000, (-2.0, 1.2, 5.0))
    library = LogisticRegression(C=1e9, tol=1e-8, max_iter=500)
    library.fit(np.column_stack([np.log(top / (1 - top)), likeness]), right)
    fitted = Confidence.fit(top, likeness, right, np.full(len(top), 1000.0))
    assert fitted.curve == pytest.approx((*library.intercept_, *library.coef_[0]), abs=0.02)


def test_few_trials_hardly_move_the_usual_curve() -> None:
    top, likeness = np.array([0.9, 0.8, 0.6]), np.array([0.5, 0.4, 0.3])
    fitted = Confidence.fit(top, likeness, np.ones(3, bool), np.ones(3))
    usual = Confidence()
    assert np.abs(fitted(top, likeness) - usual(top, likeness)).max() < 0.25
    assert (fitted(top, likeness) > usual(top, likeness)).all()
    assert Confidence.fit(np.zeros(0), np.zeros(0), np.zeros(0, bool), np.zeros(0)) == usual


@given(st.integers(0, 2**32 - 1), st.integers(1, 60))
def test_more_votes_or_likeness_never_make_a_label_less_sure(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    fitted = Confidence.fit(
        rng.uniform(0, 1, n), rng.uniform(-1, 1, n), rng.random(n) < 0.5, np.ones(n)
    )
    steps = np.linspace(0.01, 0.99, 30)
    assert (np.diff(fitted(steps, np.full(30, 0.4))) >= 0).all()
    assert (np.diff(fitted(np.full(30, 0.6), steps)) >= 0).all()
    assert fitted.threshold in THRESHOLDS


def test_threshold_rises_where_wrong_labels_are_sure() -> None:
    likeness = np.full(300, 0.5)
    top = np.concatenate([np.full(200, 0.97), np.full(100, 0.8)])
    weight = np.full(300, 1 + STRANGER_SHARE)
    all_right = Confidence.fit(top, likeness, np.ones(300, bool), weight)
    third_wrong = Confidence.fit(top, likeness, np.arange(300) < 200, weight)
    assert (all_right(top, likeness) >= all_right.threshold).all()
    given = third_wrong(top, likeness) >= third_wrong.threshold
    assert given[:200].all()
    assert not given[200:].any()


def test_calibration_error_by_hand() -> None:
    confidence = np.array([0.95, 0.95, 0.65, 0.65, 0.65, 0.65])
    right = np.array([True, False, True, True, True, False])
    # Bin 0.9-1.0: |0.95 - 0.5|, two of six; bin 0.6-0.7: |0.65 - 0.75|, four of six.
    assert calibration_error(confidence, right) == pytest.approx((2 * 0.45 + 4 * 0.10) / 6)
    assert calibration_error(np.array([1.0]), np.array([True])) == 0.0
    assert np.isnan(calibration_error(np.zeros(0), np.zeros(0, bool)))
