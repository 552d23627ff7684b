"""Finding clips: what is taken, what is passed over, names and order."""

from __future__ import annotations

import os
import sys
from pathlib import Path, PureWindowsPath

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.library.catalogue.catalogue import Catalogue
from calltag.media.rushes import PICTURE_SUFFIXES, SOUND_SUFFIXES, Clip, _distinct, find_clips
from calltag.media.wave_files.bext import Bext
from calltag.media.wave_files.wav_writing import write_wav
from calltag.own_files import SHEET_INDEX, SHEET_MARK


def touch(folder: Path, *names: str) -> Path:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    return folder


def names(*folders: Path) -> list[str]:
    return [clip.name for clip in find_clips(folders).clips]


@pytest.mark.parametrize("suffix", sorted(PICTURE_SUFFIXES | SOUND_SUFFIXES))
def test_suffixes_are_taken_in_either_case(tmp_path, suffix):
    touch(tmp_path, f"a{suffix}", f"b{suffix.upper()}")
    assert names(tmp_path) == [f"a{suffix}", f"b{suffix.upper()}"]


@pytest.mark.parametrize(
    "name",
    [
        "notes.txt",
        "A003.xml",  # sidecar
        "A003M01.XML",
        "A003.thm",  # thumbnail
        "A003.jpg",
        "calltag.db",
        "calltag.db-wal",
        "shotlist.pdf",
        "sheet.xlsx",
        "mhl.mhl",
        "unknown.q7z",
        "mov",
        ".mov",
        ".hidden.mov",
        "._A003.MOV",  # resource fork
        ".Trashes/A003.MOV",
        "$RECYCLE.BIN/A003.MOV",
        "System Volume Information/A003.MOV",
        "Proxy/A003.MOV",
        "proxies/day 1/A003.MOV",
        "A003_Proxy.mov",
        "A003-proxy.MP4",
        "Sub/A003S03.MP4",
    ],
)
def test_what_is_no_take_is_passed_over(tmp_path, name):
    touch(tmp_path, name, "pond.mov")
    assert names(tmp_path) == ["pond.mov"]


@pytest.mark.parametrize(
    "name", ["Sub/pond.MP4", "proxy.mov", "approximately.mov", "A003S03.MP4", "proxy notes/a.mov"]
)
def test_names_that_only_look_like_a_proxy_are_taken(tmp_path, name):
    touch(tmp_path, name)
    assert names(tmp_path) == [name]


def test_a_folder_given_by_name_is_taken_whatever_it_is_called(tmp_path):
    assert names(touch(tmp_path / "Proxy", "a.mov")) == ["a.mov"]


def test_order_is_as_people_count(tmp_path):
    touch(tmp_path, "C10.mov", "C9.mov", "c1.mov", "b/C2.mov", "C09.mov", "a100/x.mov", "a20/x.mov")
    assert names(tmp_path) == [
        "a20/x.mov",
        "a100/x.mov",
        "b/C2.mov",
        "c1.mov",
        "C09.mov",
        "C9.mov",
        "C10.mov",
    ]


def test_paths_are_absolute_also_for_a_relative_folder(tmp_path, monkeypatch):
    touch(tmp_path, "day/a.mov")
    monkeypatch.chdir(tmp_path)
    (clip,) = find_clips([Path("day")]).clips
    assert clip.path == tmp_path / "day" / "a.mov"
    assert clip.rushes == tmp_path / "day"
    assert clip.name == "a.mov"


def test_a_single_file_is_a_clip_whatever_its_name(tmp_path):
    touch(tmp_path, "a.mov", "b.mov", "sound.dat")
    assert names(tmp_path / "b.mov") == ["b.mov"]
    (clip,) = find_clips([tmp_path / "sound.dat"]).clips
    assert clip.rushes == tmp_path


def test_colliding_names_get_the_end_of_their_folders_path(tmp_path):
    first = touch(tmp_path / "card 1", "C01.mov", "only here.mov")
    second = touch(tmp_path / "card 2", "C01.mov")
    assert names(first, second) == ["card 1/C01.mov", "card 2/C01.mov", "only here.mov"]


def test_folders_of_the_same_name_are_told_apart_further_up(tmp_path):
    first = touch(tmp_path / "card 1" / "DCIM", "C01.mov")
    second = touch(tmp_path / "card 2" / "DCIM", "C01.mov")
    assert names(first, second) == ["card 1/DCIM/C01.mov", "card 2/DCIM/C01.mov"]


def test_a_prefixed_name_that_is_taken_already_is_told_apart_too(tmp_path):
    first = touch(tmp_path / "x", "a.mov", "y/a.mov")
    second = touch(tmp_path / "y", "a.mov")
    found = find_clips([first, second]).clips
    assert len({clip.name for clip in found}) == len(found) == 3


def test_a_clip_that_is_reached_twice_is_listed_once(tmp_path):
    touch(tmp_path, "card/a.mov")
    assert names(tmp_path, tmp_path / "card", tmp_path / "card" / "a.mov") == ["card/a.mov"]


def test_a_folder_without_clips_gives_none(tmp_path):
    assert names(touch(tmp_path, "notes.txt")) == []


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(InputError, match=r"card 9: there is no such folder or clip"):
        find_clips([tmp_path / "card 9"])


def test_a_folder_that_may_not_be_read_is_named(tmp_path, monkeypatch):
    def refuse(path: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "scandir", refuse)
    with pytest.raises(InputError, match=r"cannot be read \(permission denied\)"):
        find_clips([tmp_path])


