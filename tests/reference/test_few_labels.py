"""The measure of few labels, on finds whose answer is known."""

from __future__ import annotations

from pathlib import Path

import few_labels
import numpy as np
import pytest

from calltag.learn.call_types.tagger import Tag
from calltag.records.found import Call
from calltag.records.span import Span

TYPES = [f"pit rail: {name}" for name in ("pipe", "tick", "churr", "squeal", "hum")]


def finds(rng: np.random.Generator, *, spread: float) -> list[few_labels.Find]:
    """Finds of five types whose measurements lie about a centre each, and some that are none."""
    centres = np.random.default_rng(0).normal(size=(len(TYPES) + 1, 24))
    return [
        few_labels.Find(
            take=f"scene {i % 8}",
            span=Span(float(i), i + 0.5),
            features=(centres[k] + spread * rng.normal(size=24)).astype(np.float32),
            label=label,
            snr_db=float(rng.choice([0.0, 10.0, 20.0])),
            call_probability=0.9,
        )
        for i in range(20)
        for k, label in enumerate([*TYPES, few_labels.FALSE])
    ]


@pytest.mark.parametrize("n_labels", [5, 15])
def test_types_that_lie_apart_are_learnt_and_strangers_are_left_alone(rng, n_labels):
    figures = few_labels.trial(
        finds(rng, spread=0.2), finds(rng, spread=0.2), TYPES[:3], n_labels, rng
    ).figures
    assert figures["macro_f1"] > 0.95
    assert figures["taught_named_rightly"] > 0.9
    assert figures["strangers_named"] < 0.1
    assert figures["strangers_named_at_recall"] < 0.1
    assert figures["strangers_named_at_mean_recall"] < 0.1


def test_in_the_same_scenes_those_that_were_labelled_are_not_judged(rng):
    taught = finds(rng, spread=0.2)
    trial = few_labels.trial(taught, taught, TYPES[:3], 5, rng)
    of_types = [find for find in taught if find.label in TYPES[:3]]
    assert len(trial.confidence) == len(of_types) - 3 * 5


def test_types_weigh_alike_however_many_calls_they_have():
    values = np.array([0.1, 0.2, *np.full(98, 0.9)])
    types = np.array(["tick", "tick", *["pipe"] * 98])
    assert np.quantile(values, 0.25) == 0.9  # a quarter of all calls: none of the two
    assert few_labels._quantile_of_types(values, types, 0.25) == 0.1
    assert few_labels._quantile_of_types(values, types, 0.45) == 0.2


def test_types_that_are_all_alike_are_not(rng):
    figures = few_labels.trial(
        finds(rng, spread=8.0), finds(rng, spread=8.0), TYPES[:3], 5, rng
    ).figures
    assert figures["macro_f1"] < 0.5
    # nothing tells them from the taught: at 90 % of those, as many of the strangers
    assert figures["strangers_named_at_recall"] > 0.7


def test_labelled_noise_takes_no_calls(rng):
    noise = [
        few_labels.Find(
            take=f"scene {i}",
            span=Span(50.0, 52.0),
            features=(5 * rng.normal(size=24)).astype(np.float32),
            label="machine/chainsaw",
            snr_db=float("nan"),
            call_probability=0.1,
        )
        for i in range(8)
    ]
    taught, judged = finds(rng, spread=0.2), finds(rng, spread=0.2)
    figures = few_labels.trial(taught, judged, TYPES[:3], 5, rng, noise=noise, n_noise=4).figures
    assert figures["macro_f1"] > 0.95
    assert figures["taught_named_rightly"] > 0.9
    assert figures["calls_lost"] < 0.05


def test_the_clearest_calls_of_each_type_are_kept_and_teach(rng):
    taught, judged = finds(rng, spread=0.2), finds(rng, spread=0.2)
    own = few_labels.trial(taught, judged, TYPES[:3], 5, rng, n_kept=8)
    alone = few_labels.trial(taught, judged, TYPES[:3], 5, rng, n_kept=8, alone=True)
    for trial in (own, alone):
        assert trial.figures["macro_f1"] > 0.9
        assert trial.figures["taught_named_rightly"] > 0.8
    clear = [i for i, find in enumerate(taught) if find.snr_db == 20.0]
    examples, company = few_labels._kept(taught, set(clear), _Knowing(), TYPES[:2], 2)
    assert [example.label for example in examples] == [TYPES[0]] * 2 + [TYPES[1]] * 2
    spans = {(example.take, example.span) for example in examples}
    assert spans <= {(taught[i].take, taught[i].span) for i in clear}
    takes = {example.take for example in examples}
    in_takes = {(find.take, find.span) for find in taught if find.take in takes}
    assert {(sound.take, sound.span) for sound in company} | spans == in_takes


class _Knowing:
    """Names every find as a type that is not asked for."""

    def tag(self, features, _takes):
        return [Tag(TYPES[4], 1.0) for _ in features]


def test_noise_is_labelled_where_nothing_calls(tmp_path):
    rows = ["take,start_s,end_s,label,snr_db,background"]
    rows += [f"scene_000.wav,{at},{at + 8},pit rail: pipe,10,rain" for at in range(0, 60, 10)]
    rows += ["scene_001.wav,5,6,pit rail: pipe,10,quiet"]
    (tmp_path / "truth.csv").write_text("\n".join(rows))
    for name in ("scene_000", "scene_001", "empty_helicopter"):
        (tmp_path / f"{name}.wav").write_bytes(b"")
    asked: dict[str, list[Span]] = {}

    class Measuring:
        def measure(self, path, spans):
            asked[path.name] = spans
            return [
                Call(
                    start_s=span.start_s, end_s=span.end_s, low_hz=100, high_hz=200, peak_hz=150,
                    snr_db=0, level_dbfs=-30, call_probability=0.1, features=np.zeros(3),
                )
                for span in spans
            ]  # fmt: skip

    stretches = few_labels.noise_stretches(Measuring(), tmp_path)
    assert {(Path(s.take).name, s.label) for s in stretches} == {
        ("scene_000.wav", "water/rain"),
        ("empty_helicopter.wav", "machine/helicopter"),
    }
    assert len(asked["empty_helicopter.wav"]) == 5
    assert asked["scene_000.wav"]
    for span in asked["scene_000.wav"]:
        assert span.start_s % 10 > 8
        assert span.end_s % 10 == 0 or span.end_s % 10 > 8
