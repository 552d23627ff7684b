from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.call_types.examples import Sound
from calltag.learn.call_types.kinship import MOST_COMPANY, N_FEATURES
from calltag.learn.call_types.panel import Panel
from calltag.learn.call_types.teach import NEXT, SURELY_WRONG, LookAgain, Taught, teach
from calltag.learn.call_types.validate import Confused
from calltag.records.span import Span


def test_teaching_gives_a_tagger_and_its_figures(taught: Taught, sounds) -> None:
    report = taught.report
    assert taught.tagger.classes == tuple(sorted(sounds.types))
    assert report.validation.n == report.validation.checked == 80
    assert report.validation.accuracy > 0.9
    assert report.threshold == taught.tagger.trust.of_types.threshold
    assert report.left_out == report.label_next == ()


def test_report_in_plain_words(taught: Taught) -> None:
    text = taught.report.text()
    figures = taught.report.validation
    assert text.startswith("Learnt 4 labels from 80 sounds:\n  lesser reedling: trill  20 sounds")
    assert f"Checked on takes left out of the teaching: {figures.right} of 80 right" in text
    assert f"That named {figures.named} of 80, {figures.named_right} of them rightly." in text
    assert "nan" not in text


def test_where_taught_types_are_rare_names_are_less_sure(sounds) -> None:
    """Of the sounds without a label, one in twenty or all are of a taught type."""
    examples, boom = sounds.examples(), "marsh hooter: boom"
    strangers = [one for i in range(19) for one in sounds.unlabelled(f"{i}. stranger", 10)]
    own = sounds.unlabelled(boom, 10)
    rare, common = (teach(examples, unlabelled=[*own, *more]) for more in (strangers, []))
    assert common.report.share_of_types == pytest.approx(10 / 11)
    assert 0.03 < rare.report.share_of_types < 0.6
    assert "reckon with" not in common.report.text()
    assert (
        f"reckon with {100 * rare.report.share_of_types:.0f} % being of these" in rare.report.text()
    )
    heard = np.concatenate([one.features[None] for one in strangers])
    sure_rare, sure_common = (one.tagger.verdict(heard).sure for one in (rare, common))
    assert (sure_rare <= sure_common).all()
    assert np.mean(sure_rare) < 0.7 * np.mean(sure_common)
    by_library = teach(examples, company=[*own, *strangers]).report
    assert 0.03 < by_library.share_of_types < 0.6


def test_of_labelled_sounds_that_trials_knew_nine_in_ten_are_said_to_be_named(sounds) -> None:
    """Trials are less sure than a tagger of all examples is; it is the tagger that gives names."""
    strangers = [one for i in range(19) for one in sounds.unlabelled(f"{i}. stranger", 10)]
    examples = sounds.examples(each=2)
    report, before = teach(examples, unlabelled=strangers).report, teach(examples).report
    assert report.share_of_types < 0.7
    assert report.validation.named_right >= 0.9 * report.validation.right
    assert report.validation.named < before.validation.named


def test_without_other_sounds_and_without_types_nothing_is_said_of_how_common(sounds) -> None:
    report = teach(sounds.examples()).report
    assert report.share_of_types is None
    assert "reckon with" not in report.text()
    noises = sounds.examples(types=("machine",)) + [
        one._replace(label="no call") for one in sounds.examples(types=("pit rail: rasp",))
    ]
    assert teach(noises, unlabelled=sounds.unlabelled("x", 9)).report.share_of_types is None


def test_what_nobody_labelled_keeps_the_tagger_company(sounds, rng) -> None:
    def whole(n: int) -> np.ndarray:
        return rng.normal(0, 1, (n, N_FEATURES)).astype(np.float32)

    examples = [
        example._replace(features=row)
        for example, row in zip(sounds.examples(takes=4), whole(80), strict=False)
    ]
    waiting = [
        Sound(features=row, take=examples[i % len(examples)].take, span=Span(i, i + 1))
        for i, row in enumerate(whole(MOST_COMPANY + 50))
    ]
    lost = waiting[0]._replace(features=np.full(N_FEATURES, np.nan, np.float32))
    # of a take without a label: it has noise that no example knows
    elsewhere = waiting[1]._replace(take="A999.MOV")
    for others, n in (
        (waiting, MOST_COMPANY),
        ([*waiting[:7], lost, elsewhere], 7),
        ([elsewhere], 0),
        ([], 0),
    ):
        kin = teach(examples, unlabelled=others).tagger.panel.everything.kin
        assert kin is not None
        assert len(kin.company) == len(kin.strange) == n


