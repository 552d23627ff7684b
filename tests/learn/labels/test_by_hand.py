from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.learn.call_types.examples import examples, unlabelled
from calltag.learn.labels.by_hand import matched, unmeasured, with_labels
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.label import CALL, Label
from calltag.records.span import Span
from calltag.records.take import Take

TAKE = Take(path="A001.mov", rushes="/ashmere", digest="d", size_bytes=1, duration_s=60.0)


def call(start_s: float, end_s: float, **changes: object) -> Call:
    values: dict[str, object] = {
        "start_s": start_s,
        "end_s": end_s,
        "low_hz": 2000.0,
        "high_hz": 4000.0,
        "peak_hz": 3000.0,
        "snr_db": 12.0,
        "level_dbfs": -30.0,
        "call_probability": 0.8,
        "confidence": 0.8,
    }
    return Call(**(values | changes))  # type: ignore[arg-type]


def label(start_s: float, end_s: float, text: str) -> Label:
    return Label(take="A001.mov", start_s=start_s, end_s=end_s, label=text)


@pytest.mark.parametrize(
    ("find", "span", "text", "belongs"),
    [
        ((10.0, 11.0), (10.0, 11.0), "pit rail", True),
        ((10.0, 11.0), (9.0, 13.0), "pit rail", True),  # drawn loosely
        ((10.0, 14.0), (11.0, 12.0), "pit rail", True),  # one of the notes of a long find
        ((10.0, 11.0), (10.6, 12.0), "pit rail", False),  # less than half of the find
        ((10.0, 11.0), (11.0, 12.0), "pit rail", False),  # they only touch
        ((10.0, 11.0), (0.0, 60.0), "no call", True),  # nothing in this take is a call
        ((10.0, 14.0), (11.0, 12.0), "no call", False),  # most of the find is not spoken of
        ((10.0, 11.0), (10.1, 11.2), "machine/hedge trimmer", True),
        ((10.0, 11.0), (0.0, 60.0), "wind", False),  # a call in the wind is a call
    ],
)
def test_a_find_belongs_to_a_label_that_overlaps_it_enough(
    find: tuple[float, float], span: tuple[float, float], text: str, belongs: bool
) -> None:
    given_label = label(*span, text)
    assert matched([call(*find)], [given_label]) == [given_label if belongs else None]


def test_of_two_labels_the_one_with_more_in_common_counts() -> None:
    labels = [label(9.5, 10.7, "pit rail"), label(10.3, 11.5, "marsh hooter: boom")]
    assert matched([call(10.0, 10.8), call(10.4, 11.4)], labels) == labels


def test_of_two_labels_with_as_much_in_common_the_closer_one_counts() -> None:
    loose, own = label(9.0, 13.0, "marsh hooter: boom"), label(10.0, 11.0, "no call")
    for labels in ([loose, own], [own, loose]):
        assert matched([call(10.0, 11.0), call(12.0, 12.5)], labels) == [own, loose]


def test_all_notes_under_one_label_take_its_name() -> None:
    taken = with_labels(
        TakeLog(take=TAKE, calls=(call(1.0, 1.2), call(1.3, 1.5), call(3.0, 3.2))),
        [label(0.9, 1.6, "lesser reedling: trill")],
    )
    assert [(c.label, c.confidence, c.by_hand) for c in taken.calls] == [
        ("lesser reedling: trill", 1.0, True),
        ("lesser reedling: trill", 1.0, True),
        (CALL, 0.8, False),
    ]


def test_the_users_word_stands_above_the_models() -> None:
    found = call(1.0, 2.0, label="pit rail", confidence=0.99)
    taken = with_labels(TakeLog(take=TAKE, calls=(found,)), [label(1.0, 2.0, "marsh hooter: boom")])
    assert [c.label for c in taken.calls] == ["marsh hooter: boom"]


@pytest.mark.parametrize("text", ["no call", "machine/hedge trimmer"])
def test_a_find_that_is_none_is_hidden(text: str) -> None:
    log = TakeLog(take=TAKE, calls=(call(1.0, 2.0), call(5.0, 6.0)))
    assert [c.start_s for c in with_labels(log, [label(1.0, 2.0, text)]).calls] == [5.0]


def test_a_labelled_call_that_was_not_found_is_added_with_what_was_measured() -> None:
    measured = call(8.0, 9.0, by_hand=True, label="pit rail", call_probability=0.2)
    log = TakeLog(take=TAKE, calls=(call(1.0, 2.0), measured))
    missed = label(8.0, 9.0, "pit rail")
    taken = with_labels(log, [missed])
    assert [(c.start_s, c.label, c.by_hand) for c in taken.calls] == [
        (1.0, CALL, False),
        (8.0, "pit rail", True),
    ]
    assert unmeasured(log, [missed]) == []
    assert [c.start_s for c in with_labels(log, []).calls] == [1.0], "without its label it goes"


