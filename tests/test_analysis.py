"""The work on one clip, and how it ends where it cannot be done."""

from __future__ import annotations

from pathlib import Path

import pytest

from calltag.analysis import analyse_take, outcome
from calltag.errors import MediaError, ModelError
from calltag.plan import Job
from calltag.records.found import TakeLog

JOB = Job(Path("/ashmere/A001.mov"), "/ashmere", "A001.mov", "digest", 9)


def test_a_take_without_sound_is_not_listened_to(
    tmp_path: Path, make_clip, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never() -> None:
        raise AssertionError

    monkeypatch.setattr("calltag.analysis.finder", never)
    file = make_clip(tmp_path / "A001.mov", audio_codec=None, seconds=1.0)
    found = analyse_take(Job(file, str(tmp_path), "A001.mov", "digest", file.stat().st_size))
    assert found == TakeLog(take=found.take)
    assert (found.take.has_sound, found.take.levels) == (False, None)
    assert (found.take.width, found.take.height) == (64, 36)
    assert (found.take.path, found.take.rushes, found.take.digest) == (
        "A001.mov",
        str(tmp_path),
        "digest",
    )


@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (MediaError(JOB.file, "is empty; copy it again"), "is empty; copy it again"),
        (KeyError("pond"), "could not be analysed (KeyError: 'pond'); please report this"),
    ],
)
def test_what_ends_the_work_on_one_clip_is_told(error: Exception, reason: str) -> None:
    def fails(_: Job) -> TakeLog:
        raise error

    assert outcome(fails, JOB) == reason


def test_a_missing_model_ends_the_work_on_all() -> None:
    def fails(_: Job) -> TakeLog:
        raise ModelError("the starter model is missing; install calltag again")

    with pytest.raises(ModelError, match="starter model is missing"):
        outcome(fails, JOB)
