from __future__ import annotations

import csv
import io
import json
import shutil

import pytest

from calltag.cli.demo import demo_clips
from calltag.log import Log

PAIR = ("ASH_A_0031.MP4", "ASH_B_0012.MOV")


def stated() -> dict[tuple[str, str], float]:
    """The offsets that the demo's own table states."""
    with (demo_clips() / "sync.csv").open(encoding="utf-8", newline="") as file:
        return {(r["take_a"], r["take_b"]): float(r["offset_s"]) for r in csv.DictReader(file)}


def test_the_demos_two_cameras_are_lined_up_from_their_files(run) -> None:
    """Their timecodes disagree with the sound by a third of a second; the sound is right."""
    ran = run("sync", *(str(demo_clips() / name) for name in PAIR), "--as", "json")
    assert ran.status == 0
    (row,) = json.loads(ran.out)
    assert (row["take_a"], row["take_b"], row["outcome"]) == (*PAIR, "lined up")
    assert row["offset_s"] == pytest.approx(stated()[PAIR], abs=0.005)
    assert row["confidence"] > 0.95


def test_takes_of_the_log_are_found_by_name_and_kept(run, tmp_path) -> None:
    rushes = tmp_path / "card"
    rushes.mkdir()
    for name in PAIR:
        shutil.copy(demo_clips() / name, rushes)
    assert run("log", str(rushes)).status == 0
    assert run("sync", *PAIR).status == 0
    with Log(tmp_path / "calltag.db", create=False) as log:
        (kept,) = log.alignments()
    assert (kept.take_a, kept.take_b) == PAIR
    assert kept.offset_s == pytest.approx(stated()[PAIR], abs=0.005)

    twice = len(list(csv.DictReader(io.StringIO(run("calls", "--as", "csv").out))))
    listed = run("calls", "--once")
    once = len(list(csv.DictReader(io.StringIO(run("calls", "--once", "--as", "csv").out))))
    assert listed.status == 0
    assert "also in" in listed.out
    assert twice - 9 <= once <= twice - 6, "the second camera heard nine of the first one's calls"


def test_takes_with_nothing_in_common_are_told_and_not_lined_up(run) -> None:
    names = ("ASH_R_0007.WAV", "ASH_C_0004.MP4")
    ran = run("sync", *(str(demo_clips() / name) for name in names), "--as", "csv")
    assert ran.status == 0
    (row,) = csv.DictReader(io.StringIO(ran.out))
    assert row["outcome"] == "no common sound"
    assert row["offset_s"] == ""


def test_a_take_without_sound_is_named_and_the_others_go_on(run) -> None:
    names = (PAIR[0], "ASH_A_0038.MP4", PAIR[1])
    ran = run("sync", *(str(demo_clips() / name) for name in names))
    assert ran.status == 3
    assert "ASH_A_0038.MP4" in ran.err
    assert "lined up" in ran.out


@pytest.mark.parametrize(("names", "told"), [(["no.mov", "such.mov"], "no.mov"), ([], "")])
def test_what_cannot_be_lined_up_is_told(run, names, told) -> None:
    ran = run("sync", *names)
    assert ran.status in (1, 2)
    assert told in ran.err
