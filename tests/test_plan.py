from __future__ import annotations

import os
from pathlib import Path, PureWindowsPath
from types import SimpleNamespace

import pytest

from calltag.log import Entry
from calltag.media.identity import digest
from calltag.media.rushes import Clip, find_clips
from calltag.plan import Plan, is_gone, make_plan
from calltag.records.take import Take

VERSION = 3


@pytest.fixture
def clip(tmp_path: Path):
    def clip(name: str, text: str) -> Path:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        return path

    return clip


def entry(rushes: Path, path: str, identity: str, *, feature_version: int = VERSION) -> Entry:
    take = Take(path=path, rushes=str(rushes), digest=identity, size_bytes=1, duration_s=1.0)
    return Entry(take=take, feature_version=feature_version)


def plan(folders: list[Path], entries: list[Entry], **options: bool) -> Plan:
    return make_plan(find_clips(folders).clips, entries, feature_version=VERSION, **options)


def jobs(made: Plan) -> list[list[str]]:
    return [[job.path for job in same] for same in made.jobs]


def test_new_clips_are_jobs_and_those_of_one_content_are_one(clip, tmp_path: Path) -> None:
    for name, text in (("A1.mov", "one"), ("A2.mov", "two"), ("copy/A1.mov", "one")):
        clip(name, text)
    made = plan([tmp_path], [])
    assert jobs(made) == [["A1.mov", "copy/A1.mov"], ["A2.mov"]]
    assert {(job.rushes, job.size_bytes) for same in made.jobs for job in same} == {
        (str(tmp_path), 3)
    }


@pytest.mark.parametrize(
    ("version", "force", "again"),
    [(VERSION, False, False), (VERSION, True, True), (2, False, True)],
)
def test_a_known_clip_is_a_job_only_for_another_version_or_when_forced(
    clip, tmp_path: Path, version: int, force: bool, again: bool
) -> None:
    file = clip("A1.mov", "one")
    made = plan(
        [tmp_path], [entry(tmp_path, "A1.mov", digest(file), feature_version=version)], force=force
    )
    assert made.known == ([] if again else ["A1.mov"])
    assert jobs(made) == ([["A1.mov"]] if again else [])


def test_a_name_of_two_cards_gets_as_many_folders_as_tell_them_apart(clip, tmp_path: Path) -> None:
    for day, text in enumerate(("first", "second", "third")):
        clip(f"day{day}/card1/A1.mov", text)
    known = [
        entry(tmp_path / "day0" / "card1", "A1.mov", "x"),
        entry(tmp_path / "day1", "card1/A1.mov", "y"),
    ]
    made = plan([tmp_path / "day2" / "card1"], known)
    ((job,),) = made.jobs
    assert job.path == "day2/card1/A1.mov"
    assert Path(job.rushes, job.path) == job.file


def test_a_known_clip_that_cannot_be_read_has_not_moved_to_where_its_copy_is(
    clip, tmp_path: Path
) -> None:
    """Its labels stay with it, and the copy is logged beside it."""
    clip("A1.mov", "known")
    copy = clip("copy/A1.mov", "known")
    found = find_clips([tmp_path]).clips
    (tmp_path / "A1.mov").unlink()
    made = make_plan(found, [entry(tmp_path, "A1.mov", digest(copy))], feature_version=VERSION)
    assert (made.moves, made.replaced, made.missing) == ({}, {}, [])
    assert jobs(made) == [["copy/A1.mov"]]
    assert [problem.path for _, problem in made.problems] == ["A1.mov"]


def test_a_name_made_longer_is_not_that_of_the_next_clip(clip, tmp_path: Path) -> None:
    clip("card/A1.mov", "first")
    clip("card/card/A1.mov", "second")
    made = plan([tmp_path / "card"], [entry(tmp_path / "other", "A1.mov", "x")])
    assert jobs(made) == [["card/A1.mov"], ["card/card/A1.mov"]]
    for ((job,),) in zip(made.jobs, strict=True):
        assert Path(job.rushes, job.path) == job.file


def test_a_take_elsewhere_keeps_its_name_and_a_gone_one_is_missing(clip, tmp_path: Path) -> None:
    elsewhere = clip("other/A1.mov", "other")
    clip("rushes/A2.mov", "two")
    known = [
        entry(elsewhere.parent, "A1.mov", digest(elsewhere)),
        entry(tmp_path / "rushes", "sub/A3.mov", "gone"),
        entry(tmp_path / "away", "A4.mov", "not of this run"),
    ]
    made = plan([tmp_path / "rushes"], known)
    assert made.missing == ["sub/A3.mov"]
    assert jobs(made) == [["A2.mov"]]
    assert (made.moves, made.replaced, made.copies) == ({}, {}, [])


def test_of_two_moved_files_of_one_content_each_keeps_its_own_entry(clip, tmp_path: Path) -> None:
    """Their labels would change places otherwise."""
    files = [clip(f"new/{name}", "same") for name in ("A0.mov", "A1.mov", "A2.mov")]
    known = [entry(tmp_path / "old", name, digest(files[0])) for name in ("A2.mov", "A1.mov")]
    made = plan([tmp_path / "new"], known)
    assert made.moves == {
        "A1.mov": (str(tmp_path / "new"), "A1.mov"),
        "A2.mov": (str(tmp_path / "new"), "A2.mov"),
    }
    assert made.known == ["A1.mov", "A2.mov"]
    assert [(path, job.path) for path, job in made.copies] == [("A1.mov", "A0.mov")]


