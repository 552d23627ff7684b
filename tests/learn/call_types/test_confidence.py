from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.linear_model import LogisticRegression

from calltag.learn.call_types.confidence import (
    STRANGER_SHARE,
    THRESHOLDS,
    Confidence,
    calibration_error,
)
from calltag.learn.call_types.judges import Evidence


def trials(rng: np.random.Generator, n: int, curve: tuple[float, float, float, float]):
    """Evidence, and what came true by a known curve."""
    evidence = Evidence(
        rng.uniform(0.2, 0.99, n), rng.uniform(-0.1, 0.9, n), rng.uniform(-12, 12, n)
    )
    return evidence, rng.random(n) < Confidence(curve)(evidence)


@pytest.mark.parametrize("curve", [(-1.0, 1.5, 3.0, 0.2), (-3.0, 0.6, 9.0, 0.05)])
def test_curve_is_found_again_from_many_trials(rng, curve) -> None:
    evidence, right = trials(rng, 200_000, curve)
    fitted = Confidence.fit(evidence, right, np.ones(len(right)))
    assert fitted.curve == pytest.approx(curve, abs=0.2)
    evidence, right = trials(rng, 20_000, curve)
    assert calibration_error(fitted(evidence), right) < 0.015


def test_curve_of_many_trials_is_plain_logistic_regression(rng) -> None:
    evidence, right = trials(rng, 5000, (-2.0, 1.2, 5.0, 0.1))
    top, likeness, kinship = evidence
    library = LogisticRegression(C=1e9, tol=1e-8, max_iter=500)
    library.fit(
        np.column_stack([np.log(top / (1 - top)), likeness, 15 * np.tanh(kinship / 15)]), right
    )
    fitted = Confidence.fit(evidence, right, np.full(len(top), 1000.0))
    assert fitted.curve == pytest.approx((*library.intercept_, *library.coef_[0]), abs=0.02)


def test_few_trials_hardly_move_the_usual_curve() -> None:
    three = Evidence(np.array([0.9, 0.8, 0.6]), np.array([0.5, 0.45, 0.4]), np.array([5.0, 4, 3]))
    fitted = Confidence.fit(three, np.ones(3, bool), np.ones(3))
    usual = Confidence()
    assert np.abs(fitted(three) - usual(three)).max() < 0.3
    assert (fitted(three) > usual(three)).all()
    assert Confidence.fit(Evidence(*np.zeros((3, 0))), np.zeros(0, bool), np.zeros(0)) == usual


@given(st.integers(0, 2**32 - 1), st.integers(1, 60))
def test_more_evidence_never_makes_a_label_less_sure(seed: int, n: int) -> None:
    rng = np.random.default_rng(seed)
    fitted = Confidence.fit(
        Evidence(rng.uniform(0, 1, n), rng.uniform(-1, 1, n), rng.uniform(-30, 30, n)),
        rng.random(n) < 0.5,
        np.ones(n),
    )
    level = Evidence(np.full(30, 0.6), np.full(30, 0.4), np.full(30, 2.0))
    for name, low, high in (("top", 0.01, 0.99), ("likeness", -1, 1), ("kinship", -40, 40)):
        rising = level._replace(**{name: np.linspace(low, high, 30)})
        assert (np.diff(fitted(rising)) >= 0).all()
    assert fitted.threshold in THRESHOLDS


def test_threshold_rises_where_wrong_labels_are_sure() -> None:
    top = np.concatenate([np.full(200, 0.97), np.full(100, 0.8)])
    evidence = Evidence(top, np.full(300, 0.5), np.full(300, 3.0))
    weight = np.full(300, 1 + STRANGER_SHARE)
    all_right = Confidence.fit(evidence, np.ones(300, bool), weight)
    third_wrong = Confidence.fit(evidence, np.arange(300) < 200, weight)
    assert (all_right(evidence) >= all_right.threshold).all()
    given = third_wrong(evidence) >= third_wrong.threshold
    assert given[:200].all()
    assert not given[200:].any()


def test_strangers_raise_the_threshold_beyond_what_their_weight_does_to_the_curve() -> None:
    """As many strangers as known sounds are reckoned with, however few were tried."""
    rng = np.random.default_rng(3)
    kinship = np.concatenate([rng.normal(9, 4, 200), rng.normal(0, 4, 200)])
    evidence = Evidence(np.full(400, 0.9), np.full(400, 0.5), kinship)
    right = np.arange(400) < 200
    weight = np.where(right, 1.0, STRANGER_SHARE)
    blind = Confidence.fit(evidence, right, weight)
    aware = Confidence.fit(evidence, right, weight, strange=~right)
    assert aware.curve == blind.curve
    assert aware.threshold > blind.threshold
    given = aware(evidence) >= aware.threshold
    assert given[200:].mean() < (blind(evidence) >= blind.threshold)[200:].mean()
    assert given[:200].mean() > 0.7


@pytest.mark.parametrize("n_strangers", [1, 5, 60])
@pytest.mark.parametrize(
    ("doubtful", "named"),
    [
        (60, True),  # F1 of all, 200 of 300, is above that of the clear ones alone, 80 of 140
        (30, False),  # 140 of 210 is below 80 of 110
    ],
)
def test_as_many_strangers_as_known_are_reckoned_with(n_strangers, doubtful, named) -> None:
    """However few were tried: here they are like the doubtful ones of the known."""
    clear = 40
    known = clear + doubtful
    kinship = np.repeat([12.0, 0.0], [clear, doubtful + n_strangers])
    evidence = Evidence(np.full(len(kinship), 0.9), np.full(len(kinship), 0.5), kinship)
    strange = np.arange(len(kinship)) >= known
    weight = np.where(strange, STRANGER_SHARE * known / n_strangers, 1.0)
    fitted = Confidence.fit(evidence, ~strange, weight, strange=strange)
    sure = fitted(evidence)
    assert sure[0] >= fitted.threshold
    assert (sure[-1] >= fitted.threshold) == named


def test_judges_of_all_examples_are_surer_and_name_the_same(rng) -> None:
    evidence, right = trials(rng, 500, (-2.0, 1.2, 5.0, 0.1))
    tried = Confidence.fit(evidence, right, np.ones(500))
    few, many = tried.of_all_examples(5), tried.of_all_examples(600)
    for surer in (few, many):
        assert (surer(evidence) > tried(evidence)).all()
        named = surer(evidence) >= surer.threshold
        assert (named == (tried(evidence) >= tried.threshold)).all()
    odds = [c(evidence) / (1 - c(evidence)) for c in (tried, few, many)]
    assert odds[1] / odds[0] == pytest.approx(np.full(500, np.exp(0.6)))
    assert odds[2] / odds[0] == pytest.approx(np.full(500, np.exp(0.01)))


def test_calibration_error_by_hand() -> None:
    confidence = np.array([0.95, 0.95, 0.65, 0.65, 0.65, 0.65])
    right = np.array([True, False, True, True, True, False])
    # Bin 0.9-1.0: |0.95 - 0.5|, two of six; bin 0.6-0.7: |0.65 - 0.75|, four of six.
    assert calibration_error(confidence, right) == pytest.approx((2 * 0.45 + 4 * 0.10) / 6)
    # One bin of ten, 0.1-0.2: |0.15 - 0.5|.
    edges = np.array([0.11, 0.19]), np.array([False, True])
    assert calibration_error(*edges) == pytest.approx(0.35)
    assert calibration_error(np.array([1.0]), np.array([True])) == 0.0
    assert np.isnan(calibration_error(np.zeros(0), np.zeros(0, bool)))
