from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calltag.edit.call_filter import is_of_type
from calltag.errors import InputError, LibraryError
from calltag.learn.labels.vocabulary import species_of
from calltag.library.catalogue.catalogue import NAME, Catalogue
from calltag.library.kept_file.story import BY_HAND
from calltag.library.search.find import Query, by_name, choices, find
from calltag.library.search.order import Order

from ..conftest import call, plain_story, wanted

STORIES = (
    plain_story(0, recorded="2026-04-18T05:12:04Z", snr_db=20.0),
    plain_story(1, recorded="2026-05-02T05:12:04Z", snr_db=30.0, place="Reed End", noise=("wind",)),
    plain_story(
        2,
        label="pit rail: rasp",
        species="pit rail",
        behaviour="alarm at the nest box",
        recorded="2025-05-20",
        snr_db=10.0,
        call_end_s=3.0,
        labelled_by=BY_HAND,
        confidence=1.0,
    ),
    plain_story(3, label="call", species="", recorded=None, snr_db=None, level_dbfs=-60.0),
)


@pytest.fixture
def filled(catalogue: Catalogue) -> Catalogue:
    catalogue.put((f"a/{i}.wav", story, 100, "f" * 64) for i, story in enumerate(STORIES))
    return catalogue


def takes(catalogue: Catalogue, **query: object) -> str:
    """Numbers of the takes that are found, in order."""
    found = find(catalogue, Query(**query))  # type: ignore[arg-type]
    assert found.total >= len(found.kept)
    return "".join(kept.story.take[3] for kept in found.kept)


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({}, "1023"),
        ({"types": ["Marsh Hooter"]}, "10"),
        ({"types": ["pit rail: RASP", "marsh hooter: boom"]}, "102"),
        ({"types": ["call"]}, "3"),
        ({"types": ["boom"]}, ""),
        ({"words": "hoot reed"}, "1"),
        ({"words": "ALARM nest"}, "2"),
        ({"words": "keeper"}, "1023"),
        ({"words": "ashmere wind"}, ""),
        ({"words": 'wind" OR "x'}, ""),
        ({"words": "- * :"}, "1023"),
        ({"words": "hoot\0reed"}, "1"),
        ({"place": "reed"}, "1"),
        ({"months": [5]}, "12"),
        ({"months": [1, 12]}, ""),
        ({"months": [4, 5], "since": "2026"}, "10"),
        ({"since": "2026-05", "until": "2026-05"}, "1"),
        ({"until": "2025-05-20"}, "2"),
        ({"min_snr_db": 20.0}, "10"),
        ({"max_level_dbfs": -50.0}, "3"),
        ({"min_length_s": 1.0}, "2"),
        ({"max_length_s": 1.0, "noise": False}, "03"),
        ({"noise": True}, "1"),
        ({"by_hand": True}, "2"),
        ({"min_confidence": 0.95}, "2"),
        ({"order": Order.SNR}, "1023"),
        ({"order": Order.LENGTH, "limit": 1}, "2"),
        ({"order": Order.TYPE, "offset": 2}, "02"),
        ({"limit": 2, "offset": 1}, "02"),
        ({"ids": [STORIES[2].id[:8]]}, "2"),
        ({"ids": [STORIES[2].id.upper(), STORIES[0].id[:6]]}, "02"),
    ],
    ids=str,
)
def test_what_is_asked_for_is_found(filled: Catalogue, query, expected):
    assert takes(filled, **query) == expected


@pytest.mark.parametrize("start_s", [0.8, 1.0, 2.4, 16.24])
def test_a_call_as_long_as_asked_is_found(catalogue: Catalogue, start_s: float):
    """In binary 1.2 - 0.8 is less than 0.4, and 2.8 - 2.4 is more; a cut begins on a sample."""
    at = [round(start_s * 44_100) / 44_100, round((start_s + 0.4) * 44_100) / 44_100]
    for number, (first_s, end_s) in enumerate([(start_s, round(start_s + 0.4, 2)), at]):
        story = plain_story(number, call_start_s=first_s, call_end_s=end_s)
        catalogue.put([(f"{number}.wav", story, 1, "")])
    assert takes(catalogue, min_length_s=0.4, max_length_s=0.4) == "01"
    assert takes(catalogue, min_length_s=0.401) + takes(catalogue, max_length_s=0.399) == ""


