"""Formats that write a file for each take: names that never collide, and what cannot be written."""

from __future__ import annotations

import pytest

from calltag.edit.formats import WriteOptions, all_formats
from calltag.edit.markers import TakeMarkers, from_log
from calltag.edit.take_files import per_take_paths
from calltag.errors import InputError, WriteError
from calltag.records.found import TakeLog
from calltag.records.take import Problem

from .conftest import make_call, make_take


def test_names_never_collide(tmp_path):
    paths = ["a/x.mov", "a/X.wav", "b/x.mov", "c"]
    marked = [TakeMarkers(take=make_take(path), markers=()) for path in paths]
    found = per_take_paths(marked, tmp_path, ".vtt")
    assert [path.relative_to(tmp_path).as_posix() for path in found] == [
        "a/x.mov.vtt",
        "a/X.wav.vtt",
        "b/x.vtt",
        "c.vtt",
    ]


def test_a_name_that_was_made_longer_does_not_collide_with_another_take(tmp_path):
    paths = ["x.mov", "x.wav", "x.mov.mp4", "y.mov"]
    marked = [TakeMarkers(take=make_take(path), markers=()) for path in paths]
    assert [path.name for path in per_take_paths(marked, tmp_path, ".vtt")] == [
        "x.mov.vtt",
        "x.wav.vtt",
        "x.mov.mp4.vtt",
        "y.vtt",
    ]


def test_a_folder_that_cannot_be_written(tmp_path, morning):
    (tmp_path / "here").write_text("a file, no folder")
    with pytest.raises(InputError, match="cannot be written"):
        all_formats()["csv"].write(
            [from_log(morning[0])], tmp_path / "here" / "calls.csv", WriteOptions()
        )


def test_the_folder_for_a_file_for_each_take_is_made_with_those_above_it(tmp_path, morning):
    out = tmp_path / "for" / "the" / "edit"
    written = all_formats()["webvtt"].write([from_log(morning[0])], out, WriteOptions())
    assert written == [out / "pit" / written[0].name]
    assert written[0].is_file()


def test_a_folder_that_cannot_be_made_is_told_once_and_not_for_each_take(tmp_path, morning):
    (tmp_path / "here").write_text("a file, no folder")
    problems: list[Problem] = []
    with pytest.raises(WriteError, match="cannot be written"):
        all_formats()["webvtt"].write(
            [from_log(take_log) for take_log in morning],
            tmp_path / "here" / "out",
            WriteOptions(on_problem=problems.append),
        )
    assert problems == []


def test_a_take_whose_file_cannot_be_written_is_named_with_it_and_the_others_go_on(tmp_path):
    (tmp_path / "hide").write_text("a file, no folder")
    marked = [
        from_log(TakeLog(take=make_take(path), calls=(make_call(1.0, 2.0),)))
        for path in ("hide/A001.mov", "pit/A002.mov")
    ]
    problems: list[Problem] = []
    written = all_formats()["webvtt"].write(
        marked, tmp_path, WriteOptions(on_problem=problems.append)
    )
    assert written == [tmp_path / "pit" / "A002.vtt"]
    (problem,) = problems
    assert problem.path == "hide/A001.mov"
    assert problem.reason.startswith(f"{tmp_path / 'hide' / 'A001.vtt'} cannot be written (")


def test_no_name_leads_out_of_the_folder(tmp_path):
    """Takes of two drives, or shares, may go by their whole paths."""
    paths = ["D:/DCIM/x.mov", "E:/DCIM/x.mov", "earlier/E:/DCIM/x.mov", "//nas/rushes/x.mov"]
    marked = [TakeMarkers(take=make_take(path), markers=()) for path in paths]
    found = per_take_paths(marked, tmp_path, ".vtt")
    assert [path.relative_to(tmp_path).as_posix() for path in found] == [
        "D/DCIM/x.vtt",
        "E/DCIM/x.vtt",
        "earlier/E/DCIM/x.vtt",
        "nas/rushes/x.vtt",
    ]