def test_report_names_places(sounds) -> None:
    examples = sounds.examples(takes=6)
    right = examples[1]
    examples[1] = right._replace(label="machine", take="B007.MOV", span=Span(83.4, 84.0))
    waiting = sounds.unlabelled("reed otter: whistle", 30)
    report = teach(examples, unlabelled=waiting).report
    assert [(d.take, d.span, d.label) for d in report.look_again] == [
        ("B007.MOV", Span(83.4, 84.0), "machine")
    ]
    assert report.look_again[0].suggestion == right.label
    assert len(report.label_next) == NEXT
    assert {sound.take for sound in report.label_next} == {"A009.MOV"}
    text = report.text()
    assert "  B007.MOV at 1:23.40: labelled machine, sounds like" in text
    assert "Label these next, they would teach most:\n  A009.MOV at " in text


def test_a_sound_that_was_not_known_again_is_named(sounds) -> None:
    """A hoot under steps was labelled, and the steps were measured: nothing else told which."""
    examples = sounds.examples(takes=6)
    label = examples[0].label
    covered = 0.4 * examples[0].features + 0.6 * sounds.rows("pit rail: rasp", 1)[0]
    examples[0] = examples[0]._replace(features=covered, take="B007.MOV", span=Span(83.4, 84.0))
    report = teach(examples).report
    doubted = {doubt.span for doubt in report.look_again}
    assert Span(83.4, 84.0) in {each.span for each in report.not_known} - doubted
    assert len(report.not_known) == report.validation.checked - report.validation.right
    assert f"  B007.MOV at 1:23.40: {label}" in report.text()
    assert "Not known again; where such a sound is faint" in report.text()
    many = replace(report, not_known=tuple(examples[:8])).text()
    assert "Not known again, the first 5 of 8; where such a sound is faint" in many


@pytest.mark.parametrize(
    ("n", "heading", "more"),
    [
        (5, "Labels to look at again:", ""),
        (6, "Labels to look at again, the first 5 of 6:", "1 more pair of labels."),
        (7, "Labels to look at again, the first 5 of 7:", "2 more pairs of labels."),
    ],
)
def test_of_long_lists_it_is_said_how_many_are_not_shown(taught: Taught, n, heading, more) -> None:
    doubts = [LookAgain("A001.MOV", Span(i, i + 1), f"a{i}", "wind", 0.9, True) for i in range(n)]
    pairs = [Confused(f"a{i}", f"b{i}", 3, 9) for i in range(n)]
    validation = replace(taught.report.validation, confused=tuple(pairs))
    report = replace(taught.report, look_again=tuple(doubts), validation=validation)
    lines = report.text().splitlines()
    assert heading in lines
    assert sum(": labelled a" in line for line in lines) == 5
    assert sum(line.endswith("(3 of 9).") for line in lines) == 5
    assert [line for line in lines if "too:" in line] == (
        [f"Taken for each other, too: {more}"] if more else []
    )


def test_what_is_surely_labelled_wrongly_is_told_and_not_learnt_from(sounds) -> None:
    examples = [
        example._replace(span=Span(float(i), i + 0.5))
        for i, example in enumerate(sounds.examples(takes=6, each=4, spread=0.5))
    ]
    wrong = [3, 30, 57]
    for i in wrong:
        others = [label for label in sounds.types if label != examples[i].label]
        examples[i] = examples[i]._replace(label=others[0])
    report = teach(examples).report
    assert {doubt.span for doubt in report.look_again} == {examples[i].span for i in wrong}
    unlearnt = [not doubt.learnt for doubt in report.look_again]
    assert unlearnt == [doubt.confidence >= SURELY_WRONG for doubt in report.look_again]
    assert any(unlearnt)
    assert report.text().count(" sure, so it was not learnt from)") == sum(unlearnt)
    # they count as not known, and are no reason to trust the others less
    assert report.validation.checked == len(examples)
    assert report.validation.right == len(examples) - len(wrong)
    # the judges are as if nobody had labelled it
    not_learnt = {doubt.span for doubt in report.look_again if not doubt.learnt}
    kept = [each for each in examples if each.span not in not_learnt]
    features, labels, _ = sounds.arrays(kept)
    heard = np.concatenate([sounds.rows(label, 5, take=60) for label in sounds.types])
    panels = (teach(examples).tagger.panel, Panel.fit(features, labels))
    votes, as_kept = (panel.everything.judge(heard).votes for panel in panels)
    assert votes == pytest.approx(as_kept)


def test_of_a_label_two_examples_are_learnt_from_whatever_they_sound_like(sounds) -> None:
    examples = sounds.examples(takes=6, each=4)
    few = [examples[i]._replace(label="silt crake: tick") for i in (4, 20, 36)]
    report = teach([*examples, *few]).report
    doubted = [doubt for doubt in report.look_again if doubt.label == "silt crake: tick"]
    assert doubted
    assert all(doubt.learnt for doubt in doubted)


