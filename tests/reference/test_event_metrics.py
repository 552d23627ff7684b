"""Event figures against the metric's authors' own program and a second, independent one.

Source of the metric: A. Mesaros, T. Heittola, T. Virtanen, "Metrics for polyphonic sound event
detection", Applied Sciences 6(6), 2016, 162. Programs: sed_eval (by its authors), and
mir_eval.transcription with labels as pitches.
"""

from __future__ import annotations

import contextlib
import importlib.util
import io
import math
import re
import warnings
from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calltag.learn.labels.sameness import ONSET_COLLAR_S
from calltag.learn.scoring.event_matching import match_events
from calltag.learn.scoring.score import score
from calltag.records.label import Label

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    notes = pytest.importorskip("mir_eval.transcription")
    sed_eval = pytest.importorskip("sed_eval")

HOOTER, RAIL = "marsh hooter: boom", "pit rail: rasp"
REFERENCE = [
    (HOOTER, 1.0, 2.0),
    (HOOTER, 5.0, 6.0),
    (HOOTER, 10.0, 10.3),
    (RAIL, 20.0, 24.0),
]
ESTIMATE = [
    (HOOTER, 1.15, 2.1),
    (HOOTER, 5.25, 6.0),
    (HOOTER, 10.0, 10.45),
    (RAIL, 20.1, 24.9),
    (RAIL, 30.0, 31.0),
]


def events(rows: list[tuple[str, float, float]], take: str = "A") -> list[Label]:
    return [Label(take=take, start_s=s, end_s=e, label=name) for name, s, e in rows]


def rows_by_take(side: list[Label]) -> dict[str, list[dict[str, float]]]:
    rows = defaultdict(list)
    for event in side:
        rows[event.take].append({"start_s": event.start_s, "end_s": event.end_s})
    return rows


