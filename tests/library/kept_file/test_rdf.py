"""Any story is read from RDF/XML as it was told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.library.kept_file.rdf import from_rdf, to_rdf
from calltag.library.kept_file.story import BY_HAND, tidy

from ..conftest import features, plain_story

texts = st.text(max_size=40)


numbers = st.none() | st.floats(allow_nan=True, allow_infinity=True)


@given(
    label=st.text(min_size=1, max_size=40).filter(lambda text: text.isprintable() and text.strip()),
    place=texts,
    behaviour=texts,
    snr_db=numbers,
    low_hz=numbers,
    latitude=st.none() | st.floats(-90, 90),
    noise=st.lists(st.text(min_size=1), max_size=2).map(tuple),
    recorded=st.sampled_from([None, "2026", "2026-04", "2026-04-18", "2026-04-18T05:12:00.000Z"]),
)
def test_any_story_is_read_as_it_was_told(**changes: object):
    story = tidy(plain_story(**changes, features=features(1), feature_version=1))
    read, whole = from_rdf(to_rdf(story))
    assert whole
    assert read == replace(story, noise=read.noise)
    assert read.noise == story.noise
    np.testing.assert_array_equal(read.features, story.features)


def test_no_guess_is_certain_and_files_that_said_so_still_read_whole():
    story = tidy(plain_story(confidence=0.999, labelled_by="calltag.model 1"))
    text = to_rdf(story)
    assert "named by calltag.model 1, 99 % sure; a tag" in text
    assert "<dwc:identifiedBy>calltag.model 1<" in text
    assert from_rdf(text.replace("99 % sure", "100 % sure")) == (story, True)


@pytest.mark.parametrize(
    ("changes", "how"),
    [
        ({"labelled_by": BY_HAND, "confidence": 1.0}, "labelled by hand"),
        ({"label": "call", "species": ""}, "type not known"),
        ({"labelled_by": ""}, "type not known"),
    ],
)
def test_a_file_says_how_its_label_came_to_be(changes, how):
    text = to_rdf(tidy(plain_story(**changes)))
    assert f">{how}; a tag for the edit, not an id" in text
    assert ("<dwc:identifiedBy>A. Keeper<" in text) is (how == "labelled by hand")


@pytest.mark.parametrize("number", [np.nan, np.inf, -np.inf])
def test_what_is_no_number_is_left_out(number):
    story, whole = from_rdf(to_rdf(tidy(plain_story(snr_db=number, low_hz=180.5))))
    assert (story.snr_db, story.low_hz, whole) == (None, 180.5, True)
    assert story.features is None, "none were given"


def test_a_story_changed_by_hand_is_read_and_noticed():
    text = to_rdf(tidy(plain_story())).replace("Ashmere", "Elsewhere")
    story, whole = from_rdf(text)
    assert (story.place, whole) == ("Elsewhere", False)


@pytest.mark.parametrize(
    "text",
    ["", "<a/>", "<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>", "<rdf:RDF/>", "\x00"],
)
def test_what_is_no_story_is_refused(text: str):
    with pytest.raises(ValueError):
        from_rdf(text)
