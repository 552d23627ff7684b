"""Tables for people: lines of what fits are exactly as the library that folds has them."""

from __future__ import annotations

import time

import pytest

from calltag.cli import _output
from calltag.cli._output import Column, print_table

COLUMNS = (
    Column("take", folds=True),
    Column("at", right=True),
    Column("call type", folds=True),
    Column("noise", folds=True, rank=2),
    Column("timecode", rank=5),
)
ROWS = [
    ["card 1/ASH_A_0031.MP4", "0:04.12", "marsh hooter: boom", "", "05:12:00:03"],
    ["card 2/Röhricht 沼.MP4", "1:10:05.00", "call", "water", ""],
    ["[bold]card[/bold]", "0:00.00", ":smile:", "machine/hedge trimmer", "05:12:00;03"],
]


def printed(rows, capsys) -> str:
    print_table(COLUMNS, rows)
    return capsys.readouterr().out


@pytest.mark.parametrize("n_rows", [1, 2, 3])
def test_lines_are_as_the_library_has_them(n_rows, monkeypatch, capsys) -> None:
    plain = printed(ROWS[:n_rows], capsys)
    with monkeypatch.context() as patched:
        patched.setattr(_output, "_print_lines", _output._print_folded)
        assert printed(ROWS[:n_rows], capsys) == plain
    assert len(plain.splitlines()) == 1 + n_rows


@pytest.mark.parametrize("width", range(20, 100, 7))
def test_so_are_they_on_a_terminal_of_any_width(width, monkeypatch, capsys) -> None:
    monkeypatch.setattr(_output, "UNLIMITED", width)
    plain = printed(ROWS, capsys)
    monkeypatch.setattr(_output, "_print_lines", _output._print_folded)
    assert printed(ROWS, capsys) == plain


@pytest.mark.parametrize("name", ["two\nlines.MP4", "a\x07bell.MP4", "x" * 80 + ".MP4"])
def test_what_no_line_holds_is_folded(name, capsys) -> None:
    lines = printed([[name, *ROWS[0][1:]]], capsys).splitlines()
    assert len({len(line) for line in lines}) == 1
    assert len(lines) == (2 if "bell" in name else 3)
    assert "\x07" not in "".join(lines)


def test_a_season_of_calls_is_listed_in_a_moment(capsys) -> None:
    """The library takes half a millisecond for a row: 15 s for these."""
    begun_s = time.process_time()
    lines = printed(ROWS * 10_000, capsys).splitlines()
    assert time.process_time() - begun_s < 4
    assert len(lines) == 30_001
