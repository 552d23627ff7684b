from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.errors import InputError
from calltag.learn.labels.label_file import read_labels
from calltag.learn.labels.vocabulary import (
    is_call,
    is_call_type,
    noise_kind,
    parse_label,
    probably_meant,
    spelling_twins,
)
from calltag.records.label import CALL, NO_CALL, NOISE_KINDS, Label


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("marsh hooter: boom", "marsh hooter: boom"),
        ("  Marsh\u00a0hooter:\tboom ", "Marsh hooter: boom"),
        ("re\u0301edling: trill", "r\u00e9edling: trill"),
        ("WIND", "wind"),
        ("Machine /hedge trimmer", "machine/hedge trimmer"),
        ("NO CALL", NO_CALL),
        ("pit rail: rasp/chatter", "pit rail: rasp/chatter"),
    ],
)
def test_labels_are_kept_in_one_form(typed: str, kept: str) -> None:
    assert parse_label(typed) == kept


@pytest.mark.parametrize(
    ("typed", "reason"),
    [
        ("  ", "empty"),
        ("Call", "names no type"),
        ("x" * 81, "longer than 80"),
        ("pit\x00rail", "control character"),
        ("Usable sound", "name of a marker"),
        ("noise: wind", "name of a marker"),
        ("wind/", "ends with its slash"),
        ("engine/boat", "`engine` is no noise kind"),
    ],
)
def test_what_is_no_label_is_refused_with_a_reason(typed: str, reason: str) -> None:
    with pytest.raises(InputError, match=reason):
        parse_label(typed)


@given(st.text(max_size=90))
def test_a_kept_label_is_kept_as_it_is(typed: str) -> None:
    try:
        kept = parse_label(typed)
    except InputError:
        return
    assert parse_label(kept) == kept
    assert len(kept) <= 80
    assert "\n" not in kept
    assert is_call_type(kept) + (noise_kind(kept) is not None) + (kept == NO_CALL) == 1


def test_every_label_is_of_one_sort() -> None:
    assert [noise_kind(f"{kind}/loud") for kind in NOISE_KINDS] == list(NOISE_KINDS)
    assert is_call(CALL)
    assert not is_call_type(CALL)
    assert not is_call("voice/two men")
    assert noise_kind("windhover: kek") is None


def test_two_spellings_of_one_name_are_noticed() -> None:
    names = ["pit rail: rasp", "Pit-rail rasp", "marsh hooter: boom", "pit rail: rasps"]
    assert spelling_twins(names) == [("Pit-rail rasp", "pit rail: rasp")]


@pytest.mark.parametrize(
    ("label", "meant"),
    [
        ("marsh hoter: boom", "marsh hooter: boom"),
        ("Marsh Hooter: Boom", "marsh hooter: boom"),
        ("pit rail:rasp", "pit rail: rasp"),
        ("maschine", "machine"),
        ("no calls", "no call"),
        ("pit rail: squeal", None),
        ("pit rail: song 2", None),
        ("pit rail: song b", None),
        ("pit rail: song iii", None),
        ("marsh hooter: boom", None),
        ("machine/saw", None),
    ],
)
def test_a_slip_of_the_pen_is_told_from_another_name(label: str, meant: str | None) -> None:
    songs = [f"pit rail: song {which}" for which in ("1", "a", "ii")]
    used = ["marsh hooter: boom", "pit rail: rasp", *songs]
    assert probably_meant(label, used) == meant


def test_names_that_differ_in_their_vowel_signs_are_two() -> None:
    assert spelling_twins(["की", "का", "ที", "ทู"]) == []


TABLE = [
    Label(take="a/A001.MOV", start_s=1.25, end_s=2.0, label="pit rail: rasp", group="hide"),
    Label(take="A002.MOV", start_s=0.0, end_s=3.5, label="machine/hedge trimmer"),
    Label(take="A002.MOV", start_s=4.0, end_s=4.5, label="=boom, loud"),
]


