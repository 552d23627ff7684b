from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.errors import InputError
from calltag.learn.scoring.counting import FOUND_SHARE, Names
from calltag.learn.scoring.event_matching import match_events
from calltag.learn.scoring.score import finds, read_truth, score
from calltag.records.found import Call, TakeLog
from calltag.records.label import Label
from calltag.records.take import Take


def event(start_s: float, end_s: float, label: str = "call", take: str = "A.MOV") -> Label:
    return Label(take=take, start_s=start_s, end_s=end_s, label=label)


@pytest.mark.parametrize(
    ("found", "hit", "right"),
    [
        ([(10.0, 11.0)], 1, 1),
        ([(10.0, 10.24)], 0, 1),
        ([(10.0, 10.25)], 1, 1),
        ([(9.0, 11.0)], 1, 1),
        ([(8.9, 11.0)], 1, 0),
        ([(10.0, 10.13), (10.5, 10.63)], 1, 2),
        ([(11.0, 12.0)], 0, 0),
        ([], 0, 0),
    ],
)
def test_overlap_by_hand(found: list[tuple[float, float]], hit: int, right: int) -> None:
    got = score([event(10.0, 11.0)], [event(*span) for span in found]).overlap
    assert (got.hit, got.right) == (hit, right)


def test_what_overlaps_counts_once() -> None:
    # two animals at once, 0.3 s of a find of 1 s; and two finds of the same fifth of a call
    both = [event(10.0, 10.3, "pit rail: rasp"), event(10.0, 10.3, "marsh hooter: boom")]
    assert score(both, [event(10.0, 11.0)]).overlap.right == 0
    assert score([event(10.0, 11.0)], [event(10.0, 10.2), event(10.0, 10.2)]).overlap.hit == 0


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(1, 9)), max_size=8))
def test_a_call_is_covered_by_all_finds_together(spans: list[tuple[int, int]]) -> None:
    eighths = {at for start, n in spans for at in range(start, start + n)}
    found = [event(start / 8, (start + n) / 8) for start, n in spans]
    for first, n in ((0, 8), (7, 16), (20, 4)):
        common = len(eighths & set(range(first, first + n)))
        got = score([event(first / 8, (first + n) / 8)], found).overlap
        assert got.hit == (common >= FOUND_SHARE * n and common > 0)


def test_a_call_is_found_by_a_quarter_of_its_own_length() -> None:
    for length_s in (0.4, 4.0):
        truth = [event(10.0, 10.0 + length_s)]
        for share, hit in ((0.24, 0), (0.26, 1)):
            assert score(truth, [event(10.0, 10.0 + share * length_s)]).overlap.hit == hit


def test_onset_error_is_that_of_the_nearest_overlapping_find() -> None:
    truth = [event(10.0, 11.0), event(20.0, 21.0)]
    found = [event(9.9, 10.4), event(10.02, 10.6), event(20.3, 21.0), event(19.99, 20.0)]
    assert score(truth, found).overlap.onset_error_s == pytest.approx((0.02 + 0.3) / 2)


def test_noise_is_neither_truth_nor_find() -> None:
    truth = [event(1, 2, "pit rail: rasp"), event(5, 9, "machine/hedge trimmer")]
    found = [event(1, 2, "pit rail: rasp"), event(5, 9, "wind"), event(5, 9, "no call")]
    got = score(truth, found)
    assert (got.micro.truth, got.micro.found, got.micro.right) == (1, 1, 1)


def test_a_wrong_name_is_a_find_but_not_of_its_type() -> None:
    got = score([event(1, 2, "pit rail: rasp")], [event(1, 2, "marsh hooter: boom")])
    assert got.events.f1 == 1.0
    assert got.micro.f1 == 0.0
    assert got.macro_f1 == 0.0


