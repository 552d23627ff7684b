from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.call_types.out_of_fold import ONE_BY_ONE, out_of_fold, parts_of, strangers


@pytest.mark.parametrize("n_takes", [3, ONE_BY_ONE, 37])
def test_no_take_is_split_and_labels_are_spread(rng, n_takes: int) -> None:
    groups = np.array([f"{i}" for i in rng.integers(n_takes, size=300)])
    labels = rng.choice(["a", "b", "c"], size=300, p=[0.7, 0.25, 0.05])
    parts = parts_of(labels, groups)
    assert len(np.unique(parts)) == min(len(np.unique(groups)), ONE_BY_ONE)
    for group in np.unique(groups):
        assert len(np.unique(parts[groups == group])) == 1
    if n_takes > ONE_BY_ONE:
        for label in "abc":
            share = np.bincount(parts[labels == label], minlength=ONE_BY_ONE)
            assert share.max() / share.sum() < 0.35


def test_a_label_in_two_takes_is_never_left_out_whole() -> None:
    groups = np.repeat([f"{i:02}" for i in range(40)], 5)
    labels = np.array(["common"] * 200, dtype="<U8")
    labels[[7, 150]] = "rare"
    for seed in range(10):
        parts = parts_of(labels, groups, seed=seed)
        assert parts[7] != parts[150]


def test_examples_are_judged_without_their_takes(rng) -> None:
    """Sounds that only their take tells apart: known if takes are split, not if they are left out.

    Source of the figures: with features that say nothing but the group, shuffled folds are right
    on all and grouped ones on half of them (common practice; computed with scikit-learn).
    """
    takes = np.repeat(np.arange(24), 8)
    labels = np.array(["pit rail: rasp", "marsh hooter: boom"])[takes % 2]
    places = rng.normal(0, 5, (24, 30))
    features = places[takes] + rng.normal(0, 0.1, (len(takes), 30))
    single = np.array([f"{i}" for i in range(len(takes))])
    split = out_of_fold(features, labels, single)
    whole = out_of_fold(features, labels, takes.astype(str))
    assert (split.opinion.everything.best == labels).all()
    assert (whole.opinion.everything.best == labels).mean() < 0.75


def test_what_only_one_take_holds_is_not_checked(sounds) -> None:
    taught = sounds.examples(takes=3, types=("machine", "pit rail: rasp"))
    lone = [example for example in sounds.examples(takes=1) if example.label[0] == "m"]
    features, labels, groups = sounds.arrays(taught + lone)
    known = out_of_fold(features, labels, groups)
    assert set(labels[~known.checked]) == {"marsh hooter: boom"}
    assert (known.opinion.everything.best == labels)[known.checked].mean() > 0.9
    assert not out_of_fold(features, labels, np.full(len(labels), "A")).checked.any()


def test_strangers_are_unlike_what_is_known(sounds) -> None:
    features, labels, groups = sounds.arrays(sounds.examples())
    known, unknown = out_of_fold(features, labels, groups), strangers(features, labels)
    foreign = unknown.opinion.everything.evidence
    assert (
        np.median(known.opinion.everything.evidence.likeness) > np.median(foreign.likeness) + 0.15
    )
    assert np.median(known.opinion.everything.evidence.top) > np.median(foreign.top)
    assert list(unknown.of) == list(range(len(labels)))


def test_two_labels_leave_no_strangers(sounds) -> None:
    features, labels, _ = sounds.arrays(sounds.examples(types=("machine", "no call")))
    unknown = strangers(features, labels)
    assert len(unknown.of) == 0
    assert unknown.opinion.types is None


def test_where_one_call_type_is_left_those_who_know_all_labels_speak_for_it(sounds) -> None:
    features, labels, groups = sounds.arrays(
        sounds.examples(types=("machine", "pit rail: rasp"), takes=4, each=3)
        + sounds.examples(types=("marsh hooter: boom",), takes=1, each=3)
    )
    known, unknown = out_of_fold(features, labels, groups), strangers(features, labels)
    assert known.opinion.types is not None
    assert unknown.opinion.types is not None
    assert len(unknown.of) == len(labels), "two labels are left to learn"
    for opinion, labelled in (
        (known.opinion, groups == "A000.MOV"),
        (unknown.opinion, labels[unknown.of] == "pit rail: rasp"),
    ):
        said = opinion.of(labelled)
        assert said.types is not None
        assert list(said.types.best) == list(said.everything.best)
        assert list(said.types.evidence.top) == list(said.everything.evidence.top)
    apart = known.opinion.of((groups != "A000.MOV") & (labels == "machine"))
    assert apart.types is not None
    assert not np.isin("machine", apart.types.best)
    assert "machine" in apart.everything.best
