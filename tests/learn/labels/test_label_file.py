from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from calltag.edit.tables import CALL_COLUMNS, call_row, csv_text
from calltag.errors import InputError
from calltag.learn.labels.by_hand import with_labels
from calltag.learn.labels.label_file import read_label_file
from calltag.records.found import Call, TakeLog
from calltag.records.label import CALL, Label
from calltag.records.take import Take


def take(path: str, **changes: object) -> Take:
    values: dict[str, object] = {
        "path": path,
        "rushes": "/ashmere",
        "digest": "d",
        "size_bytes": 1,
        "duration_s": 60.0,
        "sample_rate_hz": 48_000,
    }
    return Take(**(values | changes))  # type: ignore[arg-type]


def call(start_s: float, label: str = CALL) -> Call:
    return Call(
        start_s=start_s,
        end_s=start_s + 0.51234,
        low_hz=2000,
        high_hz=4000,
        peak_hz=3000,
        snr_db=12,
        level_dbfs=-30,
        call_probability=0.9,
        label=label,
        confidence=0.8,
    )


LOGS = {
    one.take.path: one
    for one in (
        TakeLog(take=take("card1/A001.mov"), calls=(call(1.0), call(5.0, "pit rail"))),
        TakeLog(take=take("card2/A001.mov")),
        TakeLog(take=take("=A002.mov")),
        TakeLog(take=take("silent.mov", sample_rate_hz=None)),
    )
}


@pytest.fixture
def write(tmp_path: Path):
    def write(text: str, encoding: str = "utf-8") -> Path:
        path = tmp_path / "labels.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write


GOOD = [
    Label(take="card1/A001.mov", start_s=1.0, end_s=1.5, label="pit rail: rasp"),
    Label(take="card2/A001.mov", start_s=2.25, end_s=3.0, label="no call", group="hide"),
]


@pytest.mark.parametrize(
    "text",
    [
        "take,start_s,end_s,label,group\r\n"
        "card1/A001.mov,1.0,1.5,pit rail: rasp,\r\ncard2/A001.mov,2.25,3,no call,hide\r\n",
        "\ufefftake;start_s;end_s;label;group\n"
        "card1\\A001.mov;1,0;1,5;pit rail: rasp;\n\ncard2/A001.mov;2,25;3;No call;hide\n",
        "label\tgroup\ttake\tend_s\tstart_s\n"
        "pit rail: rasp\t\tcard1/A001.mov\t1.5\t1.0\nno call\thide\tcard2/A001.mov\t3\t2.25\n",
        'TAKE,Start_s,END_S,label,group,note\n"card1/A001.mov",1.0,1.5,"pit rail: rasp",,"""far"", '
        'left\nbank"\ncard2/A001.mov,2.25,3,no call,hide,\n',
    ],
    ids=["RFC 4180", "semicolons, decimal commas and a byte order mark", "tabs", "quotes"],
)
def test_labels_are_read_whatever_program_wrote_them(write, text: str) -> None:
    read = read_label_file(write(text), LOGS)
    assert list(read.labels) == GOOD
    assert read.bad == ()


def test_all_that_is_wrong_is_told_at_once(write) -> None:
    path = write(
        "take,start_s,end_s,label\n"
        "card1/A001.mov,2,1,pit rail\n"
        "card1/A001.mov,50,61,pit rail\n"
        "A009.mov,1,2,pit rail\n"
        "A001.mov,1,2,pit rail\n"
        "silent.mov,1,2,pit rail\n"
        "card1/A001.mov,one,2,pit rail\n"
        "card1/A001.mov,1,2,owl/hoot\n"
        "card1/A001.mov,60,60.05,pit rail\n"
        "card1/A001.mov,1,2,pit rail\n"
    )
    read = read_label_file(path, LOGS)
    assert [label.start_s for label in read.labels] == [1.0]
    assert [sentence.partition(": ")[0] for sentence in read.bad] == [
        f"labels.csv, line {line}" for line in range(2, 10)
    ]
    for sentence, part in zip(
        read.bad,
        [
            "end_s (1) must be later than start_s (2)",
            "end_s (61) lies after the end of card1/A001.mov (60.00 s)",
            "A009.mov: no such take in the log",
            "A001.mov: several takes have this name",
            "silent.mov has no sound",
            "start_s is `one`",
            "`owl` is no noise kind",
            "the label begins where card1/A001.mov ends",
        ],
        strict=True,
    ):
        assert part in sentence
        assert "\n" not in sentence


def test_a_label_that_just_passes_the_end_is_cut_there(write) -> None:
    read = read_label_file(write("take,start_s,end_s,label\ncard2/A001.mov,59,60.05,wind\n"), LOGS)
    assert [label.end_s for label in read.labels] == [60.0]


