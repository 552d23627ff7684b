"""What is never overwritten."""

from __future__ import annotations

import sqlite3
import zipfile
from contextlib import closing

import pytest

from calltag.errors import InputError
from calltag.overwriting import refuse_existing, refuse_footage, refuse_other_than_model
from calltag.own_files import MODEL_CARD


@pytest.mark.parametrize(
    "name",
    ["calltag.db", "calltag.db-wal", "calltag.db-shm", "link.db", "calltag.model", "lib/a.wav"],
)
def test_what_calltag_keeps_is_never_replaced(tmp_path, name):
    (tmp_path / "lib").mkdir()
    for database in (tmp_path / "calltag.db", tmp_path / "lib" / "catalogue.db"):
        with closing(sqlite3.connect(database)) as connection:
            connection.execute("CREATE TABLE take (path TEXT)")
    (tmp_path / "link.db").symlink_to("calltag.db")
    with zipfile.ZipFile(tmp_path / "calltag.model", "w") as archive:
        archive.writestr(MODEL_CARD, "{}")
    with pytest.raises(InputError, match=r"never overwritten; name|lies in a call library; name"):
        refuse_existing([tmp_path / name], replace=True)


def test_of_two_files_none_replaces_the_other(tmp_path):
    with pytest.raises(InputError, match="two files would have this name"):
        refuse_existing([tmp_path / "a.wav", tmp_path / "b" / ".." / "A.WAV"], replace=True)


def test_a_folder_is_never_replaced(tmp_path):
    with pytest.raises(InputError, match="there is a folder of this name"):
        refuse_existing([tmp_path], replace=True)


@pytest.mark.parametrize(
    ("name", "content", "refused"),
    [
        ("a.model", b"damaged", False),
        ("a.model", b"SQLite format 3\0", True),
        ("notes.txt", b"notes", True),
        ("notes.txt", b"PK\3\4" + bytes(26) + b"card.json", False),
        ("none.txt", None, False),
    ],
)
def test_a_model_overwrites_nothing_but_a_model(tmp_path, name, content, refused):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    if refused:
        with pytest.raises(InputError, match="is no taught model"):
            refuse_other_than_model(tmp_path / name)
    else:
        refuse_other_than_model(tmp_path / name)


def test_a_take_is_safe_whatever_the_capitals_of_its_name(tmp_path):
    """Most disks of Macs and Windows take both for one file."""
    with pytest.raises(InputError, match="never written to"):
        refuse_footage([tmp_path / "Card" / "A001.wav"], [tmp_path / "card" / "a001.WAV"])
