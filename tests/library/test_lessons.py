from __future__ import annotations

import numpy as np
import pytest

from calltag.errors import MediaError
from calltag.learn.call_types.teach import teach
from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.kept_file.story import BY_HAND
from calltag.library.lessons import LabelledTake, lessons
from calltag.records.label import Label
from calltag.sound.features import FEATURE_NAMES, FEATURE_VERSION

from .conftest import plain_story

TYPES = ("marsh hooter: boom", "pit rail: rasp", "lesser reedling: trill")


def vector(label: str, number: int) -> np.ndarray:
    """Calls of a type lie together, with some spread."""
    centre = np.random.default_rng(TYPES.index(label)).normal(size=len(FEATURE_NAMES))
    spread = np.random.default_rng(100 + number).normal(size=len(FEATURE_NAMES))
    return (3 * centre + spread).astype(np.float32)


def put(catalogue: Catalogue, number: int, label: str = TYPES[0], **changes: object) -> None:
    values: dict[str, object] = {
        "label": label,
        "labelled_by": BY_HAND,
        "confidence": 1.0,
        "features": vector(label, number) if label in TYPES else None,
        "feature_version": FEATURE_VERSION,
    }
    story = plain_story(number, **(values | changes))
    catalogue.put([(f"{number}.wav", story, 1, "")])


def label(start_s: float, end_s: float, text: str) -> Label:
    return Label(take="A000.MOV", start_s=start_s, end_s=end_s, label=text)


@pytest.fixture
def filled(catalogue: Catalogue) -> Catalogue:
    for number in range(18):
        put(catalogue, number, TYPES[number % 3])
    return catalogue


def test_the_library_is_enough_to_learn_from(filled: Catalogue):
    learnt = lessons(filled)
    assert (len(learnt.examples), learnt.by_hand) == (18, 18)
    taught = teach(learnt.examples)
    strange = np.stack([vector(label, 999) for label in TYPES])
    assert [tag.label for tag in taught.tagger.tag(strange)] == list(TYPES)


def test_calls_of_one_take_are_left_out_together(catalogue: Catalogue):
    put(catalogue, 1, take_digest="one")
    put(catalogue, 2, take_digest="one", source_start_s=9.0, source_end_s=9.5)
    put(catalogue, 3, take_digest="two")
    groups = [example.group for example in lessons(catalogue).examples]
    assert groups[0] == groups[1] != groups[2]


def test_what_a_model_named_counts_where_it_was_sure(filled: Catalogue):
    put(filled, 50, labelled_by="calltag.model 1", confidence=0.95)
    put(filled, 51, labelled_by="calltag.model 1", confidence=0.7)
    put(filled, 52, "call", labelled_by="", confidence=0.99, features=vector(TYPES[0], 52))
    learnt = lessons(filled)
    assert (len(learnt.examples), learnt.by_hand, learnt.unsure) == (19, 18, 1)
    assert len(lessons(filled, only_by_hand=True).examples) == 18
    assert len(lessons(filled, min_confidence=0.5).examples) == 20


def test_the_log_stands_above_the_library(filled: Catalogue):
    """A take of the log keeps its group; a stretch that is labelled there is not learnt twice."""
    labels = (label(4.1, 4.6, TYPES[1]),)
    takes = {"take 0": LabelledTake("card1/A000.MOV", labels), "take 1": LabelledTake("A001.MOV")}
    learnt = lessons(filled, takes=takes)
    assert (len(learnt.examples), learnt.in_log) == (17, 1)
    assert "A001.MOV" in {example.group for example in learnt.examples}


@pytest.mark.parametrize(
    ("span", "text", "in_log"),
    [
        ((0.0, 60.0), "wind", 0),
        ((4.0, 4.5), "wind", 1),
        ((4.2, 4.3), "no call", 0),
        ((0.0, 60.0), "no call", 1),
        ((0.0, 60.0), "pit rail: rasp", 1),
    ],
)
def test_a_label_of_the_log_stands_above_the_calls_that_it_speaks_for(
    filled: Catalogue, span, text, in_log
):
    """As it does above finds of the log: a call in a long wind is a call."""
    takes = {"take 0": LabelledTake("A000.MOV", (label(*span, text),))}
    learnt = lessons(filled, takes=takes)
    assert (len(learnt.examples), learnt.in_log) == (18 - in_log, in_log)


def test_a_cut_that_is_there_twice_is_one_example(filled: Catalogue):
    put(filled, 60, take_digest="take 0")
    assert len(lessons(filled).examples) == 18


def test_two_calls_at_once_in_other_bands_are_two_examples(filled: Catalogue):
    short = {"source_start_s": 4.1, "source_end_s": 4.3}
    put(filled, 60, TYPES[1], take_digest="take 0", low_hz=4000.0, high_hz=7000.0, **short)
    assert len(lessons(filled).examples) == 19


def test_what_cannot_be_measured_is_told(filled: Catalogue, monkeypatch):
    class Deaf:
        def measure(self, path, _):
            raise MediaError(path, "cannot be read")

    put(filled, 70, feature_version=99)
    monkeypatch.setattr("calltag.library.catalogue.measured_again.finder", Deaf)
    learnt = lessons(filled)
    assert len(learnt.examples) == 18
    assert learnt.notes == ("70.wav: cannot be read",)