@pytest.mark.parametrize(
    "text",
    [
        "take,start_s,end_s,label,group\r\na/A001.MOV,1.25,2,pit rail: rasp,hide\r\n"
        'A002.MOV,0,3.5,Machine/hedge trimmer,,,\r\n\r\nA002.MOV,4,4.5,"\'=boom, loud",\r\n',
        "\ufeffTake;Start_s;End_s;Label;Group;remark\na\\A001.MOV;1,25;2,0;pit rail: rasp;hide;x\n"
        "A002.MOV;0;3,5;machine/hedge trimmer;;\nA002.MOV;4;4,5;=boom, loud;;\n",
        "group\tlabel\tend_s\tstart_s\ttake\nhide\tpit rail:  rasp\t2\t1.25\ta/A001.MOV\n"
        "\tmachine/hedge trimmer\t3.5\t0\tA002.MOV\n\t=boom, loud\t4.5\t4\tA002.MOV\n",
    ],
    ids=["commas", "semicolons", "tabs"],
)
def test_tables_of_every_habit_are_read(tmp_path, text: str) -> None:
    path = tmp_path / "labels.csv"
    path.write_text(text, "utf-8", newline="")
    assert list(read_labels(path)) == TABLE


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_spreadsheet_may_state_what_parts_cells(tmp_path, encoding: str, end: str) -> None:
    path = tmp_path / "labels.csv"
    lines = ("sep=;", "take;start_s;end_s;label", "A.MOV;1,25;2;r\u00e9edling, loud", "A.MOV;x;2;y")
    path.write_bytes(end.join(lines[:3]).encode(encoding))
    (label,) = read_labels(path)
    assert (label.start_s, label.label) == (1.25, "r\u00e9edling, loud")
    path.write_bytes(end.join(lines).encode(encoding))
    with pytest.raises(InputError, match="line 4: start_s is `x`"):
        read_labels(path)


def test_finds_without_a_name_are_read(tmp_path) -> None:
    path = tmp_path / "calls.csv"
    path.write_text("take,start_s,end_s,label\nA.MOV,1,2,call\nA.MOV,3,4,\nA.MOV,5,6,pit rail\n")
    assert [label.label for label in read_labels(path)] == [CALL, CALL, "pit rail"]
    path.write_text("take,start_s,end_s\nA.MOV,1,2\n")
    assert [label.label for label in read_labels(path)] == [CALL]


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "no column take, start_s, end_s"),
        ("take,start_s,label\n", "no column end_s"),
        ("take,start_s,end_s,label,Start_s\nA,1,2,x,1\n", "more than one column start_s"),
        ("take,start_s,end_s,label\nA,1,2,x\nA,one,2,x\n", "line 3: start_s is `one`"),
        ("take,start_s,end_s,label\nA,1,inf,x\n", "line 2: end_s is `inf`"),
        ("take,start_s,end_s,label\nA,-1,2,x\n", "line 2: start_s is `-1`"),
        ("take,start_s,end_s,label\nA,2,2,x\n", "must be later"),
        ("take,start_s,end_s,label\n,1,2,x\n", "line 2: no take"),
        ("take,start_s,end_s,label\nA,1,2,wind/\n", "line 2: `wind/`"),
        ("take,start_s,end_s,label\nA,1\n", "line 2: end_s is ``"),
        (
            "take,start_s,end_s,label\nA,1,5,2,0,x\n",
            "line 2: more cells than columns .`0` has none",
        ),
        (
            "take,start_s,end_s,label\nA,1,2,x, far off\n",
            "line 2: more cells than columns .`far off` has none",
        ),
    ],
)
def test_a_bad_row_is_named_by_file_and_line(tmp_path, text: str, reason: str) -> None:
    path = tmp_path / "labels.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=rf"^labels\.csv.*{reason}"):
        read_labels(path)


def test_a_file_that_is_no_text_is_refused(tmp_path) -> None:
    path = tmp_path / "labels.csv"
    path.write_bytes("take,start_s,end_s,label\nA,1,2,r\u00e9edling".encode("latin-1"))
    with pytest.raises(InputError, match=r"labels\.csv: is not text in UTF-8"):
        read_labels(path)
    with pytest.raises(InputError, match=r"none\.csv: cannot be read \(no such file"):
        read_labels(tmp_path / "none.csv")
