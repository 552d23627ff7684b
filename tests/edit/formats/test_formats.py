"""How formats are found, and that they agree."""

from __future__ import annotations

import inspect
from pathlib import Path

import numpy as np
import pytest

from calltag.edit.formats import WriteOptions, all_formats, chapters, choose_format, wav_cues
from calltag.edit.markers import TakeMarkers, from_log
from calltag.edit.take_files import per_take_paths
from calltag.errors import InputError, WriteError
from calltag.media.rushes import find_clips
from calltag.media.wave_files.bext import Bext
from calltag.media.wave_files.wav_writing import write_wav
from calltag.records.found import TakeLog
from calltag.records.take import Problem

from ..conftest import make_call, make_sound, make_take


def test_every_format_has_the_same_shape():
    formats = all_formats()
    assert list(formats) == ["chapters", "csv", "edl", "otio", "wav", "webvtt"]
    for name, found in formats.items():
        assert name == found.NAME
        assert found.SUFFIX.startswith(".")
        assert list(inspect.signature(found.write).parameters) == ["take_markers", "out", "options"]
    # what holds a timeline or an edit list begins at a timecode of its own
    assert [name for name, found in formats.items() if found.OWN_START] == ["edl", "otio"]


@pytest.mark.parametrize(
    ("out", "name", "chosen"),
    [
        ("a.otio", None, "otio"),
        ("a.EDL", None, "edl"),
        ("a.csv", None, "csv"),
        ("folder", None, "webvtt"),
        ("folder", "wav", "wav"),
        ("a.txt", "csv", "csv"),
    ],
)
def test_suffix_or_name_chooses(out, name, chosen):
    assert chosen == choose_format(Path(out), name).NAME


def test_a_folder_with_a_dot_is_a_folder(tmp_path):
    (tmp_path / "day.2").mkdir()
    assert choose_format(tmp_path / "day.2").NAME == "webvtt"


@pytest.mark.parametrize(
    ("out", "name", "reason"),
    [
        ("a.txt", None, r"end the name in one of \.csv, \.edl, \.otio"),
        ("a.vtt", None, "name a folder"),
        ("a.otio", "xml", "there is chapters, csv"),
    ],
)
def test_no_such_format(out, name, reason):
    with pytest.raises(InputError, match=reason):
        choose_format(Path(out), name)


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


@pytest.mark.parametrize("name", ["csv", "edl", "otio", "webvtt"])
def test_nothing_half_written_and_nothing_overwritten(tmp_path, morning, name, monkeypatch):
    marked = [from_log(take_log) for take_log in morning]
    writer = all_formats()[name]
    out = tmp_path / ("out" if writer.PER_TAKE else f"out{writer.SUFFIX}")
    written = writer.write(marked, out, WriteOptions())
    before = {path: path.read_bytes() for path in written}
    other = "folder" if writer.PER_TAKE else "file"
    with pytest.raises(InputError, match=f"exists already; name another {other}, or add --replace"):
        writer.write(marked, out, WriteOptions())

    def full_disk(self, data):
        raise OSError(28, "No space left on device", str(self))

    monkeypatch.setattr(Path, "write_bytes", full_disk)
    with pytest.raises(InputError, match="no space left on device"):
        writer.write(marked, out, WriteOptions(replace=True))
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert {path: path.read_bytes() for path in files} == before


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


def test_copies_are_no_rushes(tmp_path: Path, make_clip) -> None:
    rushes, out = tmp_path / "rushes", tmp_path / "rushes" / "for the edit"
    rushes.mkdir()
    sound = rushes / "R001.wav"
    write_wav(sound, np.zeros((1, 96_000)), 48_000, bext=Bext(originator="recorder"))
    clips = [make_clip(rushes / "A001.mkv"), sound]
    makers = (make_take("A001.mkv", rushes=str(rushes)), make_sound("R001.wav", rushes=str(rushes)))
    logs = [TakeLog(take=take, calls=(make_call(0.2, 0.6),)) for take in makers]
    marked = [from_log(log) for log in logs]
    copies = chapters.write(marked, out, WriteOptions()) + wav_cues.write(
        marked, out, WriteOptions()
    )
    assert sorted(path.name for path in copies) == ["A001.mkv", "A001.wav", "R001.mka", "R001.wav"]
    found = find_clips([rushes])
    assert [clip.path for clip in found.clips] == clips
    assert found.own == 4


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