def test_a_name_guarded_against_formulas_is_understood(write) -> None:
    read = read_label_file(write("take,start_s,end_s,label\n'=A002.mov,1,2,wind\n"), LOGS)
    assert [label.take for label in read.labels] == ["=A002.mov"]


def test_of_a_listing_only_what_the_user_changed_becomes_a_label(write) -> None:
    log = TakeLog(
        take=take("card1/A001.mov"),
        calls=(call(1.0), call(5.0, "pit rail"), call(20.0), call(30.0, "pit rail")),
    )
    rows = [call_row(log.take, one) for one in log.calls]
    rows[2]["label"] = "marsh hooter: boom"  # filled in by the user
    rows[3]["label"] = "lesser reedling"  # put right by the user
    read = read_label_file(write(csv_text(CALL_COLUMNS, rows)), {"card1/A001.mov": log})
    assert [(label.start_s, label.label) for label in read.labels] == [
        (20.0, "marsh hooter: boom"),
        (30.0, "lesser reedling"),
    ]
    assert (read.unnamed, read.unchanged, read.bad) == (1, 1, ())


def test_a_table_without_the_columns_is_refused(write) -> None:
    with pytest.raises(InputError, match=r"labels\.csv: no column end_s; the first line must name"):
        read_label_file(write("take,start_s,label\nA001.mov,1,pit rail\n"), LOGS)
    with pytest.raises(InputError, match=r"labels\.csv: more than one column label"):
        read_label_file(write("take,start_s,end_s,label,Label\nA001.mov,1,2,x,y\n"), LOGS)


def test_text_of_another_encoding_is_refused(write) -> None:
    with pytest.raises(InputError, match=r"labels\.csv: is not text in UTF-8"):
        read_label_file(write("take,start_s,end_s,label\nA.mov,1,2,Rüttler\n", "latin-1"), LOGS)


class TestListingOfLabelledCalls:
    """Listed times are the call's own, not those of the label that was drawn around it."""

    LOG = TakeLog(
        take=take("card1/A001.mov"),
        calls=(
            call(1.0, "pit rail"),
            call(2.0),
            call(3.0),
            replace(call(9.0), by_hand=True),
        ),
    )
    LABELS = (
        Label(take="card1/A001.mov", start_s=0.95, end_s=1.6, label="pit rail: rasp", group="hide"),
        Label(take="card1/A001.mov", start_s=1.9, end_s=3.7, label="marsh hooter: boom"),
        Label(take="card1/A001.mov", start_s=9.0, end_s=9.51234, label="pit rail: pipe"),
    )

    def read(self, write, **changed: str):
        rows = [call_row(self.LOG.take, one) for one in with_labels(self.LOG, self.LABELS).calls]
        for row in rows:
            row["label"] = changed.get(f"at_{row['start_s']:.0f}", row["label"])
        logs = {"card1/A001.mov": self.LOG}
        return read_label_file(
            write(csv_text(CALL_COLUMNS, rows)), logs, {"card1/A001.mov": self.LABELS}
        )

    def test_left_as_it_is_it_says_nothing_new(self, write) -> None:
        read = self.read(write)
        assert (read.labels, read.given_way, read.parts, read.unchanged) == ((), (), (), 4)

    def test_a_changed_line_stands_in_place_of_the_label(self, write) -> None:
        read = self.read(write, at_1="pit rail: squeal")
        (new,) = read.labels
        assert (new.span, new.label, new.group) == (call(1.0).span, "pit rail: squeal", "hide")
        assert (read.given_way, read.parts, read.unchanged) == (self.LABELS[:1], (), 3)

    def test_no_call_takes_a_labelled_call_away(self, write) -> None:
        read = self.read(write, at_1="no call", at_9="no call")
        assert [(one.start_s, one.label) for one in read.labels] == [
            (1.0, "no call"),
            (9.0, "no call"),
        ]
        assert read.given_way == self.LABELS[:1]
        stored = [*self.LABELS[1:2], *read.labels]
        assert [one.start_s for one in with_labels(self.LOG, stored).calls] == [2.0, 3.0]

    def test_a_label_of_several_calls_is_taken_apart(self, write) -> None:
        read = self.read(write, at_3="lesser reedling: trill")
        assert [(one.start_s, one.label) for one in read.labels] == [
            (3.0, "lesser reedling: trill")
        ]
        assert [(one.start_s, one.label) for one in read.parts] == [(2.0, "marsh hooter: boom")]
        assert read.given_way == self.LABELS[1:2]


def test_of_two_lines_for_one_stretch_the_later_counts(write) -> None:
    text = "take,start_s,end_s,label\ncard2/A001.mov,2,3,wind\ncard2/A001.mov,2,3,water\n"
    assert [label.label for label in read_label_file(write(text), LOGS).labels] == ["water"]