LABELS = (
    "marsh hooter: boom", "marsh hooter: duet", "Marsh Hooter", "marsh hooter : boom", "pit rail",
    "pit rail:", "pit rail: rasp: low", "call", ": boom", "boom",
)  # fmt: skip
NAMES = (*LABELS, "pit  RAIL ", "pit rail: rasp", "hooter", "", " ", ":", "marsh hooter:")


@pytest.fixture
def labelled(catalogue: Catalogue) -> Catalogue:
    catalogue.put(
        (f"{i}.wav", plain_story(i, label=label, species=species_of(label)), 1, "")
        for i, label in enumerate(LABELS)
    )
    return catalogue


@pytest.mark.parametrize("names", [[name] for name in NAMES] + [["boom", ""], []], ids=str)
def test_a_library_and_a_log_have_the_same_types(labelled: Catalogue, names):
    found = find(labelled, Query(types=names)).kept
    assert {one.story.label for one in found} == {one for one in LABELS if is_of_type(one, names)}


def test_a_result_says_where_its_sound_lies(filled: Catalogue):
    kept = find(filled, Query(types=["pit rail"])).kept[0]
    assert kept.file == filled.folder / "a" / "2.wav"
    assert kept.story == STORIES[2]


@pytest.mark.parametrize(
    "query",
    [{"months": [13]}, {"since": "May"}, {"ids": ["abc"]}, {"ids": ["*"]}, {"min_snr_db": 1e999}],
    ids=str,
)
def test_questions_that_make_no_sense_are_told(filled: Catalogue, query):
    with pytest.raises(InputError):
        find(filled, Query(**query))


@pytest.mark.parametrize(("months", "wrong"), [([0, 5], "0"), ([5, 13], "13")])
def test_the_month_that_is_none_is_named(filled: Catalogue, months, wrong):
    with pytest.raises(InputError, match=f"month {wrong}: give a number from 1 to 12"):
        find(filled, Query(months=months))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(words=st.text(max_size=30), place=st.text(max_size=10), name=st.text(max_size=10))
def test_any_words_may_be_asked_for(filled: Catalogue, words: str, place: str, name: str):
    every = {kept.key for kept in find(filled, Query()).kept}
    for query in (Query(words=words, place=place), Query(types=[name], words=words)):
        assert {kept.key for kept in find(filled, query).kept} <= every


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(text=st.text(st.characters(categories=("L", "N")), min_size=1, max_size=12))
def test_what_stands_in_a_story_is_found_by_it(filled: Catalogue, text: str):
    story = plain_story(9, behaviour=text)
    filled.put([("b/9.wav", story, 1, "")])
    assert story.id in {kept.story.id for kept in find(filled, Query(words=text)).kept}


def test_what_there_is_to_choose_from(filled: Catalogue):
    there = choices(filled)
    assert there.total == 4
    assert there.types == (("call", 1), ("marsh hooter: boom", 2), ("pit rail: rasp", 1))
    assert there.places == (("Ashmere", 3), ("Reed End", 1))
    assert there.months == ((4, 1), (5, 2))


def test_what_is_chosen_is_found_as_often_as_was_said(labelled: Catalogue):
    """A name that stands for several, or is a part of another's, stands for itself when chosen."""
    more = [
        plain_story(20 + i, place=place) for i, place in enumerate(("Reed", "Reed End", "REED"))
    ]
    labelled.put((f"p{i}.wav", story, 1, "") for i, story in enumerate(more))
    there = choices(labelled)
    for name, n in there.types:
        assert find(labelled, Query(types=[name], whole=True)).total == n, name
    for name, n in there.places:
        assert find(labelled, Query(place=name, whole=True)).total == n, name
    assert dict(there.places)["Reed"] == 2
    assert find(labelled, Query(place="Reed")).total == 3


