"""What a run says of how far it is."""

from __future__ import annotations

import io
import re

import pytest

from calltag.cli import _progress
from calltag.cli._output import Column, print_table
from calltag.cli._progress import Teller, bar
from calltag.intake import Progress


@pytest.mark.parametrize(
    ("done", "spent_s", "to_go", "left"),
    [
        (26, 60.0, 2.0, ", about 2 min left"),
        (3, 4.0, 2.0, ""),  # the workers have only just started
        (2, 60.0, 2.0, ""),
        (3, 60.0, None, ""),
        (3, 12.0, 600.0, ""),  # three small takes of many long ones
    ],
)
def test_the_time_left_is_told_when_enough_is_known(
    capsys, monkeypatch, done, spent_s, to_go, left
) -> None:
    now_s = [100.0]
    monkeypatch.setattr(_progress.time, "monotonic", lambda: now_s[0])
    teller = Teller()
    now_s[0] += spent_s
    teller.tell(Progress(done=done, total=53, share=0.001, sound_s=40.0, to_go=to_go))
    assert capsys.readouterr().err == f"{done} of 53 takes, 40 s of sound{left}\n"


def test_takes_that_are_looked_at_are_counted_alike(capsys, monkeypatch) -> None:
    now_s = [100.0]
    monkeypatch.setattr(_progress.time, "monotonic", lambda: now_s[0])
    teller = Teller()
    now_s[0] += 30.0
    teller.tell_counted(10, 20)
    assert capsys.readouterr().err == "10 of 20 takes, about 30 s left\n"


def test_who_waits_is_told_also_where_there_is_no_terminal(capsys, monkeypatch) -> None:
    now_s = [100.0]
    monkeypatch.setattr(_progress.time, "monotonic", lambda: now_s[0])
    with bar("comparing") as told:
        for done in range(4):
            told(done, 3)
            now_s[0] += 4.0
    assert capsys.readouterr().err == "comparing: 2 of 3\n"


class Screen(io.StringIO):
    """A terminal that keeps what it is sent."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(("no_color", "colours"), [("", True), ("1", False)])
def test_no_colour_comes_where_none_is_wanted(monkeypatch, no_color, colours) -> None:
    """As no-color.org has it: any value but an empty one. Bold is no colour, and may stay."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("NO_COLOR", no_color)
    screen = Screen()
    monkeypatch.setattr("sys.stderr", screen)
    monkeypatch.setattr("sys.stdout", screen)
    with Teller() as teller:
        teller.tell_counted(10, 20)
    print_table([Column("take")], [["A001.mov"]])
    colour = re.compile(r"\x1b\[(?:\d+;)*(?:3\d|4\d|9\d|10\d)(?:;\d+)*m")
    assert bool(colour.search(screen.getvalue())) is colours
    assert "10 of 20" in screen.getvalue()