def test_takes_without_a_call_count_when_they_are_named() -> None:
    truth, found = [event(1, 2)], [event(1, 2), event(7, 8, take="B.MOV")]
    alone = score(truth, found)
    assert (alone.takes, alone.left_out, alone.overlap.precision) == (1, 1, 1.0)
    whole = score(
        truth, found, takes=["A.MOV", "B.MOV"], durations_s={"A.MOV": 60.0, "B.MOV": 60.0}
    )
    assert (whole.takes, whole.left_out, whole.overlap.precision) == (2, 0, 0.5)
    assert whole.false_per_minute == 0.5
    assert np.isnan(score(truth, found, durations_s={"B.MOV": 60.0}).false_per_minute)


def test_intervals_come_from_drawing_takes_again(rng) -> None:
    takes = [f"{i}.MOV" for i in range(40)]
    truth = [event(1, 2, take=take) for take in takes]
    found = [event(1, 2, take=take) for take in takes[:30]]
    got = score(truth, found)
    # Recall is 0.75 and every find is right: F1 = 2r / (1 + r). A share of 30 in 40 has a 95 %
    # interval of 0.60 to 0.86 (Wilson), so F1 lies between 0.75 and 0.92, give or take the method.
    assert got.events_f1_interval.low == pytest.approx(0.75, abs=0.03)
    assert got.events_f1_interval.high == pytest.approx(0.92, abs=0.03)
    assert got.events_f1_interval == score(truth, list(reversed(found))).events_f1_interval
    assert np.isnan(score(truth[:1], found[:1]).events_f1_interval.low)


