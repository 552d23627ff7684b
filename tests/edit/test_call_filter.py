"""Which calls are asked for."""

from __future__ import annotations

import pytest

from calltag.edit.call_filter import CallFilter, is_of_type

from .conftest import log_of, make_call


def left(take_log, **wanted):
    return [call.label for call in CallFilter(**wanted).left_of(take_log).calls]


def test_calls_are_left_that_are_asked_for(morning):
    every = ["marsh hooter: boom", "lesser reedling: trill", "call"]
    assert left(morning[0]) == every
    assert left(morning[0], min_confidence=0.9) == every[:2]
    assert left(morning[0], types=["lesser reedling"]) == every[1:2]


def test_what_is_no_call_is_never_left():
    found = [make_call(i, i + 0.5, name) for i, name in enumerate(["no call", "wind", "pit rail"])]
    assert left(log_of("a.mov", *found)) == ["pit rail"]


@pytest.mark.parametrize(
    ("types", "fits"),
    [
        ([], True),
        (["marsh hooter: boom"], True),
        (["MARSH HOOTER"], True),
        (["marsh"], False),
        (["pit rail", "marsh hooter"], True),
        (["boom"], False),
        (["marsh  hooter"], True),
        (["marsh hooter:"], False),
        ([""], False),
    ],
)
def test_types(types, fits):
    assert is_of_type("marsh hooter: boom", types) is fits


@pytest.mark.parametrize("label", ["marsh hooter", ": boom", "call"])
def test_types_of_labels_that_name_no_animal_before_a_colon(label):
    assert is_of_type(label, [label.upper()])
    assert not is_of_type(label, ["", " ", "marsh hooter: boom", "hooter", "boom"])
