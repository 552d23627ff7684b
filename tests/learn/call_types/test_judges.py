from __future__ import annotations

import numpy as np
import pytest
from scipy.special import softmax
from sklearn.discriminant_analysis import LinearDiscriminantAnalysis
from sklearn.feature_selection import f_classif
from sklearn.svm import SVC

from calltag.learn.call_types.judges import CUT, Judges


def test_judges_know_sounds_of_other_takes(sounds) -> None:
    features, labels, _ = sounds.arrays(sounds.examples(takes=4, each=5))
    judges = Judges.fit(features, labels)
    for label in sounds.types:
        votes, likeness, _ = judges.judge(sounds.rows(label, 50, take=77))
        assert (judges.classes[votes.argmax(axis=1)] == label).mean() > 0.95
        assert votes.sum(axis=1) == pytest.approx(np.ones(50))
        assert np.abs(likeness).max() <= 1 + 1e-9


def test_two_labels_are_judged_as_well_as_more(sounds) -> None:
    types = ("no call", "pit rail: rasp")
    features, labels, _ = sounds.arrays(sounds.examples(types=types, takes=3, each=4))
    judges = Judges.fit(features, labels)
    for label in types:
        best = judges.judge(sounds.rows(label, 40, take=50)).votes.argmax(axis=1)
        assert (judges.classes[best] == label).mean() > 0.95


def test_a_sound_unlike_all_examples_has_a_low_likeness(sounds) -> None:
    features, labels, _ = sounds.arrays(sounds.examples())
    judges = Judges.fit(features, labels)
    own = judges.judge(sounds.rows("machine", 60, take=8)).likeness
    other = judges.judge(sounds.rows("reed otter: whistle", 60, take=8)).likeness
    assert np.median(own) > np.median(other) + 0.15
    assert judges.judge(features).likeness == pytest.approx(np.ones(len(features)))


def test_scale_and_offset_of_a_feature_do_not_matter(sounds, rng) -> None:
    features, labels, _ = sounds.arrays(sounds.examples(takes=3))
    scale, offset = rng.uniform(0.01, 100, 40), rng.normal(0, 1000, 40)
    heard = sounds.rows("machine", 20, take=6)
    plain = Judges.fit(features, labels).judge(heard)
    moved = Judges.fit(features * scale + offset, labels).judge(heard * scale + offset)
    assert moved.votes == pytest.approx(plain.votes, abs=1e-3)


def test_features_are_worth_what_an_analysis_of_variance_says(sounds) -> None:
    """1 - 1/F, with F by scikit-learn's f_classif."""
    features, labels, _ = sounds.arrays(sounds.examples(takes=3))
    judges = Judges.fit(features, labels)
    scaled = np.clip((features - judges.mean) / judges.scale, -CUT, CUT)
    ratio, _ = f_classif(scaled, labels)
    assert judges.weight == pytest.approx(1 - 1 / np.maximum(ratio, 1), abs=1e-9)


@pytest.mark.parametrize("values", [(1.0, 2.0), (1 / 3, 1 / 7), (1.3e3, -8.1)])
def test_what_is_the_same_for_all_of_a_label_parts_labels_best(rng, values) -> None:
    """With few labels it happens; no warning is told, and such a feature counts whole."""
    labels = np.repeat(["marsh hooter: boom", "pit rail: rasp"], 3)
    features = rng.normal(size=(6, 10))
    features[:, 4] = np.repeat(values, 3)
    judges = Judges.fit(features, labels)
    assert judges.weight[4] == pytest.approx(1)
    judgement = judges.judge(features)
    assert np.isfinite(judgement.votes).all()
    assert (judges.classes[judgement.votes.argmax(axis=1)] == labels).all()


@pytest.mark.parametrize("each", [1, 3])
def test_labels_without_any_spread_are_judged_all_the_same(sounds, each: int) -> None:
    """One example of each, as where a trial leaves a take out, or the same again and again."""
    labels = np.array(["machine", "pit rail: rasp"])
    one = np.concatenate([sounds.rows(label, 1, take=3) for label in labels])
    judges = Judges.fit(np.repeat(one, each, axis=0), np.repeat(labels, each))
    for label in labels:
        judgement = judges.judge(sounds.rows(label, 40, take=5))
        assert np.isfinite(judgement.votes).all()
        assert np.abs(judgement.likeness).max() <= 1 + 1e-9
        assert (judges.classes[judgement.votes.argmax(axis=1)] == label).mean() > 0.8


def test_constant_and_wild_features_do_no_harm(sounds) -> None:
    features, labels, _ = sounds.arrays(sounds.examples(takes=3))
    features = np.column_stack([features, np.full(len(features), 7.0)])
    judges = Judges.fit(features, labels)
    heard = np.column_stack([sounds.rows("machine", 30, take=6), np.full(30, 7.0)])
    heard[:, -1] = 1e6
    heard[:, 0] = np.nan
    heard[:, 1] = 1e9
    votes = judges.judge(heard).votes
    assert np.isfinite(votes).all()
    assert (judges.classes[votes.argmax(axis=1)] == "machine").mean() > 0.9


def test_support_vectors_decide_as_the_library_does(sounds) -> None:
    """What is stored of each machine is enough to decide as scikit-learn's own object would."""
    features, labels, _ = sounds.arrays(sounds.examples(takes=3, spread=2.0))
    judges = Judges.fit(features, labels)
    weighted = np.clip((features - judges.mean) / judges.scale, -CUT, CUT) * judges.weight
    heard = sounds.rows("machine", 25, take=6, spread=2.0)
    heard = np.clip((heard - judges.mean) / judges.scale, -CUT, CUT) * judges.weight
    for code, label in enumerate(judges.classes):
        library = SVC(C=5.0, gamma=judges.gamma, class_weight="balanced")
        library.fit(weighted, labels == label)
        squared = ((heard[:, None, :] - judges.vectors) ** 2).sum(axis=2)
        ours = np.exp(-judges.gamma * squared) @ judges.alphas[:, code] + judges.biases[code]
        assert ours == pytest.approx(library.decision_function(heard), abs=1e-9)


def test_distances_are_those_of_discriminant_analysis(sounds) -> None:
    """Given the same covariance, scikit-learn's discriminant analysis gives the same shares."""
    features, labels, _ = sounds.arrays(sounds.examples(takes=3))
    judges = Judges.fit(features, labels)
    scaled = np.clip((features - judges.mean) / judges.scale, -CUT, CUT)
    within = np.linalg.inv(judges.whitening @ judges.whitening.T)

    class Given:
        """A covariance estimator that returns the judges' own."""

        def fit(self, _):
            self.covariance_ = within
            return self

        def get_params(self, **_):
            return {}

    n = len(judges.classes)
    library = LinearDiscriminantAnalysis(
        solver="lsqr", covariance_estimator=Given(), priors=np.full(n, 1 / n)
    ).fit(scaled, labels)
    white = scaled @ judges.whitening
    squared = ((white[:, None, :] - judges.centres) ** 2).sum(axis=2)
    assert softmax(-squared / 2, axis=1) == pytest.approx(library.predict_proba(scaled), abs=1e-6)
