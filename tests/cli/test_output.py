"""Tables for people: as the library of tables has them, which is too slow for many rows."""

from __future__ import annotations

import io
import time

import pytest
from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

from calltag.cli import _output
from calltag.cli._output import MANY_ALIKE, Column, print_table, say_problems
from calltag.records.take import Problem

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


def as_the_library_has_it(rows, width) -> str:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for column in COLUMNS:
        table.add_column(
            column.header,
            justify="right" if column.right else "left",
            overflow="fold",
            max_width=_output.WIDEST_FOLDED if column.folds else None,
            no_wrap=not column.folds,
        )
    for row in rows:
        table.add_row(*map(Text, row))
    console = Console(width=width, file=io.StringIO())
    console.print(table)
    return console.file.getvalue()


def test_lines_are_as_the_library_has_them(capsys) -> None:
    lines = printed(ROWS, capsys)
    assert lines == as_the_library_has_it(ROWS, _output.UNLIMITED)
    assert len(lines.splitlines()) == 1 + len(ROWS)


@pytest.mark.parametrize("width", [74, 80, 86, 91, 100])
@pytest.mark.parametrize(
    "name", ["two\nlines.MP4", "a\x07bell.MP4", "x" * 80 + ".MP4", "a reed " * 9]
)
def test_so_are_cells_that_no_line_holds(name, width, monkeypatch, capsys) -> None:
    monkeypatch.setattr(_output, "UNLIMITED", width)
    monkeypatch.setattr(_output, "_kept", lambda columns, *_: list(range(len(columns))))
    rows = [*ROWS, [name, *ROWS[0][1:]]]
    lines = printed(rows, capsys)
    assert lines == as_the_library_has_it(rows, width)
    assert "\x07" not in lines


@pytest.mark.parametrize("width", [1, 7, 20, 33, 47, 60])
def test_no_line_is_wider_than_the_terminal(width, monkeypatch, capsys) -> None:
    monkeypatch.setattr(_output, "UNLIMITED", width)
    lines = printed([*ROWS, ["x" * 80, *ROWS[0][1:]]], capsys).splitlines()
    assert max(map(cell_len, lines)) <= max(width, 7)
    assert "".join(line[0] for line in lines).count("x") > 0


def test_a_season_of_calls_is_listed_in_a_moment(capsys) -> None:
    """The library takes half a millisecond for a row: 15 s for these."""
    begun_s = time.process_time()
    lines = printed(ROWS * 10_000, capsys).splitlines()
    assert time.process_time() - begun_s < 4
    assert len(lines) == 30_001


def test_a_narrow_column_comes_back_where_a_wide_one_went() -> None:
    columns = [Column("take"), Column("length", rank=3), Column("background", rank=2)]
    assert _output._kept(columns, [10, 6, 16], 24) == [0, 1]
    assert _output._kept(columns, [10, 6, 16], 30) == [0, 2]
    assert _output._kept(columns, [10, 6, 16], 38) == [0, 1, 2]


def test_what_is_said_after_a_table_stands_below_it_in_one_file(monkeypatch) -> None:
    """As `calltag calls > list.txt 2>&1` has it: what is printed is kept back, messages are not."""
    file = bytearray()

    class Raw(io.RawIOBase):
        def writable(self) -> bool:
            return True

        def write(self, data) -> int:
            file.extend(data)
            return len(data)

    for stream in ("stdout", "stderr"):
        monkeypatch.setattr(f"sys.{stream}", io.TextIOWrapper(io.BufferedWriter(Raw()), "utf-8"))
    print_table(COLUMNS, ROWS)
    _output.say("3 calls listed.")
    assert file.decode().splitlines()[-1] == "3 calls listed."
    assert len(file.decode().splitlines()) == 5


@pytest.mark.parametrize(("n", "n_lines"), [(MANY_ALIKE, MANY_ALIKE), (MANY_ALIKE + 1, 1)])
def test_many_takes_with_one_problem_are_named_together(n: int, n_lines: int, capsys) -> None:
    problems = [
        Problem(path=f"B{number}.MP4", reason="its sound is damaged") for number in range(n)
    ]
    say_problems([Problem(path="A.MP4", reason="is empty"), *problems])
    first, *others = capsys.readouterr().err.splitlines()
    assert first == "A.MP4: is empty"
    assert len(others) == n_lines
    if n_lines == 1:
        assert others == [
            "B0.MP4, B1.MP4, B2.MP4, B3.MP4, B4.MP4 and 1 more (6 takes): its sound is damaged"
        ]
