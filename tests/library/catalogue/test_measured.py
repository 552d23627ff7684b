"""Measurements and vectors in the catalogue: of which version, of which calls, how exact."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.library.catalogue import measured
from calltag.library.catalogue.catalogue import Catalogue
from calltag.records.span import Span

from ..conftest import plain_story


@pytest.fixture
def keys(catalogue: Catalogue) -> list[int]:
    """Three kept calls, of which the first two were measured, by version 3."""
    for number, features in enumerate((vector(0), vector(1), None)):
        story = plain_story(number, features=features, feature_version=3)
        catalogue.put([(f"{number}.wav", story, 1, "")])
    return [kept.key for kept in catalogue.all_kept()]


def vector(number: float) -> np.ndarray:
    return np.float32([number, 1 / 3, -1000.5])


def test_measurements_come_back_to_the_bit_with_their_version(catalogue: Catalogue, keys):
    for number in (0, 1):
        version, features = catalogue.features_of(keys[number])
        assert version == 3
        np.testing.assert_array_equal(features, vector(number))
        assert features.dtype == np.float32
    assert catalogue.features_of(keys[2]) is None
    assert catalogue.features_of(99) is None


def test_new_measurements_take_the_place_of_old_ones_and_of_the_vector_made_of_them(
    catalogue: Catalogue, keys
):
    catalogue.put_vectors(5, [(key, vector(0)) for key in keys])
    catalogue.put_features(keys[0], 4, vector(7))
    version, features = catalogue.features_of(keys[0])
    assert version == 4
    np.testing.assert_array_equal(features, vector(7))
    assert catalogue.all_vectors(5)[0] == keys[1:]


def test_of_a_call_that_is_gone_nothing_is_stored(catalogue: Catalogue, keys):
    catalogue.remove(["0.wav"])
    catalogue.put_features(keys[0], 4, vector(7))
    catalogue.put_vectors(5, [(keys[0], vector(0)), (keys[1], vector(1))])
    assert catalogue.features_of(keys[0]) is None
    assert catalogue.all_vectors(5)[0] == [keys[1]]


def test_those_without_a_vector_of_a_version_are_told_some_at_a_time(
    catalogue: Catalogue, keys, monkeypatch
):
    catalogue.put_features(keys[2], 3, vector(2))

    def waiting(version=3, placed=5, after=0):
        return [key for key, _ in catalogue.features_without_vector(version, placed, after=after)]

    assert waiting() == keys
    assert waiting(version=2) == []
    monkeypatch.setattr(measured, "_AT_ONCE", 2)
    assert waiting() == keys[:2]
    assert waiting(after=keys[1]) == keys[2:]
    catalogue.put_vectors(5, [(keys[0], vector(0))])
    catalogue.put_vectors(4, [(keys[1], vector(1))])
    catalogue.put_vectors(6, [(keys[2], vector(2))])
    assert waiting() == keys[1:]
    ((_, features), _) = catalogue.features_without_vector(3, 5)
    np.testing.assert_array_equal(features, vector(1))


def test_vectors_come_back_to_a_thousandth(catalogue: Catalogue, keys):
    assert [len(part) for part in catalogue.all_vectors(5)] == [0, 0]
    catalogue.put_vectors(5, [(key, vector(key)) for key in keys])
    catalogue.put_vectors(5, [(keys[1], vector(-9))])  # in place of the other
    there, vectors = catalogue.all_vectors(5)
    of_key = dict(zip(there, vectors, strict=True))
    assert sorted(of_key) == keys
    assert vectors.dtype == np.float32
    for key in keys:
        np.testing.assert_allclose(of_key[key], vector(-9 if key == keys[1] else key), rtol=1e-3)
    assert catalogue.all_vectors(4)[0] == catalogue.all_vectors(6)[0] == []
    assert catalogue.read("SELECT DISTINCT length(vector) FROM vectors") == [(6,)], "three halves"


def test_company_is_of_takes_that_calls_are_kept_of_and_in_order(catalogue: Catalogue, keys):
    catalogue.put_company("take 1", 3, [(Span(5, 6), vector(5)), (Span(2, 3), vector(2))])
    catalogue.put_company("take 0", 3, [(Span(9, 10), vector(9))])
    catalogue.put_company("no take of ours", 3, [(Span(1, 2), vector(1))])
    told = catalogue.company(3)
    assert [(digest, span) for digest, span, _ in told] == [
        ("take 0", Span(9, 10)),
        ("take 1", Span(2, 3)),
        ("take 1", Span(5, 6)),
    ]
    assert [features[0] for _, _, features in told] == [9, 2, 5]
    assert catalogue.company(2) == []


def test_what_is_put_of_a_take_takes_the_place_of_what_was_there(catalogue: Catalogue, keys):
    for finds in ([(Span(5, 6), vector(5)), (Span(2, 3), vector(2))], [(Span(5, 7), vector(6))]):
        catalogue.put_company("take 1", 3, finds)
    catalogue.put_company("take 0", 3, [])
    assert [span for _, span, _ in catalogue.company(3)] == [Span(5, 7)]
