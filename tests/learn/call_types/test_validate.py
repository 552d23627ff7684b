from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import accuracy_score, balanced_accuracy_score, confusion_matrix, f1_score

from calltag.learn.call_types.judges import Evidence
from calltag.learn.call_types.out_of_fold import OutOfFold, Strangers, out_of_fold, strangers
from calltag.learn.call_types.panel import Opinion, Said
from calltag.learn.call_types.validate import Validation, validate
from calltag.learn.scoring.intervals import bootstrap, wilson

NOBODY = Said(np.zeros(0, "U1"), Evidence(*np.zeros((3, 0))))
NO_STRANGERS = Strangers(Opinion(NOBODY, None, np.zeros(0)), np.zeros(0, np.intp))


def judged(true: str, taken: str, *, groups: str) -> Validation:
    """Validation of examples whose labels, and what they were taken for, are single letters."""
    _, parts = np.unique(list(groups), return_inverse=True)
    n = len(true)
    said = Said(np.array(list(taken)), Evidence(np.full(n, 0.9), np.full(n, 0.6), np.full(n, 3.0)))
    known = OutOfFold(
        np.array(list(true)), Opinion(said, None, np.ones(n)), parts, *np.ones((2, n), bool)
    )
    return validate(known, NO_STRANGERS, np.array(list(groups)))


TRUE = "aaaaaabbbbbbcccc"
TAKEN = "aaaaababbbabcccc"
GROUPS = "1122331122331122"


def test_figures_are_those_of_scikit_learn() -> None:
    got = judged(TRUE, TAKEN, groups=GROUPS)
    true, taken = list(TRUE), list(TAKEN)
    assert got.accuracy == accuracy_score(true, taken) == 13 / 16
    assert got.accuracy_interval == wilson(13, 16)
    assert got.balanced_accuracy == pytest.approx(balanced_accuracy_score(true, taken))
    assert got.macro_f1 == pytest.approx(f1_score(true, taken, average="macro"))
    assert got.confusion == tuple(map(tuple, confusion_matrix(true, taken)))
    assert [(f.label, f.n, f.groups, f.right) for f in got.by_label] == [
        ("a", 6, 3, 5),
        ("b", 6, 3, 4),
        ("c", 4, 2, 4),
    ]


def test_confused_pairs_and_wrong_labels_are_named() -> None:
    got = judged(TRUE, TAKEN, groups=GROUPS)
    assert [(pair.one, pair.other, pair.times, pair.of) for pair in got.confused] == [
        ("a", "b", 3, 12)
    ]
    assert sorted((doubt.index, doubt.label, doubt.suggestion) for doubt in got.doubts) == [
        (5, "a", "b"),
        (6, "b", "a"),
        (10, "b", "a"),
    ]
    assert judged(TRUE, TRUE, groups=GROUPS).confused == ()
    two = judged("aaaaabbbbbccccddddd", "aabaabbbbacccddddcc", groups="1122211222112211222")
    assert [(pair.one, pair.other, pair.times, pair.of) for pair in two.confused] == [
        ("c", "d", 3, 9),
        ("a", "b", 2, 10),
    ]
    assert [warning[:20] for warning in two.warnings] == [
        "`c` has 4 examples; ",
        "No label that was le",
    ]
    # Judges that are wrong most of the time are in no position to doubt.
    assert judged("ab" * 20, "ba" * 18 + "abab", groups="12345" * 8).doubts == ()


def test_a_wrong_label_is_found(sounds) -> None:
    examples = sounds.examples(takes=6, each=4)
    wrong = [7, 30, 55]
    for i in wrong:
        others = [label for label in sounds.types if label != examples[i].label]
        examples[i] = examples[i]._replace(label=others[i % 3])
    features, labels, groups = sounds.arrays(examples)
    got = validate(out_of_fold(features, labels, groups), strangers(features, labels), groups)
    found = {doubt.index for doubt in got.doubts}
    assert len(found & set(wrong)) >= 2
    assert len(found - set(wrong)) <= 1
    for doubt in got.doubts:
        assert doubt.label == labels[doubt.index] != doubt.suggestion


def test_what_could_not_be_checked_is_in_no_figure(sounds) -> None:
    common = sounds.examples(types=("machine", "pit rail: rasp"), takes=4, each=3)
    lone = sounds.examples(types=("marsh hooter: boom",), takes=1, each=3)
    features, labels, groups = sounds.arrays(common + lone)
    got = validate(out_of_fold(features, labels, groups), strangers(features, labels), groups)
    assert (got.n, got.checked) == (27, 24)
    assert got.accuracy == got.right / 24
    hooter = next(f for f in got.by_label if f.label == "marsh hooter: boom")
    assert (hooter.n, hooter.checked, hooter.groups) == (3, 0, 1)
    assert "`marsh hooter: boom` is labelled in one take only" in got.warnings[0]
    assert "`marsh hooter: boom` has 3 examples" in got.warnings[1]
    assert len(got.warnings) == 2, "a noise is labelled"


def test_labels_of_one_take_give_no_figures(sounds) -> None:
    features, labels, groups = sounds.arrays(sounds.examples(takes=1, each=6))
    got = validate(out_of_fold(features, labels, groups), strangers(features, labels), groups)
    assert got.checked == got.right == got.named == 0
    assert np.isnan([got.accuracy, got.macro_f1, got.balanced_accuracy]).all()
    assert np.isnan([got.calibration_error, got.accuracy_interval.low]).all()
    assert got.warnings[0] == (
        "All labels are of one take, so there is no telling how well they are known in another."
    )


def test_twins_in_spelling_are_warned_of(sounds) -> None:
    examples = sounds.examples(takes=3, each=5)
    examples = [
        e._replace(label="Pit rail - rasp") if i % 5 == 0 and e.label.startswith("pit") else e
        for i, e in enumerate(examples)
    ]
    features, labels, groups = sounds.arrays(examples)
    got = validate(out_of_fold(features, labels, groups), strangers(features, labels), groups)
    assert any("differ only in spelling" in warning for warning in got.warnings)


def test_bootstrap_interval_of_a_mean(rng) -> None:
    # Of 400 normal draws, the mean lies within 1.96/20 of the truth in 95 % of cases.
    table = rng.normal(10, 1, (400, 1))
    interval = bootstrap(np.column_stack([table, np.ones(400)]), lambda total: total[0] / total[1])
    assert interval.high - interval.low == pytest.approx(2 * 1.96 / 20, rel=0.15)
    assert interval.low < table.mean() < interval.high


def test_where_types_are_rare_fewer_sounds_get_a_name_and_labels_are_no_more_in_doubt(
    sounds,
) -> None:
    features, labels, groups = sounds.arrays(sounds.examples(each=2, spread=2.0))
    known, unknown = out_of_fold(features, labels, groups), strangers(features, labels)
    common, rare = (validate(known, unknown, groups, share=share) for share in (None, 0.05))
    assert 0 < rare.named < common.named
    assert 0 < rare.strangers_named < common.strangers_named
    assert (rare.right, rare.doubts) == (common.right, common.doubts)
    assert rare.calibration_error == common.calibration_error
