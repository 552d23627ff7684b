"""What a run says of how far it is."""

from __future__ import annotations

import pytest

from calltag.cli import _progress
from calltag.cli._progress import Teller
from calltag.run import Progress


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
