"""The user's labels, and what was measured under them."""

from __future__ import annotations

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