def test_one_is_called_by_the_first_letters_of_its_id(filled: Catalogue):
    assert len({story.id[:4] for story in STORIES}) == len(STORIES)
    for letters in (4, 8, 36):
        assert by_name(filled, STORIES[1].id[:letters]).story == STORIES[1]
    with pytest.raises(InputError, match="write four letters of it or more"):
        find(filled, Query(ids=[STORIES[1].id[:3]]))
    assert by_name(filled, "a/1.wav").story == STORIES[1]
    with pytest.raises(InputError, match="no such call is kept"):
        by_name(filled, "00000000")
    with pytest.raises(InputError, match="no such call is kept"):
        by_name(filled, "a/none.wav")
    like = replace(STORIES[1], id=f"{STORIES[1].id[:4]}{STORIES[0].id[4:]}")
    filled.put([("a/4.wav", like, 100, "f" * 64)])
    with pytest.raises(InputError, match="several kept calls have such an id"):
        by_name(filled, STORIES[1].id[:4])
    assert by_name(filled, STORIES[1].id).story == STORIES[1]


def test_a_file_is_known_once(filled: Catalogue):
    changed = replace(STORIES[0], place="Elsewhere")
    filled.put([("a/0.wav", changed, 5, "e")])
    assert filled.count() == 4
    assert takes(filled, place="elsewhere") == takes(filled, words="elsewh") == "0"
    assert takes(filled, words="ashmere") == "23"
    filled.remove(["a/0.wav", "unknown.wav"])
    assert takes(filled) == "123"
    assert takes(filled, words="elsewhere") == ""


def test_the_folder_may_be_moved(keep, shot, catalogue: Catalogue, tmp_path):
    keep(wanted(shot, call(3.0)))
    catalogue.close()
    moved = tmp_path / "elsewhere" / "my calls"
    moved.parent.mkdir()
    shutil.move(catalogue.folder, moved)
    with Catalogue(moved) as again:
        (kept,) = find(again, Query()).kept
        assert kept.file.is_relative_to(moved)
        assert kept.file.is_file()


WRITER = """
import sys
from pathlib import Path
from dataclasses import replace
sys.path.insert(0, sys.argv[3])
from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.kept_file.story import from_plain
import json
story = from_plain(json.loads(sys.argv[4]))
with Catalogue(Path(sys.argv[1]), create=True) as catalogue:
    for i in range(40):
        catalogue.put([(f"{sys.argv[2]}/{i}.wav", story, 1, "")])
"""


def test_two_processes_write_at_once_while_one_reads(tmp_path: Path):
    import json

    from calltag.library.kept_file.story import to_plain

    folder = tmp_path / "calls"
    folder.mkdir()
    root = str(Path(__file__).resolve().parents[3])
    plain = json.dumps(to_plain(plain_story()))
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(folder), name, root, plain])
        for name in ("one", "two")
    ]
    seen = 0
    while any(writer.poll() is None for writer in writers):
        if (folder / NAME).is_file():
            with Catalogue(folder, create=True) as catalogue:
                now = catalogue.count()
                assert now >= seen
                seen = now
    assert [writer.returncode for writer in writers] == [0, 0]
    with Catalogue(folder) as catalogue:
        assert catalogue.count() == 80


def test_no_library_is_told(tmp_path: Path):
    with pytest.raises(LibraryError, match="`calltag keep` begins one"):
        Catalogue(tmp_path / "none")
    (tmp_path / "calls" / "a").mkdir(parents=True)
    (tmp_path / "calls" / "a" / "x.wav").touch()
    with pytest.raises(LibraryError, match="`calltag library rebuild` makes one"):
        Catalogue(tmp_path / "calls")
    (tmp_path / "calls" / "a" / "x.wav").rename(
        tmp_path / "calls" / "a" / "._x.wav"
    )  # as Macs leave them
    with pytest.raises(LibraryError, match="`calltag keep` begins one"):
        Catalogue(tmp_path / "calls")


@pytest.mark.parametrize("content", [b"text, and no catalogue at all" * 99, "other"], ids=str)
def test_files_of_others_are_told(tmp_path: Path, content):
    path = tmp_path / NAME
    if content == "other":
        with sqlite3.connect(path) as other:
            other.execute("CREATE TABLE theirs (x)")
        other.close()
    else:
        path.write_bytes(content)
    with pytest.raises(LibraryError, match="--library"):
        Catalogue(tmp_path)
