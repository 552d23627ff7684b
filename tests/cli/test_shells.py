from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from calltag.cli import _shells
from calltag.cli._shells import as_meant, as_typed, refuse_split
from calltag.errors import InputError


def test_a_pattern_that_the_shell_left_is_what_it_matches(tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("ASH_1.MP4", "ASH_2.MP4", "ASH_[2].MP4", "x.MP4"):
        Path(name).touch()
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    given = ["ASH_?.MP4", "ASH_[2].MP4", "none*", ".", "~/x*"]
    assert [str(path) for path in as_meant([Path(name) for name in given])] == [
        "ASH_1.MP4",
        "ASH_2.MP4",
        "ASH_[2].MP4",
        "none*",
        ".",
        str(tmp_path / "x.MP4"),
    ]


def test_a_quotation_mark_that_windows_leaves_is_none_of_the_name(tmp_path) -> None:
    """`"E:\\my card\\"`, as its shell completes it, comes as `E:\\my card"`."""
    given = [Path(f'{tmp_path}"')]
    assert as_meant(given, on_windows=True) == [tmp_path]
    assert as_meant(given, on_windows=False) == given


def test_commands_are_shown_as_the_shell_at_hand_takes_them() -> None:
    command = ("calltag", "log", "C:\\my clips", "--log", "calltag-demo\\calltag.db")
    assert as_typed(command, on_windows=True) == (
        'calltag log "C:\\my clips" --log calltag-demo\\calltag.db'
    )
    assert shlex.split(as_typed(command, on_windows=False)) == list(command)


def test_a_name_that_was_split_at_its_spaces_is_told_to_be_put_in_quotes(
    tmp_path, monkeypatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("My card 1", "card", "1"):
        Path(name).mkdir()
    with pytest.raises(InputError, match='in quotes: "My card 1"'):
        refuse_split([Path("card"), Path("My"), Path("card"), Path("1")])
    refuse_split([Path("card"), Path("1")])
    refuse_split([Path("none"), Path("card")])


def test_no_name_is_put_together_where_all_that_was_named_is_there(tmp_path, monkeypatch) -> None:
    """A pattern may stand for thousands of clips: each is looked for once."""
    clips = [tmp_path / f"A{number:04}.MP4" for number in range(2000)]
    asked: list[Path] = []
    monkeypatch.setattr(_shells, "is_there", lambda path: asked.append(path) or True)
    refuse_split(clips)
    assert asked == clips
    monkeypatch.setattr(_shells, "is_there", lambda path: asked.append(path))
    refuse_split(clips)  # of a card that is not connected
    assert len(asked) < 25 * len(clips)
