from __future__ import annotations

from pathlib import Path

import pytest

from calltag.errors import InputError
from calltag.settings import read_settings


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "calltag.toml"


def test_without_a_file_there_are_no_settings(path: Path) -> None:
    assert read_settings(path) == {}


@pytest.mark.parametrize("mark", ["", "\ufeff"], ids=["plain", "with a byte order mark"])
def test_tables_are_read(path: Path, mark: str) -> None:
    path.write_text(
        mark + '[all]\nlog = "ashmere.db"\n\n[calls]\nmin-confidence = 0.7\nclean = true\n', "utf-8"
    )
    assert read_settings(path) == {
        "all": {"log": "ashmere.db"},
        "calls": {"min-confidence": 0.7, "clean": True},
    }


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"log = 'x.db'\n", "`log` stands outside a table; put it below [all] or the name of a"),
        (b"[calls]\nbest = \n", "is no valid TOML ("),
        (b"[calls]\nbest = 1\nbest = 2\n", "is no valid TOML ("),
        (b"[calls]\ntype = '\xfc'\n", "is not text in UTF-8; save it as UTF-8"),
        (
            b'[all]\nlibrary = "C:\\Users\\me"\n',
            "mend that line; TOML takes \\ for a sign of its own",
        ),
        (b'[all]\nlibrary = "D:\\temp"\n', "`library` is not what you wrote; TOML takes \\ for"),
        (b'[keep]\ntake = ["a", "D:\\temp"]\n', "`take` is not what you wrote; TOML takes \\ for"),
    ],
)
def test_a_file_that_cannot_be_used_is_told(path: Path, content: bytes, sentence: str) -> None:
    path.write_bytes(content)
    with pytest.raises(InputError) as error:
        read_settings(path)
    assert str(error.value).startswith("calltag.toml: ")
    assert sentence in str(error.value)
    assert "\n" not in str(error.value)


def test_backslashes_are_spoken_of_where_they_are_what_is_wrong(path: Path) -> None:
    path.write_text("[all]\nlibrary = 'D:\\calls'\n[calls]\nbest = \n", "utf-8")
    with pytest.raises(InputError, match=r"line 4, column 8\)\); mend that line$"):
        read_settings(path)


def test_a_path_of_windows_is_read(path: Path) -> None:
    path.write_text("[all]\nlibrary = 'D:\\temp'\nlog = \"D:/temp/a.db\"\nbest = 9\n", "utf-8")
    assert read_settings(path) == {"all": {"library": "D:\\temp", "log": "D:/temp/a.db", "best": 9}}


def test_a_folder_of_that_name_is_told(path: Path) -> None:
    path.mkdir()
    with pytest.raises(InputError, match=r"calltag\.toml: cannot be read \("):
        read_settings(path)
