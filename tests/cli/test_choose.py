"""Takes by name: what is meant literally, and what stands for anything."""

from __future__ import annotations

import os
import re
import timeit
from dataclasses import replace

import pytest

from calltag.cli._choose import choose_takes
from calltag.cli._keep_choice import at_seconds
from calltag.cli._sound_out import one_take
from calltag.errors import InputError
from calltag.learn.labels.user_table import known_take
from calltag.paths import folded
from calltag.records.found import TakeLog
from calltag.records.take import Problem, Take


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


def test_a_name_may_begin_with_that_of_the_rushes_folder() -> None:
    """The sheet names it, and so did who logged it."""
    first, second = logs("DCIM/A001.MP4", "card1/A002.MP4")
    dawn = [
        replace(one, take=replace(one.take, rushes="/dry/2025 dawn")) for one in (first, second)
    ]
    other = logs("DCIM/A001.MP4")[0]
    every = [*dawn, other]
    for name, chosen in (
        ("2025 dawn", dawn),
        ("2025 Dawn/DCIM/", dawn[:1]),
        ("2025 dawn/card1/A002.MP4", dawn[1:]),
        ("DCIM", [dawn[0], other]),
        ("ashmere", [other]),
    ):
        assert list(choose_takes(every, [name])) == chosen
    called_so = logs("ashmere/A003.MP4")
    assert list(choose_takes([*every, *called_so], ["ashmere"])) == called_so, "these come first"
    with pytest.raises(InputError, match="no such take"):
        list(choose_takes(every, ["2024 dawn"]))


def test_of_copies_that_a_name_fits_one_is_taken() -> None:
    first, second, third = logs("card1/A007.MOV", "card1_backup/A007.MOV", "card2/A007.MOV")
    copy = TakeLog(take=replace(second.take, digest=first.take.digest))
    assert one_take([first, copy], "A007.MOV") is first
    assert one_take([first, copy], "card1_backup/A007.MOV") is copy
    with pytest.raises(InputError, match="several takes are called so"):
        one_take([first, copy, third], "A007.MOV")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("ASH_A_0034", "card1/ASH_A_0034.MP4 or card2/ash_a_0034.wav"),
        ("ash_a_0034.mov", "card1/ASH_A_0034.MP4 or card2/ash_a_0034.wav"),
        ("ASH_A_044.MP4", "card1/ASH_A_0044.MP4"),
        ("card1/ASH_A_0044.MP", "card1/ASH_A_0044.MP4"),
        ("hoots", ""),
    ],
)
def test_a_slip_in_a_name_is_answered_with_what_may_be_meant(typed: str, meant: str) -> None:
    every = logs("card1/ASH_A_0034.MP4", "card1/ASH_A_0044.MP4", "card2/ash_a_0034.wav")
    hint = f"did you mean {meant}? " if meant else ""
    told = re.escape(f"{typed}: no such take in the log; {hint}`calltag takes` lists")
    with pytest.raises(InputError, match=f"^{told}"):
        list(choose_takes(every, [typed]))


@pytest.mark.parametrize("typed", ["card2/A009.mov", "a009.mov", "card2", "Dawn/card2", "FILE"])
def test_a_take_that_could_not_be_read_is_told_with_its_reason(typed: str, tmp_path) -> None:
    broken = tmp_path / "dawn" / "card2" / "A009.mov"
    broken.parent.mkdir(parents=True)
    broken.touch()
    unread = [(str(tmp_path / "dawn"), Problem(path="card2/A009.mov", reason="it is empty"))]
    name = str(broken) if typed == "FILE" else typed
    with pytest.raises(InputError, match=r"^card2/A009\.mov: could not be read: it is empty$"):
        list(choose_takes(logs("card1/A008.mov"), [name], unread))
    every = logs("card2/A008.mov")
    assert [one.take.path for one in choose_takes(every, ["card2"], unread)] == ["card2/A008.mov"]


def test_a_take_may_be_named_by_the_place_of_its_file(tmp_path, monkeypatch) -> None:
    """As a shell completes it, from any folder."""
    rushes = tmp_path / "rushes"
    paths = ["card1/A007.MOV", "card1/A008.MOV", "card2/A007.MOV"]
    for path in paths:
        (rushes / path).parent.mkdir(parents=True, exist_ok=True)
        (rushes / path).touch()
    every = [TakeLog(take=replace(one.take, rushes=str(rushes))) for one in logs(*paths)]
    monkeypatch.chdir(tmp_path)
    assert one_take(every, "rushes/card1/A007.MOV") is every[0]
    assert list(choose_takes(every, ["rushes/card1/"])) == every[:2]
    assert list(choose_takes(every, [str(rushes)])) == every
    monkeypatch.chdir(rushes / "card2")
    assert one_take(every, "A007.MOV") is every[2]
    assert one_take(every, "../card1/A008.MOV") is every[1]


