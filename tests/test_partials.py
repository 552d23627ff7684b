"""What killed runs left half written is cleared by the next, and nothing else is."""

from __future__ import annotations

import errno
import os
import time
from pathlib import Path

import pytest

from calltag import partials
from calltag.files import check_place, write_texts
from calltag.partials import STALE_S, partial_path, sweep


@pytest.fixture(autouse=True)
def _nothing_swept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(partials, "_swept", set())


def aged(path: Path, age_s: float = 2 * STALE_S) -> Path:
    os.utime(path, (time.time() - age_s,) * 2)
    return path


def half(folder: Path, name: str = ".123-1.part") -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_bytes(b"half")
    return aged(path)


def test_writing_clears_what_a_killed_run_left(tmp_path):
    left, new = half(tmp_path), partial_path(tmp_path / "b.csv")
    new.write_bytes(b"another run is at it")
    write_texts({tmp_path / "a.csv": "whole"}, replace=False)
    assert not left.exists()
    assert new.exists()


def test_trying_a_place_clears_it_too(tmp_path):
    left = half(tmp_path)
    check_place(tmp_path / "ashmere.html")
    assert not left.exists()


@pytest.mark.parametrize("name", [".mine.part", "123-1.part", ".123-1.part.wav", ".a.1-2.part"])
def test_what_has_another_name_is_left(tmp_path, name):
    own = half(tmp_path, name)
    sweep(tmp_path, below=True)
    assert own.exists()


def test_a_folder_goes_with_all_in_it_once_nothing_is_written_there(tmp_path):
    folder = tmp_path / ".123-1.part"
    inside = half(folder, "index.html")
    inside.touch()
    aged(folder)
    sweep(tmp_path)
    assert inside.exists()
    aged(inside)
    sweep(tmp_path)
    assert not folder.exists()


def test_only_the_folder_itself_is_looked_through_unless_told(tmp_path):
    left = half(tmp_path / "marsh hooter")
    sweep(tmp_path)
    assert left.exists()
    sweep(tmp_path, below=True)
    assert not left.exists()


def test_no_folder_is_no_fault(tmp_path):
    sweep(tmp_path / "none")


@pytest.mark.parametrize("ahead_s", [-2 * STALE_S, 2 * STALE_S])
def test_the_clock_of_the_disk_counts_where_it_is_another(tmp_path, monkeypatch, ahead_s):
    left, new = half(tmp_path), partial_path(tmp_path / "b.csv")
    new.write_bytes(b"another run is at it")
    there = time.time()
    monkeypatch.setattr(time, "time", lambda: there - ahead_s)
    sweep(tmp_path)
    assert (left.exists(), new.exists()) == (False, True)
    assert list(tmp_path.iterdir()) == [new]


def test_a_folder_that_may_not_be_written_to_is_no_fault(tmp_path, monkeypatch):
    left = half(tmp_path)

    def refused(path: Path, *_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "touch", refused)
    sweep(tmp_path)
    assert left.exists()
