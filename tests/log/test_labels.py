"""The user's labels, and what was measured under them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calltag.errors import LogError
from calltag.log import Log
from calltag.records.found import TakeLog
from calltag.records.label import Label

from .conftest import call, given_to_a_model, take


def test_a_label_for_the_same_stretch_replaces_the_earlier(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")])
    again = Label(take="A001.mov", start_s=1, end_s=2, label="no call", group="first light")
    log.change_labels(put=[again])
    assert log.labels() == [again]


def test_one_unknown_take_keeps_all_labels_out(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    labels = [
        Label(take="A001.mov", start_s=1, end_s=2, label="pit rail"),
        Label(take="A002.mov", start_s=1, end_s=2, label="pit rail"),
    ]
    with pytest.raises(LogError, match=r"A002\.mov: no such take"):
        log.change_labels(put=labels)
    assert log.labels() == []


def test_what_is_measured_again_under_a_label_replaces_what_was(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    label = Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")
    log.change_labels(put=[label])
    for peak_hz in (2500.0, 3500.0):
        log.put_measured([(label, call(1, end_s=2.0, peak_hz=peak_hz))])
    assert [one.peak_hz for one in log.take_log("A001.mov").calls] == [3500.0]


def test_what_was_measured_under_a_label_comes_and_goes_with_it(log: Log) -> None:
    log.put(TakeLog(take=take(), calls=(call(9),)), feature_version=1)
    label = Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")
    log.change_labels(put=[label])
    log.put_measured([(label, call(1, end_s=2.0, call_probability=0.1))])
    measured, found = log.take_log("A001.mov").calls
    assert (measured.label, measured.confidence, measured.by_hand) == ("pit rail", 1.0, True)
    assert not found.by_hand
    (matrix,) = given_to_a_model(log, 1)
    assert matrix[:, 0].tolist() == [9.0], "only finds are given types by a model"
    assert log.take_log("A001.mov").calls[0].label == "pit rail"

    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="lesser reedling")])
    assert log.take_log("A001.mov").calls[0].label == "lesser reedling"

    log.change_labels(remove=[label])
    assert log.labels() == []
    assert [c.start_s for c in log.take_log("A001.mov").calls] == [9.0]


def test_a_label_is_changed_and_removed_alone(log: Log) -> None:
    for name in ("A001.mov", "A002.mov"):
        log.put(TakeLog(take=take(name)), feature_version=1)
    one = Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")
    beside = [replace(one, start_s=0.5), replace(one, end_s=3.0), replace(one, take="A002.mov")]
    log.change_labels(put=[one, *beside])
    log.put_measured([(each, call(each.start_s, end_s=each.end_s)) for each in (one, *beside)])

    def measured() -> list[tuple[str, float, float, str]]:
        return [
            (found.take.path, call.start_s, call.end_s, call.label)
            for found in log.take_logs()
            for call in found.calls
        ]

    others = [(each.take, each.start_s, each.end_s, each.label) for each in beside]
    log.change_labels(put=[replace(one, label="no call")])
    assert sorted(measured()) == sorted([*others, ("A001.mov", 1, 2, "no call")])
    log.change_labels(remove=[one])
    assert log.labels() == beside
    assert measured() == others