def test_a_folder_within_one_that_may_not_be_read_is_named(tmp_path, monkeypatch):
    def refuse(path: Path) -> bool:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "is_file", refuse)
    with pytest.raises(InputError, match=r"card: the folder cannot be read \(permission denied\)"):
        find_clips([tmp_path / "card"])


def test_a_folder_below_that_may_not_be_read_is_not_passed_over(tmp_path, monkeypatch):
    look = os.scandir

    def refuse(path: str | Path) -> object:
        if Path(path).name == "card 2":
            raise PermissionError(13, "Permission denied", str(path))
        return look(path)

    touch(tmp_path, "card 1/a.mov", "card 2/b.mov", "card 3/c.mov")
    monkeypatch.setattr(os, "scandir", refuse)
    assert names(tmp_path) == ["card 1/a.mov", "card 2", "card 3/c.mov"]


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_links_are_followed_once_and_loops_end(tmp_path):
    drive = touch(tmp_path / "drive", "b.mov")
    rushes = touch(tmp_path / "rushes", "a.mov", "day/c.mov")
    (rushes / "linked").symlink_to(drive)
    (rushes / "day" / "up").symlink_to(rushes)
    (drive / "back").symlink_to(rushes)
    (rushes / "gone.mov").symlink_to(tmp_path / "nowhere.mov")
    assert names(rushes) == ["a.mov", "day/c.mov", "linked/b.mov"]


def test_folders_that_a_drive_does_not_number_are_all_walked(tmp_path, monkeypatch):
    """As Windows has it of some drives of networks: the number of all is 0."""
    plain = Path.stat

    def unnumbered(path, **how):
        status = list(plain(path, **how))
        status[1] = 0
        return os.stat_result(status)

    monkeypatch.setattr(Path, "stat", unnumbered)
    assert names(touch(tmp_path, "a.mov", "day1/b.mov", "day2/c.mov")) == [
        "a.mov",
        "day1/b.mov",
        "day2/c.mov",
    ]


@pytest.mark.parametrize("drives", [("D:\\", "E:\\"), ("\\\\nas\\one\\", "\\\\nas\\two\\")])
def test_clips_of_two_drives_are_told_apart_by_their_whole_paths(drives):
    files = [PureWindowsPath(drive, "DCIM", "A1.MP4") for drive in drives]
    clips = [Clip(file, PureWindowsPath(file.anchor), "DCIM/A1.MP4") for file in files]
    found = _distinct(clips)
    assert [clip.name for clip in found] == [file.as_posix() for file in files]
    assert [PureWindowsPath(clip.rushes, clip.name) for clip in found] == files


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such names")
def test_a_name_that_is_no_unicode_can_still_be_printed(tmp_path):
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/pond\xff.mov")).touch()
    (clip,) = find_clips([tmp_path]).clips
    assert clip.name == "pond\ufffd.mov"
    assert clip.path.is_file()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with a name there")
def test_a_pipe_named_like_a_clip_is_passed_over(tmp_path):
    os.mkfifo(tmp_path / "pipe.mov")
    assert names(tmp_path) == []


def test_what_calltag_made_itself_is_passed_over(tmp_path: Path) -> None:
    sound = np.zeros((1, 4800))
    for name, originator in (("bed.wav", "calltag"), ("R001.WAV", "recorder")):
        write_wav(tmp_path / name, sound, 48_000, bext=Bext(originator=originator))
    (tmp_path / "A001.MOV").write_bytes(b"")
    library = tmp_path / "library"
    with Catalogue(library, create=True):
        pass
    (library / "marsh-hooter").mkdir()
    (library / "marsh-hooter" / "boom.flac").write_bytes(b"")
    rushes = find_clips([tmp_path])
    assert [clip.name for clip in rushes.clips] == ["A001.MOV", "R001.WAV"]
    assert rushes.own == 2
    asked_for = find_clips([tmp_path, tmp_path / "bed.wav"])
    assert "bed.wav" in [clip.path.name for clip in asked_for.clips]
    assert asked_for.own == 1


def test_a_sheet_in_a_folder_is_no_rushes(tmp_path: Path) -> None:
    sheet = tmp_path / "sheet"
    touch(sheet, "call00001.mp3", "take0001.jpg")
    (sheet / SHEET_INDEX).write_text(f"<!doctype html>\n<head>{SHEET_MARK}</head>")
    touch(tmp_path / "other", "interview.mp3", "index.html")
    rushes = find_clips([tmp_path])
    assert [clip.name for clip in rushes.clips] == ["other/interview.mp3"]
    assert rushes.own == 1


def test_a_name_that_begins_like_a_home_folder_is_a_name(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    touch(tmp_path / "~no such user", "A001.MOV")
    assert [clip.name for clip in find_clips([Path("~no such user")]).clips] == ["A001.MOV"]


def test_a_clip_in_a_folder_that_may_be_listed_only_is_told_like_one(
    tmp_path: Path, monkeypatch
) -> None:
    touch(tmp_path / "card", "A001.MOV")
    really = Path.is_file

    def refuse(path: Path, **options) -> bool:
        if path.name == "A001.MOV":
            raise PermissionError(13, "Permission denied")
        return really(path, **options)

    monkeypatch.setattr(Path, "is_file", refuse)
    assert [clip.name for clip in find_clips([tmp_path]).clips] == ["card/A001.MOV"]


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such names themselves")
def test_a_folder_whose_name_is_no_text_is_told(tmp_path: Path) -> None:
    folder = tmp_path / os.fsdecode(b"card\xff")
    folder.mkdir()
    with pytest.raises(InputError, match="name is no valid text; rename it"):
        find_clips([folder])
