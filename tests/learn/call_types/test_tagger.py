from __future__ import annotations

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.call_types.judges import Evidence
from calltag.learn.call_types.kinship import N_FEATURES
from calltag.learn.call_types.out_of_fold import OutOfFold, Strangers
from calltag.learn.call_types.panel import Opinion, Said
from calltag.learn.call_types.series import heard_together
from calltag.learn.call_types.tagger import Tagger
from calltag.learn.call_types.teach import teach
from calltag.learn.call_types.trust import fit_trust
from calltag.records.label import CALL


def test_finds_get_the_label_that_was_taught(taught, sounds) -> None:
    for label in sounds.types:
        tags = taught.tagger.tag(sounds.rows(label, 50, take=60))
        named = [tag for tag in tags if tag.label != CALL]
        assert np.mean([tag.label == label for tag in named]) > 0.95
        assert len(named) > 40
        assert all(taught.tagger.trust.everything.threshold <= tag.confidence <= 1 for tag in named)


def test_finds_of_one_take_tell_each_other_what_they_are(sounds) -> None:
    def as_measured(rows: np.ndarray) -> np.ndarray:
        return np.pad(rows, ((0, 0), (0, N_FEATURES - sounds.n_features)))

    examples = [
        one._replace(features=as_measured(one.features[None])[0]) for one in sounds.examples()
    ]
    tagger = teach(examples).tagger
    heard = as_measured(sounds.rows(sounds.types[3], 8, take=60, spread=2.0))
    takes = np.array(["A.mov", "B.mov"] * 4)
    alone, told = tagger.verdict(heard), tagger.verdict(heard, takes)
    known = tagger.panel.kin.known
    label, sure, told_any = heard_together(known, heard, takes, alone.label, alone.sure)
    assert told.label.tolist() == label.tolist()
    assert told.sure == pytest.approx(tagger.trust.told(label, sure, told_any).sure)
    rare = Tagger(tagger.panel, tagger.trust.among(0.1))
    assert rare.verdict(heard, np.arange(8)).sure == pytest.approx(rare.verdict(heard).sure)
    assert (rare.verdict(heard, takes).sure < told.sure).all()
    assert not np.allclose(told.sure, alone.sure, atol=0.01)
    tags = tagger.tag(heard, takes)
    assert [tag.confidence for tag in tags if tag.label != CALL] == list(told.sure[told.given])
    by_itself = tagger.verdict(heard, np.arange(8))
    assert by_itself.sure.tolist() == alone.sure.tolist()
    assert by_itself.given.tolist() == alone.given.tolist()
    one_apart = tagger.verdict(heard, np.array(["A.mov"] * 7 + ["B.mov"]))
    assert one_apart.sure[7] == alone.sure[7]
    assert (one_apart.sure[:7] != alone.sure[:7]).any()


def test_strangers_stay_unknown(taught, sounds) -> None:
    tags = taught.tagger.tag(sounds.rows("reed otter: whistle", 100, take=60))
    assert np.mean([tag.label == CALL for tag in tags]) > 0.8
    far = np.full((1, sounds.n_features), 40.0, np.float32)
    assert taught.tagger.tag(far)[0].label == CALL


def test_confidence_comes_true(sounds) -> None:
    """Of sounds from unheard takes, as many are named rightly as the confidences say."""
    # Spread so wide that labels overlap; the tagger must know that it does not know.
    tagger = teach(sounds.examples(takes=8, each=5, spread=2.6)).tagger
    sure, right = [], []
    for label in sounds.types:
        heard = np.concatenate([sounds.rows(label, 20, take=t, spread=2.6) for t in range(50, 60)])
        verdict = tagger.verdict(heard)
        sure.append(verdict.sure)
        right.append(verdict.label == label)
    sure, right = np.concatenate(sure), np.concatenate(right)
    assert 0.4 < right.mean() < 0.95
    assert sure.mean() == pytest.approx(right.mean(), abs=0.1)
    surest = np.argsort(sure, kind="stable")
    third = len(sure) // 3
    assert right[surest[-third:]].mean() > right[surest[:third]].mean() + 0.2


def test_five_of_a_type_help(sounds) -> None:
    tagger = teach(sounds.examples(takes=5, each=1)).tagger
    tags = [tagger.tag(sounds.rows(label, 40, take=70)) for label in sounds.types]
    named = [
        (tag.label, label)
        for label, group in zip(sounds.types, tags, strict=True)
        for tag in group
        if tag.label != CALL
    ]
    assert len(named) > 0.6 * 160
    assert np.mean([given == label for given, label in named]) > 0.9


def test_an_unnamed_find_says_how_likely_it_is_no_noise(taught, sounds) -> None:
    threshold = taught.tagger.trust.everything.threshold
    between = (sounds.rows("machine", 200) + sounds.rows("pit rail: rasp", 200)) / 2
    unnamed = [tag for tag in taught.tagger.tag(between) if tag.label == CALL]
    assert unnamed
    assert min(tag.confidence for tag in unnamed) < threshold < 1
    animals = sounds.examples(types=("pit rail: rasp", "marsh hooter: boom"))
    tagger = teach(animals).tagger
    unnamed = [tag for tag in tagger.tag(between) if tag.label == CALL]
    assert {round(tag.confidence, 6) for tag in unnamed} == {1.0}


def test_a_single_stranger_is_a_stranger() -> None:
    """Of the examples, what the judges did not know from other groups says nothing."""
    boom, tick = "marsh hooter: boom", "pit rail: tick"
    kinship = np.repeat([12.0, 0.0, -12.0], [40, 30, 10])
    evidence = Evidence(np.full(80, 0.9), np.full(80, 0.5), kinship)
    known = OutOfFold(
        labels=np.repeat([boom, tick], [70, 10]),
        opinion=Opinion(Said(np.full(80, boom), evidence), None, np.ones(80)),
        parts=np.zeros(80, int),
        checked=np.arange(80) < 70,
        believed=np.ones(80, bool),
    )
    same = Evidence(*(np.array([one]) for one in (0.9, 0.5, 0.0)))
    stranger = Strangers(Opinion(Said(np.array([boom]), same), None, np.ones(1)), np.array([0]))
    fitted = fit_trust(known, stranger, np.ones(80, bool)).everything
    sure = fitted(evidence)
    assert sure[0] >= fitted.threshold > sure[40]  # 80 of 110 are better than 140 of 210
    alone = fit_trust(known, stranger, np.arange(80) > 0).everything
    assert alone.threshold <= alone(evidence)[40]


def test_the_same_examples_give_the_same_tagger(sounds) -> None:
    examples = sounds.examples(takes=12, each=2)
    heard = sounds.rows("machine", 10)
    first, second = (teach(examples).tagger.tag(heard) for _ in range(2))
    assert first == second


def test_one_take_is_enough_to_teach(sounds) -> None:
    tagger = teach(sounds.examples(takes=1, each=6)).tagger
    assert tagger.classes == tuple(sorted(sounds.types))
    labels = {tag.label for tag in tagger.tag(sounds.rows("machine", 20))}
    assert labels <= {"machine", CALL}


def test_rows_of_another_length_are_refused(taught) -> None:
    with pytest.raises(InputError, match=r"shape \(3, 39\) do not fit a model of 40"):
        taught.tagger.tag(np.zeros((3, 39), np.float32))
    assert taught.tagger.tag(np.zeros((0, 40), np.float32)) == []
