"""What a run says of how far it is."""

from __future__ import annotations

import io
import re

import pytest

from calltag.cli import _progress
from calltag.cli._output import Column, print_table
from calltag.cli._progress import Stages, Teller, bar
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


def test_stages_are_told_as_they_begin_with_the_time_they_take(capsys, monkeypatch) -> None:
    """Each has a pace of its own; few steps begin without a word, and none ends with one."""
    now_s = [100.0]
    monkeypatch.setattr(_progress.time, "monotonic", lambda: now_s[0])
    with Stages() as stages:
        for what, of, step_s in (("reading", 20, 1.0), ("few", 2, 3.0), ("comparing", 100, 4.0)):
            for done in range(0, of + 1):
                stages.tell(what, done, of)
                now_s[0] += step_s
            now_s[0] -= step_s
    lines = capsys.readouterr().err.splitlines()
    assert lines[:5] == [
        "reading: 0 of 20",
        "reading: 5 of 20, about 15 s left",
        "reading: 10 of 20, about 10 s left",
        "reading: 15 of 20, about 5 s left",
        "comparing: 0 of 100",
    ]
    assert lines[5] == "comparing: 2 of 100"
    assert lines[6] == "comparing: 4 of 100, about 6 min left"
    assert not any("100 of 100" in line for line in lines)


@pytest.mark.parametrize(("done", "left"), [(4, "about 32 s"), (19, "about 1 s")])
def test_where_much_may_be_spared_it_takes_about_so_long_or_less(done, left, capsys, monkeypatch):
    """Longer takes may come last, as well: so much at most would be too much said."""
    now_s = [100.0]
    monkeypatch.setattr(_progress.time, "monotonic", lambda: now_s[0])
    with Stages(steady=False) as stages:
        stages.tell("comparing", 0, 2)
        now_s[0] += 8.0
        stages.tell("comparing", done, 20)
    assert capsys.readouterr().err == f"comparing: {done} of 20, {left} left, or less\n"


def test_stages_show_one_bar_on_a_terminal(monkeypatch) -> None:
    screen = Screen()
    monkeypatch.setattr("sys.stderr", screen)
    with Stages() as stages:
        for what in ("reading", "comparing"):
            for done in range(3):
                stages.tell(what, done, 2)
    assert "comparing" in screen.getvalue()
    assert "2/2" in screen.getvalue()


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
