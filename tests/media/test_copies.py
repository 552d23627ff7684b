"""Where a take is read from whose own file is away."""

from __future__ import annotations

from calltag.media.copies import with_copies
from calltag.records import Take


def take(folder, path, digest="d1"):
    return Take(path=path, rushes=str(folder), digest=digest, size_bytes=1, duration_s=1.0)


def files(takes):
    return [one.file for one in with_copies(takes)]


def test_a_copy_stands_in_for_a_file_that_is_away(tmp_path):
    (tmp_path / "b.mov").touch()
    (tmp_path / "other.mov").touch()
    takes = [take(tmp_path, "a.mov"), take(tmp_path, "b.mov"), take(tmp_path, "other.mov", "d2")]
    assert [one.path for one in with_copies(takes)] == ["a.mov", "b.mov", "other.mov"]
    assert files(takes) == [tmp_path / name for name in ("b.mov", "b.mov", "other.mov")]


def test_a_take_is_read_from_its_own_file_where_that_is_there(tmp_path):
    for name in ("a.mov", "b.mov"):
        (tmp_path / name).touch()
    assert files([take(tmp_path, "a.mov"), take(tmp_path, "b.mov")]) == [
        tmp_path / "a.mov",
        tmp_path / "b.mov",
    ]


def test_nothing_stands_in_where_no_copy_is_there_or_the_content_is_not_known(tmp_path):
    (tmp_path / "b.mov").touch()
    for takes in (
        [take(tmp_path, "a.mov"), take(tmp_path, "c.mov")],
        [take(tmp_path, "a.mov", ""), take(tmp_path, "b.mov", "")],
    ):
        assert files(takes)[0] == tmp_path / "a.mov"
