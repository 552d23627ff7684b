"""Files that appear whole or not at all."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from calltag.errors import InputError, MediaError, WriteError
from calltag.files import check_place, write_texts, written_together, written_whole


def test_a_file_appears_when_it_is_complete(tmp_path):
    path = tmp_path / "new" / "calls.csv"
    with written_whole(path) as partial:
        partial.write_text("half")
        assert not path.exists()
        assert partial.parent == path.parent, "on the same disk, so that it can be renamed"
    assert path.read_text() == "half"
    assert [found.name for found in path.parent.iterdir()] == ["calls.csv"]


@pytest.mark.parametrize("error", [RuntimeError, KeyboardInterrupt])
def test_an_error_leaves_what_was_there(tmp_path, error):
    path = tmp_path / "calls.csv"
    path.write_text("old")

    def write_half() -> None:
        with written_whole(path) as partial:
            partial.write_text("half")
            raise error

    with pytest.raises(error):
        write_half()
    assert path.read_text() == "old"
    assert [found.name for found in tmp_path.iterdir()] == ["calls.csv"]


@pytest.mark.parametrize("error", [RuntimeError, KeyboardInterrupt])
def test_files_that_belong_together_appear_together(tmp_path, error):
    paths = [tmp_path / "a.onnx", tmp_path / "b.npz"]
    for path in paths:
        path.write_text("old")

    def write(stop: type[BaseException] | None) -> None:
        with written_together(paths) as partials:
            partials[0].write_text("new")
            if stop is not None:
                raise stop
            partials[1].write_text("new")
            assert [path.read_text() for path in paths] == ["old", "old"]

    with pytest.raises(error):
        write(error)
    assert [path.read_text() for path in paths] == ["old", "old"]
    write(None)
    assert [path.read_text() for path in paths] == ["new", "new"]
    assert sorted(tmp_path.iterdir()) == paths


def _refusing(monkeypatch: pytest.MonkeyPatch, name: str, error: BaseException) -> None:
    """Let no file be moved to a name."""
    move = Path.replace

    def replace(path: Path, target: Path) -> Path:
        if Path(target).name == name and path.suffix == ".part" and not _was_there(path):
            raise error
        return move(path, target)

    def _was_there(path: Path) -> bool:
        return path.read_text() == "old"

    monkeypatch.setattr(Path, "replace", replace)


@pytest.mark.parametrize("error", [OSError(errno.EIO, "Input/output error"), KeyboardInterrupt()])
@pytest.mark.parametrize("links", [True, False])
def test_texts_that_belong_together_are_replaced_together(tmp_path, monkeypatch, error, links):
    texts = {tmp_path / name: "new" for name in ("a.edl", "b.edl", "c.csv")}
    for path in list(texts)[:2]:
        path.write_text("old")
    if not links:
        monkeypatch.setattr(os, "link", _no_links)
    _refusing(monkeypatch, "b.edl", error)
    with pytest.raises((WriteError, KeyboardInterrupt)):
        write_texts(texts, replace=True)
    left = {path.name: path.read_text() for path in tmp_path.iterdir()}
    assert left == {"a.edl": "old", "b.edl": "old"}


def test_no_file_is_lost_where_another_program_cleared_what_was_laid_aside(tmp_path, monkeypatch):
    paths = [tmp_path / "a.edl", tmp_path / "b.edl"]
    for path in paths:
        path.write_text("old")
    move = Path.replace

    def replace(path: Path, target: Path) -> Path:
        if Path(target).name != "b.edl":
            return move(path, target)
        for aside in tmp_path.glob(".*.part"):
            if aside.read_text() == "old":
                aside.unlink()
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(Path, "replace", replace)
    with pytest.raises(WriteError):
        write_texts(dict.fromkeys(paths, "new"), replace=True)
    assert [path.read_text() for path in paths] == ["new", "old"]


def _no_links(*_: object) -> None:
    raise OSError(errno.EPERM, "Operation not permitted")


@pytest.mark.parametrize("links", [True, False])
def test_what_is_replaced_is_never_away(tmp_path, monkeypatch, links):
    paths = [tmp_path / "a.edl", tmp_path / "b.edl"]
    for path in paths:
        path.write_text("old")
    if not links:
        monkeypatch.setattr(os, "link", _no_links)
    move = Path.replace

    def replace(path: Path, target: Path) -> Path:
        assert all(each.exists() for each in paths), "a killed run would take it away"
        return move(path, target)

    monkeypatch.setattr(Path, "replace", replace)
    write_texts(dict.fromkeys(paths, "new"), replace=True)
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {
        "a.edl": "new",
        "b.edl": "new",
    }


def test_a_full_disk_is_told(tmp_path):
    with (
        pytest.raises(InputError, match=r"calls\.csv: cannot be written \(no space left"),
        written_whole(tmp_path / "calls.csv"),
    ):
        raise OSError(errno.ENOSPC, "No space left on device")


def test_a_take_that_cannot_be_read_is_not_taken_for_that(tmp_path):
    with pytest.raises(MediaError, match="is damaged"), written_whole(tmp_path / "a.mkv"):
        raise MediaError(tmp_path / "a.mov", "is damaged")


def test_all_or_none(tmp_path):
    (tmp_path / "b").write_text("mine")
    texts = {tmp_path / "a": "1\r\n", tmp_path / "b": "2"}
    with pytest.raises(InputError, match=r"b: exists already.*--replace"):
        write_texts(texts, replace=False)
    assert [path.name for path in tmp_path.iterdir()] == ["b"]
    assert write_texts(texts, replace=True) == list(texts)
    assert (tmp_path / "a").read_bytes() == b"1\r\n"


@pytest.mark.parametrize("name", ["n" * 251 + ".csv", "a"])
def test_any_name_that_can_be_is_written(tmp_path, name):
    with written_whole(tmp_path / name) as partial:
        assert len(partial.name) <= max(len(name), 24)
        partial.write_text("whole")
    assert (tmp_path / name).read_text() == "whole"


def test_a_name_that_is_too_long_is_told(tmp_path):
    with pytest.raises(WriteError, match=r"cannot be written \(file name too long\); name another"):
        write_texts({tmp_path / ("n" * 300): "text"}, replace=False)


def test_a_place_that_was_tried_is_left_empty(tmp_path):
    check_place(tmp_path / "new" / "calls.csv")
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(WriteError, match="file name too long"):
        check_place(tmp_path / ("n" * 300))


@pytest.mark.parametrize(
    ("winerror", "reason"),
    [(5, r"access is denied: another program may have it open"), (None, r"access is denied\)")],
)
def test_a_file_that_windows_has_open_elsewhere_is_told(tmp_path, monkeypatch, winerror, reason):
    path = tmp_path / "calls.csv"
    path.write_text("as it was")

    def refuse(_partial: Path, _path: Path) -> None:
        error = PermissionError(13, "Access is denied")
        error.winerror = winerror
        raise error

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(WriteError, match=rf"calls\.csv: cannot be written \({reason}"):
        write_texts({path: "new"}, replace=True)
    assert path.read_text() == "as it was"
    assert list(tmp_path.iterdir()) == [path]