def test_a_name_that_a_changed_file_keeps_is_given_to_no_other(clip, tmp_path: Path) -> None:
    """Else the one would overwrite the other in the log."""
    clip("C1.mov", "new")
    clip("day1/C1.mov", "changed in its place")
    known = [entry(tmp_path / "day1", "C1.mov", "as it was")]
    made = plan([tmp_path], known)
    by_name = {job.path: job.file for same in made.jobs for job in same}
    assert len(by_name) == 2
    assert by_name["C1.mov"] == tmp_path / "day1" / "C1.mov"


def test_a_moved_take_does_not_get_the_name_that_a_changed_file_keeps(clip, tmp_path: Path) -> None:
    moved = clip("C1.mov", "moved here")
    clip("day1/C1.mov", "changed in its place")
    known = [
        entry(tmp_path / "day1", "C1.mov", "as it was"),
        entry(tmp_path / "day2", "day2/C1.mov", digest(moved)),
    ]
    made = plan([tmp_path], known)
    assert jobs(made) == [["C1.mov"]]
    ((_, (_, name)),) = made.moves.items()
    assert name != "C1.mov"


def test_a_clip_that_cannot_be_read_is_told_and_the_others_go_on(clip, tmp_path: Path) -> None:
    """One new and one known: the log keeps what it has of the known one."""
    away = [clip("A1.mov", "new"), clip("A2.mov", "known")]
    clip("A3.mov", "fine")
    found = find_clips([tmp_path]).clips
    for file in away:
        file.unlink()
    known = [entry(tmp_path, "A2.mov", "d2")]
    made = make_plan(found, known, feature_version=VERSION)
    assert jobs(made) == [["A3.mov"]]
    assert [(rushes, problem.path) for rushes, problem in made.problems] == [
        (str(tmp_path), "A1.mov"),
        (str(tmp_path), "A2.mov"),
    ]
    for _, problem in made.problems:
        assert problem.reason.startswith("could not be read (")
        assert problem.reason.endswith("; check the drive or card")
    assert (made.missing, made.known, made.moves, made.replaced) == ([], [], {}, {})


@pytest.mark.parametrize(
    ("logged", "now"),
    [
        ("Card/A1.MP4", "card/A1.MP4"),
        ("card/A1.MP4", "card/a1.mp4"),
        ("ma\u0308rz/A1.MP4", "m\u00e4rz/A1.MP4"),
    ],
)
def test_a_take_whose_path_is_spelt_otherwise_now_is_the_same(
    clip, tmp_path: Path, logged: str, now: str
) -> None:
    """A second link stands for a disk that takes both for one name, as those of Macs do."""
    file = clip(now, "one")
    (tmp_path / logged).parent.mkdir(exist_ok=True)
    os.link(file, tmp_path / logged)
    before = entry((tmp_path / logged).parent, Path(logged).name, digest(file))
    made = make_plan(find_clips([file]).clips, [before], feature_version=VERSION)
    assert made.known == [Path(logged).name]
    assert (made.copies, made.jobs, made.moves, made.missing) == ([], [], {}, [])


def test_of_two_takes_that_are_one_file_by_now_both_keep_their_names(clip, tmp_path: Path) -> None:
    """A log of before may know a file of a Mac's disk by two spellings, and this is a third."""
    file = clip("card/A1.MP4", "one")
    for spelt in "Card", "CARD":
        (tmp_path / spelt).mkdir()
        os.link(file, tmp_path / spelt / "A1.MP4")
    clip("card/more/A1.MP4", "two")
    entries = [
        entry(tmp_path / "Card", "A1.MP4", digest(file)),
        entry(tmp_path, "CARD/A1.MP4", digest(file)),
    ]
    made = plan([file, tmp_path / "card" / "more"], entries)
    assert (made.known, jobs(made)) == (["A1.MP4"], [["more/A1.MP4"]])


def test_a_file_whose_name_differs_in_its_capitals_alone_is_another(clip, tmp_path: Path) -> None:
    file = clip("Card/A1.MP4", "one")
    clip("card/A1.MP4", "two")
    made = plan([tmp_path / "card"], [entry(tmp_path / "Card", "A1.MP4", digest(file))])
    assert jobs(made) == [["card/A1.MP4"]]


@pytest.mark.parametrize(
    ("winerror", "gone"), [(21, True), (123, True), (32, False), (None, False)]
)
def test_a_card_that_was_taken_out_of_its_drive_is_gone(
    monkeypatch, winerror: int | None, gone: bool
) -> None:
    """Windows keeps the drive's letter and says that it is not ready (21)."""
    error = PermissionError(13, "The device is not ready", "F:/A1.MP4")
    error.winerror = winerror

    def refuse(_path: Path) -> None:
        raise error

    monkeypatch.setattr(Path, "stat", refuse)
    assert is_gone("F:/A1.MP4") is gone


class WindowsFile(PureWindowsPath):
    """A path of Windows whose file is there."""

    def stat(self) -> SimpleNamespace:
        return SimpleNamespace(st_size=1)


@pytest.mark.parametrize("drive", ["F:\\", "\\\\nas\\rushes\\"])
def test_clips_of_two_drives_with_the_same_names_are_told_apart(monkeypatch, drive: str) -> None:
    """Both cards were logged as they lay in the reader, so no folder tells them apart."""
    monkeypatch.setattr("calltag.plan.digest", str)
    path = WindowsFile(drive, "DCIM", "A1.MP4")
    clips = [Clip(path, WindowsFile(drive), "DCIM/A1.MP4")]
    made = make_plan(clips, [entry(Path("E:\\"), "DCIM/A1.MP4", "x")], feature_version=VERSION)
    ((job,),) = made.jobs
    assert job.path == path.as_posix()
    assert PureWindowsPath(job.rushes, job.path) == path
    again = make_plan(clips, [entry(Path(drive), job.path, "y")], feature_version=VERSION)
    assert len(again.jobs) == 1
