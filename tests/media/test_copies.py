"""Where a take is read from whose own file is away."""

from __future__ import annotations

from dataclasses import replace

from calltag.media.copies import at_hand, copies_of, each_once, same_take, with_copies
from calltag.paths import is_there
from calltag.records.found import Call, TakeLog
from calltag.records.take import Take

CALL = Call(
    start_s=1.0,
    end_s=1.5,
    low_hz=200.0,
    high_hz=500.0,
    peak_hz=300.0,
    snr_db=10.0,
    level_dbfs=-30.0,
    call_probability=1.0,
)


def take(folder, path, digest="d1"):
    return Take(path=path, rushes=str(folder), digest=digest, size_bytes=1, duration_s=1.0)


def files(takes):
    return [one.file for one in with_copies(takes)]


def test_a_copy_is_the_same_take_and_a_file_that_was_not_read_is_no_copy(tmp_path):
    one = take(tmp_path, "pit/A003.mov")
    assert same_take(one, take(tmp_path, "pit/A003.mov", "changed since"))
    assert same_take(one, take(tmp_path, "backup/A003.mov"))
    assert not same_take(one, take(tmp_path, "backup/A003.mov", "another"))
    unread = take(tmp_path, "pit/A003.mov", "")
    assert not same_take(unread, take(tmp_path, "backup/A003.mov", ""))


def test_copies_of_a_take_are_the_others_of_its_content(tmp_path):
    takes = [take(tmp_path, name) for name in ("a.mov", "b.mov", "c.mov")]
    others = [
        take(tmp_path, "d.mov", "d2"),
        take(tmp_path, "e.mov", ""),
        take(tmp_path, "f.mov", ""),
    ]
    assert copies_of(takes[1], [*others, *takes]) == [takes[0], takes[2]]
    assert [copies_of(one, [*others, *takes]) for one in others] == [[], [], []]


def test_a_copy_stands_in_for_a_file_that_is_away(tmp_path):
    (tmp_path / "b.mov").touch()
    (tmp_path / "other.mov").touch()
    takes = [take(tmp_path, "a.mov"), take(tmp_path, "b.mov"), take(tmp_path, "other.mov", "d2")]
    assert [one.path for one in with_copies(takes)] == ["a.mov", "b.mov", "other.mov"]
    assert files(takes) == [tmp_path / name for name in ("b.mov", "b.mov", "other.mov")]


def test_a_take_is_read_from_its_own_file_where_that_is_there(tmp_path):
    for name in ("a.mov", "b.mov"):
        (tmp_path / name).touch()
    assert files([take(tmp_path, "a.mov"), take(tmp_path, "b.mov")]) == [
        tmp_path / "a.mov",
        tmp_path / "b.mov",
    ]


def test_nothing_stands_in_where_no_copy_is_there_or_the_content_is_not_known(tmp_path):
    (tmp_path / "b.mov").touch()
    for takes in (
        [take(tmp_path, "a.mov"), take(tmp_path, "c.mov")],
        [take(tmp_path, "a.mov", ""), take(tmp_path, "b.mov", "")],
    ):
        assert files(takes)[0] == tmp_path / "a.mov"


def test_of_several_copies_the_first_that_is_there_stands_in(tmp_path):
    for name in ("b.mov", "c.mov"):
        (tmp_path / name).touch()
    names = ("away.mov", "a.mov", "b.mov", "c.mov")
    assert [file.name for file in files([take(tmp_path, name) for name in names])] == [
        "b.mov",
        "b.mov",
        "b.mov",
        "c.mov",
    ]


def test_a_file_is_looked_for_only_where_its_take_has_copies(tmp_path, monkeypatch):
    """A drive that is asleep or away takes seconds to answer for each file."""
    asked = []

    def looked_for(file):
        asked.append(file.name)
        return is_there(file)

    monkeypatch.setattr("calltag.media.copies.is_there", looked_for)
    with_copies([take(tmp_path, "a.mov"), take(tmp_path, "b.mov"), take(tmp_path, "c.mov", "d2")])
    assert asked == ["a.mov", "b.mov"]


def test_a_logged_take_is_at_hand_where_its_copy_is(tmp_path):
    (tmp_path / "b.mov").touch()
    takes = [take(tmp_path, "a.mov"), take(tmp_path, "b.mov")]
    logs = [TakeLog(take=takes[0], calls=(CALL,)), TakeLog(take=take(tmp_path, "new.mov", "d3"))]
    first, unknown = at_hand(logs, takes)
    assert (first.take.path, first.take.file, first.calls) == (
        "a.mov",
        tmp_path / "b.mov",
        (CALL,),
    )
    assert unknown == logs[1]


def test_of_copies_the_first_counts_or_the_one_that_was_labelled(tmp_path):
    labelled = replace(CALL, by_hand=True)
    logs = [
        TakeLog(take=take(tmp_path, path, digest), calls=calls)
        for path, digest, calls in (
            ("a.mov", "d1", ()),
            ("b.mov", "d2", (CALL, CALL)),  # found, which is not labelled
            ("copy/a.mov", "d1", ()),
            ("copy/b.mov", "d2", (labelled,)),
            ("x.mov", "", ()),
            ("y.mov", "", ()),
        )
    ]
    assert list(each_once(logs).items()) == [
        ("a.mov", ("copy/a.mov",)),
        ("copy/b.mov", ("b.mov",)),
        ("x.mov", ()),
        ("y.mov", ()),
    ]