def test_labels_with_one_example_are_left_out_and_named(sounds) -> None:
    examples = sounds.examples(takes=3)
    lone = examples[0]._replace(label="silt crake: tick")
    taught = teach([*examples, lone])
    assert taught.report.left_out == ("silt crake: tick",)
    assert "silt crake: tick" not in taught.tagger.classes
    assert "`silt crake: tick` has one example only; it was left out." in taught.report.text()


def test_report_says_from_where_noise_is_named_if_noise_was_taught(sounds) -> None:
    animals, strangers = sounds.types[0:1] + sounds.types[2:], sounds.unlabelled("x", 200)
    for types, said in ((sounds.types, True), (animals, False)):
        report = teach(sounds.examples(types=types), unlabelled=strangers).report
        given, noise = (f"{100 * one:.0f} %" for one in (report.threshold, report.noise_threshold))
        assert given != noise
        assert (
            f"from {given} sure upwards, noise and `no call` from {noise};" in report.text()
        ) == said
        assert (f"A label is given from {given} sure upwards;" in report.text()) != said


def test_a_label_left_out_that_is_almost_spelt_as_another_is_told(sounds) -> None:
    examples = sounds.examples(takes=3)
    name = examples[0].label
    text = teach([*examples, examples[0]._replace(label=f"{name}x")]).report.text()
    assert f"`{name}x` has one example only; it was left out. Should it be `{name}`?" in text


def test_labels_of_one_take_are_taught_with_a_warning(sounds) -> None:
    text = teach(sounds.examples(takes=1, each=6)).report.text()
    assert "How well it does could not be checked." in text
    assert "All labels are of one take" in text
    assert "nan" not in text


def test_report_says_what_becomes_of_types_that_were_not_taught(taught: Taught, sounds) -> None:
    figures = taught.report.validation
    assert figures.strangers == 80
    assert figures.strangers_named < 40
    assert (
        f"would get a name all the same (each label left out in turn, {figures.strangers_named} of"
        " 80)." in taught.report.text()
    )
    two = teach(sounds.examples(types=("machine", "pit rail: rasp"))).report
    assert two.validation.strangers == 0
    assert "three labels show" in two.text()


def test_parts_of_a_whole_take_are_taught_and_not_counted(sounds) -> None:
    examples = sounds.examples(takes=5, each=4)
    parts = [e._replace(counts=i % 2 == 0) for i, e in enumerate(examples)]
    report = teach(parts).report
    assert (report.validation.n, report.validation.checked) == (80, 40)


def test_types_without_any_noise_label_are_warned_of(sounds) -> None:
    calls = tuple(label for label in sounds.types if label != "machine")
    warning = "No label that was learnt says `no call` or names a noise"
    examples = sounds.examples(types=calls)
    assert warning in teach([*examples, examples[0]._replace(label="no call")]).report.text()
    assert warning not in teach(sounds.examples()).report.text()


def test_groups_of_the_user_are_left_out_together(sounds) -> None:
    by_take = sounds.examples(takes=6, each=2)
    pairs = [e._replace(group="east" if e.take < "A003" else "west") for e in by_take]
    assert teach(by_take).report.validation.groups == 6
    assert teach(pairs).report.validation.groups == 2


def test_what_cannot_be_taught_is_refused(sounds) -> None:
    examples = sounds.examples(takes=2)
    with pytest.raises(InputError, match="there is no label yet; name five or more"):
        teach([])
    with pytest.raises(InputError, match="no label has 2 examples"):
        teach([examples[0], examples[5]])
    with pytest.raises(InputError, match=r"only one kind of label \(machine\)"):
        teach([example for example in examples if example.label == "machine"])
    unknown = examples[0]._replace(features=np.full_like(examples[0].features, np.nan))
    with pytest.raises(InputError, match=rf"^{examples[0].take}: .* not measured in full; log"):
        teach([*examples, unknown])
    short = examples[0]._replace(features=np.zeros(3, np.float32))
    with pytest.raises(InputError, match="different versions"):
        teach([*examples, short])


def test_a_scrap_is_not_the_first_to_be_proposed(sounds) -> None:
    examples, waiting = sounds.examples(takes=2), sounds.unlabelled("reed otter: whistle", 4)
    first = teach(examples, unlabelled=waiting).report.label_next[0].span
    scrap = Span(first.start_s, first.start_s + 0.05)
    brief = [one._replace(span=scrap) if one.span == first else one for one in waiting]
    proposed = [one.span for one in teach(examples, unlabelled=brief).report.label_next]
    assert scrap in proposed[1:]


def test_old_sounds_are_not_proposed(sounds) -> None:
    waiting = sounds.unlabelled("machine", 3)
    old = [sound._replace(features=np.zeros(3, np.float32)) for sound in waiting]
    assert teach(sounds.examples(takes=2), unlabelled=old).report.label_next == ()
    mixed = teach(sounds.examples(takes=2), unlabelled=[*old, *waiting]).report.label_next
    assert len(mixed) == 3
