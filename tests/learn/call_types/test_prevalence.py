from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.special import expit, logit
from scipy.stats import norm

from calltag.learn.call_types.prevalence import least_prevalence, prevalence, rarer

IN_TRIALS = 10 / 11
MANY = 1e6  # examples, by which all calls are seen


def as_trials_have_it(values: np.ndarray, *, apart: float) -> np.ndarray:
    """How sure a judge is by one value, which is normal about `apart` for types, and about 0."""
    odds = norm.logpdf(values, apart) - norm.logpdf(values)
    return expit(odds + logit(IN_TRIALS))


@pytest.mark.parametrize("share", [0.05, 0.2, 0.5, 0.8])
@pytest.mark.parametrize("apart", [2.0, 4.0])
def test_the_share_is_the_one_most_likely_to_give_such_finds(rng, share, apart) -> None:
    """Expectation maximisation ends where the likelihood is highest: found otherwise, by search."""
    of_types = rng.uniform(size=20_000) < share
    values = rng.standard_normal(20_000) + apart * of_types
    found = prevalence(as_trials_have_it(values, apart=apart), in_trials=IN_TRIALS, per_type=MANY)

    def against(part: float) -> float:
        return -np.log(part * norm.pdf(values, apart) + (1 - part) * norm.pdf(values)).sum()

    best = minimize_scalar(against, bounds=(1e-4, 1 - 1e-4), method="bounded").x
    assert found == pytest.approx(best, abs=0.003)
    assert found == pytest.approx(share, abs=0.03)


def test_what_is_said_reckons_with_that_share(rng) -> None:
    """With it, finds are right as often as they say; as trials have it, they are far too sure."""
    of_types = rng.uniform(size=50_000) < 0.1
    values = rng.standard_normal(50_000) + 2.0 * of_types
    sure = as_trials_have_it(values, apart=2.0)
    share = prevalence(sure, in_trials=IN_TRIALS, per_type=MANY)
    among = expit(logit(sure) + rarer(share, in_trials=IN_TRIALS))
    for low, high in ((0.1, 0.3), (0.3, 0.6), (0.6, 0.9)):
        these = (among >= low) & (among < high)
        assert among[these].mean() == pytest.approx(of_types[these].mean(), abs=0.05)
    assert sure.mean() > 4 * of_types.mean()


def test_few_finds_say_little() -> None:
    """Of one find without a label, nothing follows for the next."""
    shares = [prevalence(np.zeros(n), in_trials=IN_TRIALS, per_type=MANY) for n in (0, 1, 20, 2000)]
    assert shares[0] == pytest.approx(IN_TRIALS)
    assert shares[1] == pytest.approx(IN_TRIALS * 20 / 21, abs=0.001)
    assert shares[2] == pytest.approx(IN_TRIALS / 2, abs=0.001)
    assert 0 < shares[3] < 0.02


def test_the_fewer_examples_the_more_calls_go_unseen() -> None:
    sure = np.repeat([1.0, 0.0], [1000, 9000])
    shares = [prevalence(sure, in_trials=IN_TRIALS, per_type=n) for n in (MANY, 15, 5, 2)]
    assert shares == sorted(shares)
    assert shares[2] == pytest.approx(1.7 * shares[0], rel=0.001)
    assert prevalence(np.ones(1000), in_trials=IN_TRIALS, per_type=2) == IN_TRIALS


def test_types_are_never_taken_to_be_more_common_than_in_trials() -> None:
    assert rarer(0.95, in_trials=IN_TRIALS) == 0
    assert rarer(0.5, in_trials=IN_TRIALS) == pytest.approx(-np.log(10))


def test_nine_of_ten_labelled_sounds_keep_their_names(rng) -> None:
    sure = rng.uniform(0.75, 0.999, 1001)
    share = least_prevalence(sure, 0.7, in_trials=IN_TRIALS)
    among = expit(logit(sure) + rarer(share, in_trials=IN_TRIALS))
    assert np.mean(among >= 0.7) == pytest.approx(0.9, abs=0.002)
    unsure = least_prevalence(np.full(9, 0.6), 0.7, in_trials=IN_TRIALS)
    nothing = least_prevalence(np.zeros(0), 0.7, in_trials=IN_TRIALS)
    assert unsure == nothing == IN_TRIALS
