"""Whether a file that changed is still the recording it was."""

from __future__ import annotations

import pytest

from calltag.log import Log
from calltag.records.found import TakeLog
from calltag.records.label import Label

from .conftest import call, picture, take


@pytest.mark.parametrize(("new_length_s", "kept"), [(60.02, 1), (58.0, 0)])
def test_labels_stay_only_where_a_replaced_file_has_the_same_length(
    log: Log, new_length_s: float, kept: int
) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")])
    earlier = log.put(
        TakeLog(take=take(digest="other", duration_s=new_length_s)), feature_version=1
    )
    assert earlier == (None if kept else "earlier/A001.mov")
    assert [label.take for label in log.labels()] == [earlier or "A001.mov"]


@pytest.mark.parametrize(
    ("before", "after", "kept"),
    [
        ({"recorded": "2026-05-01T04:00:00Z"}, {"recorded": "2026-05-02T04:00:00Z"}, 0),
        ({"start_tc": "04:00:00:00"}, {"start_tc": "05:10:00:00"}, 0),
        ({"time_reference": 48_000}, {"time_reference": 96_000}, 0),
        ({"recorded": "2026-05-01"}, {"recorded": "2026-05-01", "start_tc": "04:00:00:00"}, 1),
        (
            {"recorded": "2026-05-01T04:00:00Z", "start_tc": "00:00:00:00"},
            {"recorded": "2026-05-01T04:00:00Z", "start_tc": "04:00:00:00"},
            1,
        ),
        ({"recorded": "2026-05-01"}, {}, 1),
    ],
)
def test_labels_of_a_replaced_file_stay_unless_it_began_at_another_time(
    log: Log, before: dict[str, object], after: dict[str, object], kept: int
) -> None:
    """Cameras at a nest make clips of one length, and use their names again."""
    log.put(TakeLog(take=take(**before)), feature_version=1)
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")])
    earlier = log.put(TakeLog(take=take(digest="d", **after)), feature_version=1)
    assert earlier == (None if kept else "earlier/A001.mov")
    assert [label.take for label in log.labels()] == [earlier or "A001.mov"]


def test_an_earlier_recording_keeps_all_that_the_log_had_of_it(log: Log) -> None:
    for number, start_s in enumerate((1, 9, 20)):
        one = TakeLog(take=take(digest=f"d{number}"), calls=(call(start_s),))
        log.put(one, feature_version=1)
        log.put_pictures("A001.mov", [picture(start_s)])
    starts = {
        one.take.path: [
            (c.start_s, p.start_s) for c, p in zip(one.calls, one.pictures, strict=True)
        ]
        for one in log.take_logs()
    }
    assert starts == {
        "A001.mov": [(20, 20)],
        "earlier/A001.mov": [(1, 1)],
        "earlier 2/A001.mov": [(9, 9)],
    }


def test_an_edit_of_a_take_replaces_it_unless_its_labels_do_not_fit(log: Log) -> None:
    """Its calls are found where they were, or it states the hour of its take."""
    recorded = "2026-05-01T04:00:00Z"
    old = take(recorded=recorded)
    log.put(TakeLog(take=old, calls=(call(1), call(9))), feature_version=1)
    edits = [
        TakeLog(take=take(digest="treated"), calls=(call(1.1), call(8.9))),
        TakeLog(take=take(digest="muted", recorded=recorded)),
        TakeLog(take=take(digest="cut", recorded=recorded, duration_s=9.0), calls=(call(3),)),
    ]
    for edit in edits:
        assert log.put(edit, feature_version=1) is None
        log.put(TakeLog(take=old, calls=(call(1), call(9))), feature_version=1)
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")])
    assert log.put(edits[-1], feature_version=1) == "earlier/A001.mov"


@pytest.mark.parametrize(
    ("before", "again", "same"), [(4, 1, False), (4, 2, True), (5, 2, False), (5, 3, True)]
)
def test_a_changed_file_is_the_take_it_was_where_half_its_calls_are_found_again(
    log: Log, before: int, again: int, same: bool
) -> None:
    was = [call(9 * number + 1) for number in range(before)]
    log.put(TakeLog(take=take(), calls=tuple(was)), feature_version=1)
    # The first is found in two pieces now, and counts once; another call is new.
    now = [call(one.start_s + 0.1) for one in was[:again]] + [call(1.3), call(55)]
    earlier = log.put(TakeLog(take=take(digest="d"), calls=tuple(now)), feature_version=1)
    assert earlier == (None if same else "earlier/A001.mov")
