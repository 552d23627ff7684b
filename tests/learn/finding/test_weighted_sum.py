"""How evidence counts in a weighted sum, when it is asked and when it is learnt from."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from calltag.learn.finding.hands import HAND_EVIDENCE, Hands
from calltag.learn.finding.talk import Talk
from calltag.learn.finding.weighted_sum import standardised
from calltag.learn.invented_takes.weighing import learn


def test_evidence_counts_up_to_four_standard_deviations() -> None:
    rows = np.array([[1.0, 12.0], [9.1, -99.0]])
    assert standardised(rows, [1.0, 10.0], [2.0, 1.0]).tolist() == [[0.0, 2.0], [4.0, -4.0]]


@pytest.mark.parametrize("kind", [Talk, Hands])
def test_what_no_lesson_was_like_is_no_surer(kind) -> None:
    n = len(kind.asked)
    one = kind(kind.asked, (1.0,) * n, (2.0,) * n, (0.5,) + (0.0,) * (n - 1), 0.0, {})
    told = [one.probability_of(np.r_[first, np.ones(n - 1)]) for first in (8.9, 9.0, 900.0)]
    assert told[0] < told[1] == told[2]
    assert told[1] == pytest.approx(1 / (1 + np.exp(kind.rarer - 2)))


@pytest.mark.parametrize("weighed", [False, True])
def test_it_is_learnt_as_it_is_asked(weighed) -> None:
    """Among 300 lessons a few lie forty standard deviations off; each is asked as it was learnt."""
    rng = np.random.default_rng(3)
    rows = rng.normal(5, 3, (300, len(HAND_EVIDENCE)))
    so = rows[:, 2] + rng.normal(0, 3, 300) > 5
    rows[:4, 2] += 400 * np.where(so[:4], -1, 1)
    weights = rng.uniform(0.1, 2, 300) if weighed else None
    sum_ = learn(
        Hands, rows, so.tolist(), weights, regularised=0.1, lessons={"hands": 1, "calls": 2}
    )
    assert sum_.usual == pytest.approx(rows.mean(axis=0))
    assert sum_.spread == pytest.approx(rows.std(axis=0))
    assert sum_.lessons == {"hands": 1, "calls": 2}
    near = np.clip((rows - rows.mean(axis=0)) / rows.std(axis=0), -4, 4)
    other = LogisticRegression(C=0.1, max_iter=3000).fit(near, so, sample_weight=weights)
    odds = other.decision_function(near) - Hands.rarer
    told = [sum_.probability_of(row) for row in rows]
    assert told == pytest.approx(1 / (1 + np.exp(-odds)), abs=1e-4)