def test_labels_without_find_or_measurement_are_listed() -> None:
    log = TakeLog(take=TAKE, calls=(call(1.0, 2.0),))
    missed = label(8.0, 9.0, "pit rail")
    assert unmeasured(log, [label(1.0, 2.0, "pit rail"), missed]) == [missed]
    assert [c.start_s for c in with_labels(log, [missed]).calls] == [1.0]


def test_labelled_noise_becomes_noise_of_the_take_and_of_its_calls() -> None:
    measured = call(10.0, 40.0, by_hand=True, low_hz=40.0, high_hz=200.0, level_dbfs=-22.0)
    wind = machine(12.5, 15.0, "wind")
    log = TakeLog(take=TAKE, calls=(call(1.0, 2.0), measured, call(12.0, 13.0)), noise=(wind,))
    taken = with_labels(log, [label(10.0, 40.0, "machine/hedge trimmer")])
    assert [(c.start_s, c.noise) for c in taken.calls] == [(1.0, ()), (12.0, ("machine", "wind"))]
    assert taken.noise == (
        NoiseSpan(
            start_s=10.0,
            end_s=40.0,
            kind="machine/hedge trimmer",
            confidence=1.0,
            level_dbfs=-22.0,
            low_hz=40.0,
            high_hz=200.0,
            detail="labelled by hand",
        ),
        wind,
    )


def test_examples_are_finds_with_a_label_and_labels_that_were_measured() -> None:
    log = TakeLog(
        take=TAKE,
        calls=(
            call(1.0, 1.2, features=np.float32([1])),
            call(1.3, 1.5, features=np.float32([2])),
            call(5.0, 6.0, features=np.float32([3])),
            call(8.0, 9.0, features=np.float32([4]), by_hand=True),
            call(20.0, 21.0),
        ),
    )
    labels = [
        label(0.9, 1.6, "lesser reedling: trill"),
        Label(take="A001.mov", start_s=8.0, end_s=9.0, label="no call", group="hide"),
        label(20.0, 21.0, "pit rail"),
        label(30.0, 31.0, "pit rail"),
    ]
    made = examples(log, labels)
    assert [(one.features.item(), one.label, one.group) for one in made] == [
        (1.0, "lesser reedling: trill", "A001.mov"),
        (2.0, "lesser reedling: trill", "A001.mov"),
        (4.0, "no call", "hide"),
    ]
    assert all(one.counts for one in made)


def test_a_whole_take_with_a_call_type_is_learnt_as_a_whole_and_by_its_finds() -> None:
    finds = (call(3.0, 4.0, features=np.float32([1])), call(9.0, 9.5, features=np.float32([2])))
    whole = label(0.0, 58.0, "pit rail")
    log = TakeLog(take=TAKE, calls=finds)
    assert unmeasured(log, [whole]) == [whole]
    stretch = call(0.0, 58.0, features=np.float32([3]), by_hand=True)
    log = TakeLog(take=TAKE, calls=(*finds, stretch))
    assert unmeasured(log, [whole]) == []
    assert [(one.features.item(), one.counts) for one in examples(log, [whole])] == [
        (1.0, False),
        (2.0, False),
        (3.0, True),
    ]
    assert [(c.start_s, c.label) for c in with_labels(log, [whole]).calls] == [
        (3.0, "pit rail"),
        (9.0, "pit rail"),
    ], "the finds are listed, not the stretch"
    none = [label(0.0, 60.0, "no call")]
    assert unmeasured(TakeLog(take=TAKE, calls=finds), none) == []


@pytest.mark.parametrize(("end_s", "whole"), [(54.0, True), (53.9, False)])
def test_a_label_over_nine_tenths_of_a_take_is_of_the_whole(end_s: float, whole: bool) -> None:
    found = TakeLog(take=TAKE, calls=(call(3.0, 4.0),))  # 60 s
    of_take = label(0.0, end_s, "pit rail")
    assert unmeasured(found, [of_take]) == ([of_take] if whole else [])