def by_sed_eval(truth: list[Label], found: list[Label], share: float) -> tuple[dict, dict]:
    """Overall and class-wise results of the metric's authors' program."""

    def listed(side: list[Label]) -> list[dict[str, object]]:
        return [
            {"file": "A", "event_label": e.label, "event_onset": e.start_s, "event_offset": e.end_s}
            for e in side
        ]

    metrics = sed_eval.sound_event.EventBasedMetrics(
        event_label_list=sorted({e.label for e in [*truth, *found]}),
        t_collar=ONSET_COLLAR_S,
        percentage_of_length=share,
        event_matching_type="optimal",
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        metrics.evaluate(listed(truth), listed(found))
        results = metrics.results()
    return results["overall"]["f_measure"], results["class_wise"]


def by_mir_eval(truth: list[Label], found: list[Label], share: float) -> tuple[float, ...]:
    """Precision, recall and F1 of notes whose pitches stand for the labels."""
    names = sorted({e.label for e in [*truth, *found]})

    def pitched(side: list[Label]) -> tuple[np.ndarray, np.ndarray]:
        spans = np.array([(e.start_s, e.end_s) for e in side]).reshape(-1, 2)
        return spans, np.array([440.0 * 2 ** names.index(e.label) for e in side])

    return notes.precision_recall_f1_overlap(
        *pitched(truth),
        *pitched(found),
        onset_tolerance=ONSET_COLLAR_S,
        offset_min_tolerance=ONSET_COLLAR_S,
        offset_ratio=share,
    )[:3]


@pytest.mark.parametrize(
    ("share", "precision", "recall", "f1", "macro"),
    [(0.2, 0.4, 0.5, 4 / 9, 1 / 3), (0.5, 0.6, 0.75, 2 / 3, 2 / 3)],
)
def test_worked_example(share: float, precision: float, recall: float, f1: float, macro: float):
    # Five estimates by hand: hits and misses follow from the definition in the paper, section 3.1.
    truth, found = events(REFERENCE), events(ESTIMATE)
    got = score(truth, found, offset_share=share)
    assert (got.micro.precision, got.micro.recall) == pytest.approx((precision, recall))
    assert got.micro.f1 == pytest.approx(f1)
    assert got.macro_f1 == pytest.approx(macro)
    overall, class_wise = by_sed_eval(truth, found, share)
    assert overall["f_measure"] == pytest.approx(f1)
    for label, counts in got.by_label.items():
        assert class_wise[label]["f_measure"]["f_measure"] == pytest.approx(counts.f1)
    assert by_mir_eval(truth, found, share) == pytest.approx((precision, recall, f1))


@pytest.mark.parametrize(("late_s", "hits"), [(0.2, 1), (0.2001, 0)])
@pytest.mark.parametrize("start_s", [0.0, 1.0, 5.0, 10.0])
def test_collar_is_inclusive(start_s: float, late_s: float, hits: int):
    truth = events([(HOOTER, start_s, start_s + 1.0)])
    for begins_late_s, ends_late_s in ((late_s, 0.0), (0.0, late_s)):
        found = events([(HOOTER, start_s + begins_late_s, start_s + 1.0 + ends_late_s)])
        assert len(match_events(truth, found)) == hits


def test_pairs_as_many_as_possible():
    # Taking the nearest first would pair 1.0 with 1.1 and leave 1.2 without: optimal keeps both.
    truth = events([(HOOTER, 5.0, 5.5), (HOOTER, 1.0, 1.5), (HOOTER, 1.2, 1.7)])
    found = events([(HOOTER, 1.1, 1.6), (HOOTER, 0.9, 1.4)])
    assert sorted(match_events(truth, found)) == [(1, 1), (2, 0)]
    assert by_mir_eval(truth, found, 0.2)[2] == pytest.approx(0.8)
    assert by_sed_eval(truth, found, 0.2)[0]["f_measure"] == pytest.approx(0.8)


# Times in sixteenths of a second are exact in binary and in mir_eval's four decimals, and none is
# exactly a collar of 0.2 s away from another, so rounding cannot decide a hit.
ticks = st.tuples(st.sampled_from("ab"), st.integers(0, 64), st.integers(1, 40))
sides = st.lists(ticks.map(lambda t: (t[0], t[1] / 16, (t[1] + t[2]) / 16)), min_size=1, max_size=9)


@settings(max_examples=150, deadline=None)
@given(reference=sides, estimate=sides, share=st.sampled_from([0.2, 0.5]))
def test_equal_to_mir_eval(reference: list, estimate: list, share: float):
    truth, found = events(reference), events(estimate)
    got = score(truth, found, offset_share=share)
    expected = by_mir_eval(truth, found, share)
    assert (got.micro.precision, got.micro.recall, got.micro.f1) == pytest.approx(expected)


@settings(max_examples=30, deadline=None)
@given(reference=sides, estimate=sides)
def test_equal_to_sed_eval(reference: list, estimate: list):
    truth, found = events(reference), events(estimate)
    got = score(truth, found, offset_share=0.5)
    overall, class_wise = by_sed_eval(truth, found, 0.5)
    assert overall["precision"] == pytest.approx(got.micro.precision)
    assert overall["recall"] == pytest.approx(got.micro.recall)
    for label, counts in got.by_label.items():
        if counts.truth and counts.found:  # it knows no F1 of a label that one side lacks
            assert class_wise[label]["f_measure"]["f_measure"] == pytest.approx(counts.f1)


def test_takes_are_not_mixed():
    truth = [*events(REFERENCE, "A"), *events(REFERENCE, "B")]
    found = [*events(ESTIMATE, "A"), *events(ESTIMATE, "C")]
    got = score(truth, found)
    assert (got.micro.truth, got.micro.found, got.micro.right) == (8, 5, 2)
    assert (got.takes, got.left_out) == (2, 1)


@pytest.mark.field
def test_overlap_equal_to_the_recordings_own_scorer(field, rng):
    """The folder of recordings brings a scorer of its own; figures by overlap must be its."""
    spec = importlib.util.spec_from_file_location("field_score", field / "score.py")
    scorer = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(scorer)

    truth, found = [], []
    for take in range(6):
        starts = np.cumsum(rng.uniform(0.5, 3.0, 12))
        for start in starts:
            end = start + rng.uniform(0.1, 0.45)
            truth.append(Label(take=f"{take}", start_s=start, end_s=end, label="call"))
            if rng.random() < 0.8:
                moved = start + rng.normal(0, 0.1)
                end = moved + rng.uniform(0.05, 0.8)
                found.append(Label(take=f"{take}", start_s=moved, end_s=end, label="call"))
            if rng.random() < 0.3:
                found.append(
                    Label(take=f"{take}", start_s=end + 0.5, end_s=end + 0.7, label="call")
                )
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        scorer.score(*(rows_by_take(side) for side in (truth, found)))
    numbers = [float(n) for n in re.findall(r"\d+(?:\.\d+)?", printed.getvalue().split("truth")[1])]
    got = score(truth, found).overlap
    assert 0.3 < got.recall < 0.95
    assert 0.3 < got.precision < 0.95
    expected = (
        got.truth,
        got.found,
        round(got.recall, 3),
        round(got.precision, 3),
        round(got.f1, 3),
        round(1000 * got.onset_error_s),
    )
    # "F1:" leaves a 1 among the printed numbers.
    assert [n for i, n in enumerate(numbers) if i != 4] == pytest.approx(expected)


def test_nothing_found_is_zero_and_nothing_at_all_is_nan():
    truth = events(REFERENCE)
    nothing = score(truth, [])
    assert nothing.micro.f1 == 0.0
    assert nothing.overlap.f1 == 0.0
    assert math.isnan(nothing.micro.precision)
    empty = score([], [], takes=["A", "B"])
    assert math.isnan(empty.micro.f1)
    assert math.isnan(empty.overlap.f1)