def test_so_it_may_be_in_other_capitals_where_its_disk_takes_them_for_the_same(tmp_path) -> None:
    """A second link stands for such a disk; of two files, each has its own name."""
    card, other = tmp_path / "Card", tmp_path / "CARD"
    for folder in card, other:
        folder.mkdir()
        (folder / "A007.MP4").touch()
    os.link(card / "A007.MP4", card / "a007.mp4")
    (take_log,) = logs("A007.MP4")
    every = [TakeLog(take=replace(take_log.take, rushes=str(place))) for place in (card, other)]
    assert list(choose_takes(every, [str(card / "a007.mp4")])) == every[:1]
    assert list(choose_takes(every, [str(other)])) == every[1:]


def test_a_take_of_which_its_disk_gives_no_answer_is_no_hindrance(tmp_path) -> None:
    """A share that is gone, a folder not to be entered; here, a name longer than disks take."""
    here, gone = logs("card/A001.MP4", f"card/{'A' * 300}.MP4")
    here, gone = [
        replace(one, take=replace(one.take, rushes=str(tmp_path))) for one in (here, gone)
    ]
    (tmp_path / "card").mkdir()
    (tmp_path / "card" / "A001.MP4").touch()
    assert list(choose_takes([gone, here], [str(tmp_path / "card" / "A001.MP4")])) == [here]


def test_of_two_rushes_folders_of_one_name_both_are_taken_and_that_is_said(
    capsys, tmp_path, monkeypatch
) -> None:
    first, second, other = logs("A001.MP4", "A002.MP4", "card/A003.MP4")
    dawn, dusk = [
        replace(one, take=replace(one.take, rushes=f"/ashmere/{when}/card"))
        for one, when in ((first, "dawn"), (second, "dusk"))
    ]
    for _ in range(2):  # as a page does that asks again and again
        assert list(choose_takes([dawn, dusk], ["Card"])) == [dawn, dusk]
    assert capsys.readouterr().err == (
        "Card: 2 rushes folders are called so, and all are taken (/ashmere/dawn/card,"
        " /ashmere/dusk/card); name one in full for its takes alone\n"
    )
    assert list(choose_takes([dawn, dusk, other], ["card"])) == [other], "a folder comes first"
    assert list(choose_takes([dawn, dusk], ["card/A001.MP4"])) == [dawn]
    assert not capsys.readouterr().err
    (tmp_path / "CARD").mkdir()  # a folder that is there, but of no take of the log
    monkeypatch.chdir(tmp_path)
    assert list(choose_takes([dawn, dusk], ["CARD"])) == [dawn, dusk]
    assert capsys.readouterr().err.startswith("CARD: 2 rushes folders are called so")


def test_a_hundred_names_are_looked_for_at_once(tmp_path) -> None:
    """In a log of ten thousand takes; held to folding each path once, in the same run."""
    paths = [f"card{i % 40}/A{i:05d}.MP4" for i in range(10_000)]
    every = logs(*paths)
    (tmp_path / "there.MP4").touch()
    names = [*paths[:98], "card7", str(tmp_path / "there.MP4")]
    every.append(TakeLog(take=replace(every[0].take, rushes=str(tmp_path), path="there.MP4")))

    def seconds(work) -> float:
        return min(timeit.repeat(work, number=1, repeat=3))

    folding_s = seconds(lambda: [folded(path) for path in paths])
    assert len(list(choose_takes(every, names))) == 98 + 250 - 3 + 1
    assert seconds(lambda: list(choose_takes(every, names))) < 1000 * folding_s


@pytest.mark.parametrize("typed", ["Gr\u00fcnrohr.mp4", "Gru\u0308nrohr.mp4"])
def test_an_accent_may_be_stored_or_typed_either_way(typed: str) -> None:
    for stored in ("day1/Gr\u00fcnrohr.MP4", "day1/Gru\u0308nrohr.MP4"):
        assert [one.take.path for one in choose_takes(logs(stored), [typed])] == [stored]
        assert known_take(typed.replace("mp4", "MP4"), [stored]) == stored


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["A.wav"], "A.wav: no call was found at 3 s; it has no call at all"),
        (["A.wav", "B.wav"], "(here 2: A.wav, B.wav)"),
        (["A.wav", "B.wav", "C.wav"], "(here 3: A.wav, B.wav, …)"),
    ],
)
def test_at_a_second_there_is_one_take_and_a_call(names: list[str], said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)):
        at_seconds(logs(*names), [3.0])