def test_unlabelled_are_the_measured_finds_that_no_label_speaks_for() -> None:
    log = TakeLog(
        take=TAKE,
        calls=(
            call(1.0, 1.5, features=np.float32([1])),
            call(5.0, 6.0, features=np.float32([2])),
            call(9.0, 9.5),  # of a log that holds no measurements of it
            call(20.0, 21.0, features=np.float32([3]), by_hand=True),
        ),
    )
    (left,) = unlabelled(log, [label(1.0, 1.5, "pit rail"), label(20.0, 21.0, "no call")])
    assert (left.features.item(), left.take, left.span) == (2.0, "A001.mov", Span(5.0, 6.0))


spans = st.tuples(st.floats(0, 50), st.floats(0.01, 10)).map(lambda s: (s[0], s[0] + s[1]))


@given(st.lists(spans, max_size=8), st.lists(spans, max_size=8))
def test_finds_outside_all_labels_stay_and_labelled_ones_are_by_hand(
    finds: list[tuple[float, float]], labelled: list[tuple[float, float]]
) -> None:
    log = TakeLog(take=TAKE, calls=tuple(call(*span) for span in sorted(finds)))
    labels = [label(*span, "pit rail") for span in labelled]
    taken = with_labels(log, labels)
    assert len(taken.calls) == len(finds), "call types neither add nor hide a find"
    for one in taken.calls:
        touched = any(one.start_s < end and start < one.end_s for start, end in labelled)
        assert one.by_hand <= touched
        assert (one.label == "pit rail") == one.by_hand


def machine(start_s: float, end_s: float, kind: str = "machine") -> NoiseSpan:
    return NoiseSpan(
        start_s=start_s,
        end_s=end_s,
        kind=kind,
        confidence=0.9,
        level_dbfs=-30,
        low_hz=80,
        high_hz=900,
        detail="beat of 92 Hz",
    )


def test_noise_takes_the_detail_that_a_taught_model_hears_in_it() -> None:
    found = TakeLog(
        take=TAKE,
        calls=(
            call(12.0, 13.0, label="machine/hedge trimmer", confidence=0.9),
            call(52.0, 53.0, label="machine/pump", confidence=0.3),  # not sure of it
        ),
        noise=(machine(10, 20), machine(50, 60), machine(11, 15, "wind")),
    )
    named = with_labels(found, []).noise
    assert {(n.start_s, n.kind) for n in named} == {
        (10, "machine/hedge trimmer"),
        (50, "machine"),
        (11, "wind"),
    }
    assert all(n.detail == "beat of 92 Hz" for n in named)


def test_what_the_user_says_of_a_noise_goes_before_the_model() -> None:
    pump = call(12.0, 13.0, label="machine/pump", confidence=0.9)
    found = TakeLog(take=TAKE, calls=(pump,), noise=(machine(10, 20),))
    (span,) = with_labels(found, [label(11.0, 18.0, "machine/hedge trimmer")]).noise
    assert span.kind == "machine/hedge trimmer"
    assert span.detail == "beat of 92 Hz"


def test_a_machine_over_hum_is_one_more_noise_and_the_hum_stays_hum() -> None:
    hum = NoiseSpan(
        start_s=0.0,
        end_s=60.0,
        kind="machine",
        confidence=0.95,
        level_dbfs=-60.0,
        low_hz=40.0,
        high_hz=400.0,
        detail="hum of the mains, 50 Hz",
    )
    trimmer = label(20.0, 50.0, "machine/hedge trimmer")
    heard = call(20.0, 50.0, label="machine/hedge trimmer", confidence=0.9)
    take_log = TakeLog(take=TAKE, calls=(heard,), noise=(hum,))
    first, second = with_labels(take_log, [trimmer]).noise
    assert first == hum
    assert (second.kind, second.span) == ("machine/hedge trimmer", trimmer.span)
    assert with_labels(take_log, []).noise == (hum,)


def test_noise_that_was_heard_anyway_is_not_said_twice() -> None:
    knock = call(12.0, 13.0, label="call")
    found = TakeLog(take=TAKE, calls=(knock,), noise=(machine(10, 20), machine(10, 20, "wind")))
    inside = with_labels(found, [label(12.0, 13.0, "machine/hedge trimmer")]).noise
    assert [n.kind for n in inside] == ["machine/hedge trimmer", "wind"]
    other = with_labels(found, [label(12.0, 13.0, "handling")]).noise
    assert [noise.kind for noise in other] == ["machine", "wind", "handling"]
    beyond = replace(found, noise=(machine(30, 40),))
    added = with_labels(beyond, [label(12.0, 13.0, "machine/hedge trimmer")]).noise
    assert [(n.start_s, n.kind) for n in added] == [(12, "machine/hedge trimmer"), (30, "machine")]