def test_the_names_of_takes_say_nothing() -> None:
    """The takes are drawn in order, so that the same annotation has the same figures every day."""

    def intervals(stem: str) -> tuple[object, ...]:
        takes = [f"{stem}{i:02}.MOV" for i in range(30)]
        truth = [
            event(at, at + 1, take=t) for i, t in enumerate(takes) for at in range(0, 2 * i, 2)
        ]
        found = [one for i, one in enumerate(truth) if i % 5 or i % 7]
        got = score(truth, found[len(found) // 4 :])
        return got.overlap_f1_interval, got.events_f1_interval

    assert len({intervals(stem) for stem in "ABCDEF"}) == 1


def test_report_in_plain_words() -> None:
    truth = [event(1, 2, "pit rail: rasp"), event(5, 6, "pit rail: rasp", take="B.MOV")]
    found = [event(1.01, 2, "pit rail: rasp"), event(8, 9, take="C.MOV")]
    text = score(truth, found).text()
    assert "2 takes compared: 2 calls in the reference, 1 found." in text
    assert "Found 1 of the 2 calls (50 %); 1 of the 1 find is a call (100 %)." in text
    assert "Starts are off by 10 ms" in text
    assert "Left out: 1 take that the reference does not name." in text
    assert "1 right, 1 missed, 0 false" in text
    assert "nan" not in score(truth, []).text()
    assert "type" not in score([event(1, 2)], [event(1, 2)]).text()


def test_an_end_that_is_off_makes_no_name_wrong() -> None:
    rasp, boom = "pit rail: rasp", "marsh hooter: boom"
    truth = [event(at, at + 1, rasp) for at in (0, 10, 20, 30)] + [event(33, 34, boom)]
    found = [
        event(0, 1.9, rasp),  # the name is right, the end is not
        event(10, 11, boom),
        event(20, 21),
        event(32.9, 34, boom),
        event(50, 51, boom),  # no call, so it says nothing of names
    ]
    got = score(truth, found)
    assert (got.names.right, got.names.other, got.names.none) == (2, 1, 1)
    assert "Names of 4 finds that are calls: 2 right, 1 wrong, 1 without a type." in got.text()
    assert (got.by_label[rasp].right, got.by_label[boom].right) == (0, 1)


def test_a_find_over_two_calls_bears_the_name_of_the_longer() -> None:
    truth = [event(0, 2, "pit rail: rasp"), event(2, 2.5, "marsh hooter: boom")]
    assert score(truth, [event(0, 2.5, "pit rail: rasp")]).names.right == 1
    assert score(truth, [event(0, 2.5, "marsh hooter: boom")]).names.other == 1


def test_of_two_animals_at_once_either_name_is_right() -> None:
    trill, rasp = "lesser reedling: trill", "pit rail: rasp"
    truth = [event(0, 10, trill), event(3, 4, rasp)]
    for found in (event(3, 4, rasp), event(2.9, 4.1, rasp), event(3, 4, trill)):
        assert score(truth, [found]).names == Names(right=1, other=0, none=0)
    for found in (event(2, 5, rasp), event(3, 4, "marsh hooter: boom")):
        assert score(truth, [found]).names == Names(right=0, other=1, none=0)
    unnamed = [event(3, 4, rasp), event(3, 4)]
    assert score(unnamed, [event(3, 4)]).names == Names(right=0, other=0, none=1)


def test_names_are_not_counted_where_the_reference_says_none() -> None:
    assert "Names" not in score([event(1, 2)], [event(1, 2, "pit rail: rasp")]).text()


def test_before_teaching_it_says_that_types_are_not_compared():
    named = event(1, 2, label="pit rail: pipe")
    text = score([named], [event(1, 2)]).text()
    assert "Found 1 of the 1 call (100 %)" in text
    assert "no find has one yet" in text
    assert "right too" not in text
    assert "right too" in score([named], [named]).text()


def test_types_that_no_find_has_are_told_with_what_they_do_to_the_mean():
    """As of a reference that names animals that nobody taught: one of two types is always right."""
    rasp, trill = "pit rail: rasp", "lesser reedling: trill"
    truth = [event(1, 2, rasp), event(5, 6, trill), event(9, 10, trill)]
    found = [event(1, 2, rasp), event(5, 6), event(9, 10)]
    got = score(truth, found)
    assert got.macro_f1 == 0.5
    text = got.text()
    assert f"  {trill}     0 right, 2 missed, 0 false; no find has this name\n" in text
    assert f"  {rasp}             1 right, 0 missed, 0 false\n" in text
    assert text.endswith(
        "A type that no find has counts as 0 in the mean. What was not taught cannot be named:"
        " `calltag teach` lists what was."
    )
    one_named = [*found[:2], event(9, 10.4, trill)]
    assert "no find has" not in score(truth, one_named).text()


def test_finds_of_the_log_are_its_calls() -> None:
    def call(start_s: float, label: str) -> Call:
        return Call(
            start_s=start_s,
            end_s=start_s + 1,
            low_hz=900,
            high_hz=1400,
            peak_hz=1000,
            snr_db=12,
            level_dbfs=-30,
            call_probability=0.9,
            label=label,
        )

    take = Take(path="A.MOV", rushes="/ashmere", digest="d", size_bytes=1, duration_s=60.0)
    log = TakeLog(take=take, calls=(call(1, "call"), call(3, "wind"), call(5, "pit rail: rasp")))
    assert [(find.start_s, find.label) for find in finds([log])] == [
        (1, "call"),
        (5, "pit rail: rasp"),
    ]


def test_a_reference_without_calls_is_refused(tmp_path) -> None:
    path = tmp_path / "truth.csv"
    path.write_text("take,start_s,end_s\n")
    with pytest.raises(InputError, match=r"truth\.csv: holds no call"):
        read_truth(path)
    path.write_text("take,start_s,end_s,snr_db\nA.MOV,1,2,10\n")
    assert read_truth(path) == (event(1, 2),)
    with pytest.raises(InputError, match="names no take"):
        score([], [event(1, 2)])


def test_many_events_are_paired_quickly(rng) -> None:
    starts = np.sort(rng.uniform(0, 3600, 1500))
    truth = [event(s, s + 0.3) for s in starts]
    found = [
        event(s + d, s + 0.3 + d) for s, d in zip(starts, rng.normal(0, 0.02, 1500), strict=True)
    ]
    assert len(match_events(truth, found)) == 1500
