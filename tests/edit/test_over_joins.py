"""Calls that lie over two files of one recording: where their rest is."""

from __future__ import annotations

import pytest

from calltag.edit.over_joins import Joins
from calltag.records.alignment import Alignment

from .conftest import make_call, make_take


def pair(a: str, b: str, overlap_s: float) -> Alignment:
    return Alignment(
        take_a=a, take_b=b, offset_s=60.0, drift_ppm=0.0, confidence=1.0, overlap_s=overlap_s
    )


JOINS = Joins(
    [pair("b1.mov", "b2.mov", 0.0), pair("b2.mov", "b3.mov", 0.0), pair("b2.mov", "a.mov", 9.0)]
)


@pytest.mark.parametrize(
    ("path", "span", "rest"),
    [
        ("b1.mov", (59.4, 60.0), "goes on in b2.mov"),
        ("b1.mov", (0.0, 0.4), ""),
        ("b2.mov", (0.0, 0.4), "begins in b1.mov"),
        ("b2.mov", (0.0, 60.0), "begins in b1.mov and goes on in b3.mov"),
        ("b2.mov", (59.0, 59.9), ""),
        ("b3.mov", (59.4, 60.0), ""),
        ("a.mov", (59.4, 60.0), ""),
    ],
)
def test_the_rest_of_a_call_is_in_the_file_before_or_after(path, span, rest) -> None:
    assert str(JOINS.rest_of(make_take(path), make_call(*span))) == rest


def test_parts_are_told_the_first_few_of_many() -> None:
    whole, part = (make_take("b1.mov"), make_call(3, 4)), (make_take("b2.mov"), make_call(0, 0.4))
    assert list(JOINS.told([whole], 1.0)) == []
    first, *_, last = told = list(JOINS.told([whole, *[part] * 7], 0.0))
    assert first == "b2.mov at 0:00.00: only the part in this file; the call begins in b1.mov."
    assert len(told) == 6
    assert last.startswith("2 other calls lie over two files too")


@pytest.mark.parametrize(
    ("path", "span", "told"),
    [
        (
            "b1.mov",
            (58.0, 59.2),
            "0.8 s after it, to the end of the file; the recording goes on in b2.mov",
        ),
        ("b1.mov", (0.4, 1.0), None),
        ("b1.mov", (57.0, 58.5), None),
        ("b1.mov", (57.0, 58.53), None),
        ("b3.mov", (58.0, 59.2), None),
        (
            "b2.mov",
            (0.4, 1.0),
            "0.4 s before it, from the start of the file; the recording begins in b1.mov",
        ),
        ("a.mov", (0.4, 59.2), None),
    ],
)
def test_a_handle_that_ends_where_its_recording_goes_on_is_told(path, span, told) -> None:
    lines = list(JOINS.told([(make_take(path), make_call(*span))], 1.5))
    assert [line.partition(": ")[2] for line in lines] == ([f"only {told}."] if told else [])


def test_of_a_part_the_other_handle_alone_is_told() -> None:
    part = make_take("b2.mov"), make_call(0, 59.5)
    first, second = JOINS.told([part], 1.5)
    assert first.endswith("the call begins in b1.mov.")
    assert second.endswith(
        "only 0.5 s after it, to the end of the file; the recording goes on in b3.mov."
    )
    assert len(list(JOINS.told([part] * 7, 1.5))) == 12
    begun = make_take("b1.mov"), make_call(59, 60)
    (only,) = JOINS.told([begun], 1.5)
    assert only.endswith("the call goes on in b2.mov.")
