"""Takes put, moved and forgotten, their pictures, and takes that could not be read."""

from __future__ import annotations

import sqlite3

import pytest

from calltag.database import Database
from calltag.errors import LogError, NameTakenError
from calltag.log import Log
from calltag.records.found import NoiseSpan, TakeLog
from calltag.records.label import Label
from calltag.records.take import Problem

from .conftest import call, picture, take


def test_logging_a_take_again_replaces_its_finds(log: Log) -> None:
    wind, water = (
        NoiseSpan(
            start_s=0, end_s=9, kind=kind, confidence=1.0, level_dbfs=-30, low_hz=20, high_hz=300
        )
        for kind in ("wind", "water")
    )
    log.put(TakeLog(take=take(), calls=(call(1), call(2)), noise=(wind,)), feature_version=1)
    log.put(TakeLog(take=take(), calls=(call(5),), noise=(water,)), feature_version=2)
    (entry,) = log.entries()
    assert entry.feature_version == 2
    assert [c.start_s for c in log.take_log("A001.mov").calls] == [5.0]
    assert [noise.kind for noise in log.take_log("A001.mov").noise] == ["water"]


def test_a_name_of_another_file_below_other_rushes_is_not_taken_from_it(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    with pytest.raises(NameTakenError, match=r"A001\.mov: the log has this name for a take in"):
        log.put(TakeLog(take=take(digest="other", rushes="/elsewhere")), feature_version=1)
    assert log.takes() == [take()]


def test_takes_come_in_order_of_path(log: Log) -> None:
    for name in ("b.mov", "a/z.mov", "a/b.mov"):
        log.put(TakeLog(take=take(name)), feature_version=1)
    assert [t.path for t in log.takes()] == ["a/b.mov", "a/z.mov", "b.mov"]
    assert [t.take.path for t in log.take_logs()] == ["a/b.mov", "a/z.mov", "b.mov"]


def test_takes_are_listed_as_people_order_names(log: Log) -> None:
    """Capitals do not count, and clip 2 comes before clip 10."""
    paths = ["card A1/x.mov", "Karte B/clip 2.mov", "Karte B/clip 10.mov", "Zoo.mov"]
    for path in reversed(paths):
        log.put(TakeLog(take=take(path)), feature_version=1)
        log.change_labels(put=[Label(take=path, start_s=1.0, end_s=2.0, label="wind")])
        log.put_problem("/ashmere", Problem(path=f"{path} 2", reason="it is empty"))
    assert [one.path for one in log.takes()] == paths
    assert [one.take.path for one in log.take_logs()] == paths
    assert [label.take for label in log.labels()] == paths
    assert [problem.path for _, problem in log.problems()] == [f"{path} 2" for path in paths]


def test_an_unknown_take_is_told(log: Log) -> None:
    with pytest.raises(LogError, match=r"^B\.mov: no such take in calltag\.db; "):
        log.take_log("B.mov")


def test_two_takes_may_exchange_names(log: Log) -> None:
    log.put(TakeLog(take=take("a"), calls=(call(1),)), feature_version=1)
    log.put(TakeLog(take=take("b"), calls=(call(2),)), feature_version=1)
    log.move({"a": ("/elsewhere", "b"), "b": ("/ashmere", "a")})
    assert [(t.path, t.rushes, t.digest) for t in log.takes()] == [
        ("a", "/ashmere", "digest of b"),
        ("b", "/elsewhere", "digest of a"),
    ]
    assert log.take_log("a").calls[0].start_s == 2.0


def test_labels_and_finds_go_with_a_moved_take(log: Log) -> None:
    log.put(TakeLog(take=take("a"), calls=(call(1),)), feature_version=1)
    log.change_labels(put=[Label(take="a", start_s=1, end_s=1.5, label="marsh hooter: boom")])
    log.move({"a": ("/ashmere", "hide/a")})
    assert [label.take for label in log.labels()] == ["hide/a"]
    assert len(log.take_log("hide/a").calls) == 1


def test_a_forgotten_take_leaves_nothing(log: Log) -> None:
    log.put(
        TakeLog(
            take=take(),
            calls=(call(),),
            noise=(
                NoiseSpan(
                    start_s=0,
                    end_s=9,
                    kind="wind",
                    confidence=0.8,
                    level_dbfs=-30,
                    low_hz=20,
                    high_hz=200,
                ),
            ),
        ),
        feature_version=1,
    )
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="wind")])
    log.forget(["A001.mov"])
    with sqlite3.connect(log.path) as db:
        for table in ("takes", "calls", "noise", "labels", "pictures"):
            assert db.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)
    db.close()


