from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.call_types.kinship import N_FEATURES
from calltag.learn.call_types.panel import Panel, are_calls


def test_types_are_told_by_judges_who_know_them_alone(sounds) -> None:
    features, labels, _ = sounds.arrays(sounds.examples())
    panel = Panel.fit(features, labels)
    assert panel.types is not None
    assert set(panel.everything.classes) == set(labels)
    assert set(panel.types.classes) == set(labels) - {"machine"}
    alone = Panel.fit(features[labels != "machine"], labels[labels != "machine"])
    heard = sounds.rows("pit rail: rasp", 20, take=60)
    opinion = panel.judge(heard)
    assert opinion.types is not None
    assert (opinion.types.best == alone.judge(heard).everything.best).all()
    for own, other in zip(
        opinion.types.evidence, alone.judge(heard).everything.evidence, strict=True
    ):
        assert own == pytest.approx(other)
    noise = panel.judge(sounds.rows("machine", 20, take=60))
    assert noise.call_share.max() < 0.5 < opinion.call_share.min()


def test_to_those_who_judge_types_noise_is_what_else_there_is(rng) -> None:
    labels = np.repeat(["marsh hooter: boom", "pit rail: rasp", "pit rail: tick", "wind"], 4)
    features = rng.normal(0, 1, (16, N_FEATURES))
    company = rng.normal(0, 1, (5, N_FEATURES))
    for others, n in ((company, 9), (None, 4)):
        panel = Panel.fit(features, labels, others)
        assert panel.types is not None
        assert panel.types.kin is not None
        assert len(panel.types.kin.company) == n
        wind = panel.types.kin.known.place(features[12:])
        assert panel.types.kin.company[-4:] == pytest.approx(wind)


def test_finds_are_chosen_with_all_that_is_said_of_them(sounds) -> None:
    features, labels, _ = sounds.arrays(sounds.examples())
    for apart in (True, False):
        taught = labels != "" if apart else labels != "machine"
        opinion = Panel.fit(features[taught], labels[taught]).judge(features)
        some = opinion.of(np.array([4, 0]))
        assert list(some.everything.best) == list(opinion.everything.best[[4, 0]])
        assert list(some.call_share) == list(opinion.call_share[[4, 0]])
        assert (some.types is not None) is apart
        if some.types is not None and opinion.types is not None:
            assert list(some.types.evidence.top) == list(opinion.types.evidence.top[[4, 0]])


def test_examples_of_each_call_type_are_counted_without_noise(rng) -> None:
    def per_type(labels: list[str]) -> float:
        return Panel.fit(rng.normal(0, 1, (len(labels), 9)), np.array(labels)).per_type

    boom, rasp = "marsh hooter: boom", "pit rail: rasp"
    assert per_type([boom] * 6 + [rasp] * 3 + ["wind"] * 7) == 4.5
    assert per_type([boom] * 6 + ["wind"] * 7) == 6
    assert per_type(["wind"] * 6 + ["no call"] * 7) == 0


def test_which_labels_are_of_calls() -> None:
    labels = np.array(["wind", "no call", "pit rail: tick", "wind", "machine/hedge trimmer"])
    assert list(are_calls(labels)) == [False, False, True, False, False]
    assert len(are_calls(labels[:0])) == 0
