"""The catalogue: what goes in comes out, by path, and a rebuild that broke off is known."""

from __future__ import annotations

import pytest

from calltag.errors import LibraryError
from calltag.library.catalogue.catalogue import NAME, Catalogue
from calltag.library.kept_file.sound_file import sound_files

from ..conftest import plain_story

ONE, OTHER = plain_story(1), plain_story(2, label="pit rail: rasp", noise=("wind",))


@pytest.fixture
def filled(catalogue: Catalogue) -> Catalogue:
    catalogue.put([("b/one.wav", ONE, 100, "1" * 64), ("a.wav", OTHER, 200, "2" * 64)])
    return catalogue


def test_what_was_put_in_comes_out_in_order_of_path(filled: Catalogue):
    assert filled.count() == 2
    assert filled.paths() == ["a.wav", "b/one.wav"]
    other, one = filled.all_kept()
    assert (one.path, one.size_bytes, one.file_hash) == ("b/one.wav", 100, "1" * 64)
    assert (other.path, other.size_bytes, other.file_hash) == ("a.wav", 200, "2" * 64)
    assert (one.story, other.story) == (ONE, OTHER)
    assert one.file == filled.folder / "b" / "one.wav"
    assert one.short_id == ONE.id[:8]


def test_a_file_that_is_put_again_keeps_its_key(filled: Catalogue):
    before = {kept.path: kept.key for kept in filled.all_kept()}
    filled.put([("b/one.wav", OTHER, 300, "3" * 64)])
    assert {kept.path: kept.key for kept in filled.all_kept()} == before
    (again,) = filled.kept_where("cuts.path = ?", ["b/one.wav"])
    assert (again.story, again.size_bytes, again.file_hash) == (OTHER, 300, "3" * 64)


def test_what_cannot_all_be_put_is_not_put_at_all(filled: Catalogue):
    def entries():
        yield "c.wav", ONE, 1, ""
        raise OSError("the disk is gone")

    with pytest.raises(OSError, match="gone"):
        filled.put(entries())
    assert filled.count() == 2


def test_what_is_removed_is_gone_and_unknown_paths_are_passed_over(filled: Catalogue):
    filled.remove(["a.wav", "never.wav"])
    assert filled.paths() == ["b/one.wav"]


def test_a_condition_and_an_order_are_those_asked_for(filled: Catalogue):
    labels = [k.story.label for k in filled.kept_where("noisy = ?", [1])]
    assert labels == ["pit rail: rasp"]
    assert [kept.path for kept in filled.kept_where("1")] == ["a.wav", "b/one.wav"]
    backwards = filled.kept_where("1", order_by="cuts.path DESC")
    assert [kept.path for kept in backwards] == ["b/one.wav", "a.wav"]


def test_a_key_holds_for_the_call_that_it_was_given_to(filled: Catalogue):
    one = filled.kept_where("cuts.path = ?", ["b/one.wav"])[0]
    assert filled.holds(one.key, ONE.id)
    assert not filled.holds(one.key, OTHER.id)
    assert not filled.holds(one.key + 100, ONE.id)


def test_a_rebuild_that_was_begun_is_known_until_it_is_finished(filled: Catalogue):
    assert not filled.unfinished
    for unfinished in (True, True, False, False, True):
        filled.set_unfinished(unfinished)
        with Catalogue(filled.folder) as another:
            assert another.unfinished == unfinished


def test_a_folder_of_cuts_without_a_catalogue_is_told_apart_from_one_without(tmp_path):
    folder = tmp_path / "calls"
    with pytest.raises(LibraryError, match=r"no call library here; `calltag keep` begins one"):
        Catalogue(folder)
    assert not folder.exists()
    folder.mkdir()
    with pytest.raises(LibraryError, match="no call library here"):
        Catalogue(folder)
    (folder / "cut.wav").write_bytes(b"RIFF")
    assert list(sound_files(folder))
    with pytest.raises(LibraryError, match=r"no catalogue here; `calltag library rebuild` makes"):
        Catalogue(folder)
    assert not (folder / NAME).exists()