def test_pictures_come_out_as_they_went_in(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    untold = picture(4.0, drift_permille_per_s=None, jitter_permille=None, blur_permille=1.5)
    log.put_pictures("A001.mov", [untold, picture()])
    log.put_pictures("A001.mov", [picture(jitter_permille=0.5)])
    log.put_pictures("gone.mov", [picture()])
    assert log.take_log("A001.mov").pictures == (picture(jitter_permille=0.5), untold)


def test_pictures_stay_only_where_the_file_is_the_same(log: Log) -> None:
    log.put(TakeLog(take=take(digest="1")), feature_version=1)
    log.put_pictures("A001.mov", [picture()])
    log.put(TakeLog(take=take(digest="1")), feature_version=2)
    assert log.take_log("A001.mov").pictures == (picture(),)
    log.put(TakeLog(take=take(digest="2")), feature_version=2)
    assert log.take_log("A001.mov").pictures == ()


def test_a_problem_ends_when_the_take_is_read(log: Log) -> None:
    log.put_problem("/ashmere", Problem(path="A001.mov", reason="first"))
    log.put_problem("/ashmere", Problem(path="A001.mov", reason="it is empty; copy it again"))
    log.put_problem("/other", Problem(path="A001.mov", reason="another card"))
    assert log.problems() == [
        ("/ashmere", Problem(path="A001.mov", reason="it is empty; copy it again")),
        ("/other", Problem(path="A001.mov", reason="another card")),
    ]
    log.put(TakeLog(take=take()), feature_version=1)
    assert [rushes for rushes, _ in log.problems()] == ["/other"]
    log.clear_problems([("/other", "A001.mov")])
    assert log.problems() == []


# Two commands at once


def heard(kind: str) -> NoiseSpan:
    return NoiseSpan(
        start_s=0, end_s=9, kind=kind, confidence=1.0, level_dbfs=-30, low_hz=20, high_hz=300
    )


@pytest.mark.parametrize("after", ["FROM takes", "FROM calls", "FROM noise"])
def test_a_take_that_is_logged_again_meanwhile_is_read_as_it_was(
    log: Log, monkeypatch: pytest.MonkeyPatch, after: str
) -> None:
    was = TakeLog(take=take(), calls=(call(1),), noise=(heard("wind"),))
    log.put(was, feature_version=1)
    read = Database.read

    def overtaken(self: Database, query: str, *values: object) -> list[tuple[object, ...]]:
        rows = read(self, query, *values)  # type: ignore[arg-type]
        if after in query:
            monkeypatch.undo()
            with Log(log.path) as other:
                now = TakeLog(take=take(width=640), calls=(call(5),), noise=(heard("water"),))
                other.put(now, feature_version=1)
        return rows

    monkeypatch.setattr(Database, "read", overtaken)
    one = log.take_log("A001.mov")
    assert (one.take.width, one.calls[0].start_s, one.noise[0].kind) == (0, 1.0, "wind")
    again = log.take_log("A001.mov")
    assert (again.take.width, again.calls[0].start_s, again.noise[0].kind) == (640, 5.0, "water")


def test_takes_that_are_moved_or_forgotten_while_all_are_read_lose_no_calls(log: Log) -> None:
    for path in ("a", "b", "c"):
        log.put(TakeLog(take=take(path), calls=(call(1),)), feature_version=1)
    reading = log.take_logs()
    found = [next(reading)]
    with Log(log.path) as other:
        other.move({"b": ("/ashmere", "hide/b")})
        other.forget(["c"])
    found += reading
    assert [(one.take.path, len(one.calls)) for one in found] == [("a", 1), ("hide/b", 1)]


def test_a_name_that_was_given_away_meanwhile_is_told_and_nothing_is_moved(log: Log) -> None:
    for path in ("a", "b"):
        log.put(TakeLog(take=take(path)), feature_version=1)
    with pytest.raises(NameTakenError, match=r"^b: .*; log the rushes again$"):
        log.move({"a": ("/elsewhere", "b")})
    assert log.takes() == [take("a"), take("b")]


def test_what_another_command_moved_already_is_left_where_it_is(log: Log) -> None:
    log.put(TakeLog(take=take("a")), feature_version=1)
    for _ in range(2):
        log.move({"a": ("/ashmere", "hide/a")})
    assert [one.path for one in log.takes()] == ["hide/a"]
