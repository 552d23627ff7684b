"""Takes by name: what is meant literally, and what stands for anything."""

from __future__ import annotations

import pytest

from calltag.cli._choose import choose_takes
from calltag.cli._sound_out import one_take
from calltag.learn.user_table import known_take
from calltag.records import Take, TakeLog


def logs(*paths: str) -> list[TakeLog]:
    return [
        TakeLog(take=Take(path=path, rushes="/ashmere", digest=path, size_bytes=1, duration_s=1.0))
        for path in paths
    ]


@pytest.mark.parametrize(
    ("name", "chosen"),
    [
        ("clip[1].mov", ["day1/clip[1].mov"]),
        ("day1", ["day1/clip[1].mov", "day1/clip1.mov"]),
        ("clip?.mov", []),
        ("clip*", ["day1/clip[1].mov", "day1/clip1.mov"]),
        ("*[1]*", ["day1/clip[1].mov"]),
    ],
)
def test_only_the_star_stands_for_anything(name: str, chosen: list[str]) -> None:
    every = logs("day1/clip[1].mov", "day1/clip1.mov", "day2/a?.mov")
    if chosen:
        assert [one.take.path for one in choose_takes(every, [name])] == chosen
    else:
        with pytest.raises(Exception, match="no such take"):
            list(choose_takes(every, [name]))


def test_a_name_in_full_is_that_take() -> None:
    every = logs("A007.MOV", "card2/A007.MOV", "card2/A008.MOV")
    assert one_take(every, "A007.MOV").take.path == "A007.MOV"
    for names, chosen in (
        (["a007.mov"], [0]),
        (["A007.MOV", "card2"], [0, 1, 2]),
        (["*A007.MOV"], [0, 1]),
        (["A008.MOV"], [2]),
    ):
        assert list(choose_takes(every, names)) == [every[number] for number in chosen]


@pytest.mark.parametrize("typed", ["Gr\u00fcnrohr.mp4", "Gru\u0308nrohr.mp4"])
def test_an_accent_may_be_stored_or_typed_either_way(typed: str) -> None:
    for stored in ("day1/Gr\u00fcnrohr.MP4", "day1/Gru\u0308nrohr.MP4"):
        assert [one.take.path for one in choose_takes(logs(stored), [typed])] == [stored]
        assert known_take(typed.replace("mp4", "MP4"), [stored]) == stored
