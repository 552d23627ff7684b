"""Errors in one sentence, also those that come back from a worker."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from calltag.errors import (
    CalltagError,
    ExistsError,
    InputError,
    MediaError,
    OutputError,
    WriteError,
    may_be_open,
    reason_of,
    says_gone,
    why_failed,
)

CLIP = Path("/ashmere/A001.mov")


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (MediaError(CLIP, "is empty; copy it again"), "A001.mov: is empty; copy it again"),
        (MediaError(CLIP, "is empty", "card1/A001.mov"), "card1/A001.mov: is empty"),
        (
            WriteError(Path("a.wav"), "no space left on device"),
            "a.wav: cannot be written (no space left on device); name another place",
        ),
        (ExistsError(Path("a.wav"), "exists already"), "a.wav: exists already"),
        (
            OutputError("it is closed"),
            "the output cannot be written (it is closed); send it to another place",
        ),
    ],
)
def test_an_error_comes_back_from_a_worker_as_it_was(error: CalltagError, sentence: str) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert str(again) == str(error) == sentence
    assert vars(again) == vars(error)


@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (MediaError(CLIP, "is empty; copy it again"), "is empty; copy it again"),
        (InputError("best 0: choose one or more"), "best 0: choose one or more"),
        (MemoryError(), "there was not enough memory for it; close other programs, or use"),
        (ZeroDivisionError("by nought"), "failed (ZeroDivisionError: by nought); please report"),
    ],
)
def test_why_one_file_failed_is_told_in_a_sentence(error: Exception, reason: str) -> None:
    assert why_failed(error, "failed").startswith(reason)


def of_windows(number: int, kind: type[OSError] = OSError) -> OSError:
    """An error as Windows makes it; elsewhere none can be made by its number."""
    error = kind(0, "Access is denied")
    error.winerror = number  # type: ignore[attr-defined]
    return error


def test_what_a_system_says_of_files_that_are_not_there() -> None:
    gone = [FileNotFoundError(), NotADirectoryError(), of_windows(21), of_windows(123)]
    assert all(map(says_gone, gone))
    assert not any(map(says_gone, [PermissionError(), OSError(5, "I/O error"), of_windows(5)]))


def test_what_windows_says_of_a_file_that_is_open_elsewhere() -> None:
    assert may_be_open(of_windows(5, PermissionError))
    assert not may_be_open(PermissionError(13, "Permission denied"))


def test_an_error_without_words_is_named() -> None:
    assert reason_of(TimeoutError()) == "timeouterror"
