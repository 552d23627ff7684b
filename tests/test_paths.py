"""What lies at a path, and whether two paths are of one file."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from calltag.paths import is_file, is_folder, is_one, is_there

TOO_LONG = "n" * 300


@pytest.mark.parametrize("ask", [is_there, is_file, is_folder])
def test_nothing_lies_where_the_name_is_too_long(tmp_path: Path, ask) -> None:
    assert not ask(tmp_path / TOO_LONG)


@pytest.mark.parametrize(("ask", "method"), [(is_file, "is_file"), (is_folder, "is_dir")])
def test_what_may_not_be_looked_at_is_not_there(tmp_path: Path, monkeypatch, ask, method) -> None:
    def locked(_path: Path) -> bool:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, method, locked)
    assert not ask(tmp_path)


def test_two_spellings_are_one_file_where_the_disk_has_it_so(tmp_path: Path) -> None:
    """A second link, for a disk that takes both names for one."""
    path, other = tmp_path / "A001.MP4", tmp_path / "a001.mp4"
    path.touch()
    assert is_one(path, path)
    assert not is_one(path, other)
    other.touch()
    assert not is_one(path, other)
    other.unlink()
    os.link(path, other)
    assert is_one(path, other)
    assert not is_one(path, tmp_path / "b.mp4")
