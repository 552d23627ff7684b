"""What becomes of labels where a sound gets another."""

from __future__ import annotations

import pytest

from calltag.learn.labels.relabel import relabelled, with_changes
from calltag.records.found import Call
from calltag.records.label import Label


def call(start_s: float, end_s: float, *, by_hand: bool = False) -> Call:
    return Call(
        start_s=start_s,
        end_s=end_s,
        low_hz=300,
        high_hz=900,
        peak_hz=600,
        snr_db=12,
        level_dbfs=-30,
        call_probability=0.9,
        by_hand=by_hand,
    )


def label(start_s: float, end_s: float, name: str, group: str | None = None) -> Label:
    return Label(take="a.mov", start_s=start_s, end_s=end_s, label=name, group=group)


@pytest.mark.parametrize("by_hand", [False, True])
def test_what_else_the_old_label_spoke_for_keeps_its_name(by_hand: bool) -> None:
    old = label(0.0, 30.0, "pit rail")
    heard = call(0.0, 30.0, by_hand=by_hand)
    changes = relabelled([heard, call(5.0, 6.0)], [old], heard, label(0.0, 30.0, "marsh hooter"))
    assert with_changes([old], changes) == [
        label(0.0, 30.0, "marsh hooter"),
        label(5.0, 6.0, "pit rail"),
    ]


@pytest.mark.parametrize(("given", "kept"), [(None, "north"), ("south", "south")])
def test_a_group_stays_unless_another_is_given(given: str | None, kept: str) -> None:
    heard, old = call(1.0, 2.0), label(1.0, 2.0, "pit rail", "north")
    changes = relabelled([heard], [old], heard, label(1.0, 2.0, "marsh hooter", given))
    assert with_changes([old], changes) == [label(1.0, 2.0, "marsh hooter", kept)]
