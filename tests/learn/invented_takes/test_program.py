"""The command line of what learns to tell something from calls."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from calltag.errors import InputError
from calltag.learn.invented_takes.lessons import TAKES
from calltag.learn.invented_takes.program import run
from calltag.learn.networks.starter_model import starter_model


@pytest.mark.parametrize(
    ("typed", "given"),
    [
        ([], (starter_model(), TAKES, 7)),
        (["--model", "a.onnx", "--takes", "3", "--seed", "9"], (Path("a.onnx"), 3, 9)),
    ],
)
def test_it_is_made_as_the_command_line_says(monkeypatch, typed, given) -> None:
    monkeypatch.setattr(sys, "argv", ["program", *typed])
    made = []

    def make(model: Path, *, takes: int, seed: int) -> None:
        made.append((model, takes, seed))

    run(make, prog="program", description="Makes it.", seed=7)
    assert made == [given]


def test_nothing_is_made_where_something_is_missing(monkeypatch) -> None:
    monkeypatch.setattr(sys, "argv", ["program"])

    def check() -> None:
        raise InputError("espeak-ng not installed")

    with pytest.raises(InputError, match="not installed"):
        run(pytest.fail, prog="program", description="Makes it.", seed=7, check=check)
