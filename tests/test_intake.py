"""What comes of the work on clips, and how it is counted."""

from __future__ import annotations

from pathlib import Path

import pytest

from calltag.errors import LogError
from calltag.intake import Intake, Progress
from calltag.log import Log
from calltag.plan import Job, Plan
from calltag.records.found import TakeLog
from calltag.records.take import Levels, Take

SOUND = Levels(peak_dbfs=-6, clipped=0, loudness_lufs=-30, floor_dbfs=-60)


def job(name: str, digest: str = "d", size_bytes: int = 1) -> Job:
    return Job(Path("/rushes", name), "/rushes", name, digest, size_bytes)


def found(one: Job, levels: Levels | None, duration_s: float = 60.0) -> TakeLog:
    return TakeLog(
        take=Take(
            path=one.path,
            rushes=one.rushes,
            digest=one.digest,
            size_bytes=one.size_bytes,
            duration_s=duration_s,
            sample_rate_hz=None if levels is None else 48_000,
            channels=0 if levels is None else 1,
            levels=levels,
        )
    )


def stored(log: Log) -> list[str]:
    return [take.path for take in log.takes()]


@pytest.mark.parametrize(("levels", "sound_s"), [(SOUND, 60.0), (None, 0.0)], ids=["sound", "none"])
def test_what_is_stored_counts_though_a_copy_cannot_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, levels, sound_s
) -> None:
    same = [job("A001.mov"), job("A002.mov"), job("A003.mov"), job("A004.mov")]
    with Log(tmp_path / "calltag.db") as log:
        put = log.put

        def full(take_log: TakeLog, *, feature_version: int) -> str | None:
            if take_log.take.path == "A003.mov":
                raise LogError("the disk is full")
            return put(take_log, feature_version=feature_version)

        monkeypatch.setattr(log, "put", full)
        intake = Intake(Plan(jobs=[same]), log, 1, None)
        with pytest.raises(LogError, match="full"):
            intake.take(same, found(same[0], levels))
        assert stored(log) == ["A001.mov", "A002.mov"]
    assert (intake.analysed, intake.copied, intake.sound_s) == (1, 1, sound_s)
    assert intake.silent == ([] if levels else ["A001.mov", "A002.mov"])


def test_all_of_one_content_are_told_as_far_as_the_run_is(tmp_path: Path) -> None:
    """Three files of 10 bytes, two of them alike, and one that cannot be read, of 30."""
    jobs = [
        [job("A001.mov", "d", 10), job("A002.mov", "d", 10)],
        [job("A003.mov", "e", 30)],
        [job("A004.mov", "f", 10)],
    ]
    told: list[Progress] = []
    with Log(tmp_path / "calltag.db") as log:
        intake = Intake(Plan(jobs=jobs), log, 1, told.append)
        intake.take(jobs[0], found(jobs[0][0], SOUND))
        intake.take(jobs[1], "the file ends in the middle")
        intake.take(jobs[2], found(jobs[2][0], SOUND, 30.0))
        assert stored(log) == ["A001.mov", "A002.mov", "A004.mov"]
        assert [problem.path for _, problem in log.problems()] == ["A003.mov"]
    assert [(one.done, one.total) for one in told] == [(2, 4), (3, 4), (4, 4)]
    assert [one.share for one in told] == pytest.approx([20 / 60, 50 / 60, 1.0])
    assert [one.sound_s for one in told] == [60.0, 60.0, 90.0]
    # a byte is worth six seconds so far: of 60 s that are done, 40 bytes are four times as much
    assert [one.to_go for one in told] == pytest.approx([4.0, 1.0, 0.0])
    assert (intake.analysed, intake.copied) == (2, 1)
    assert [problem.path for problem in intake.problems] == ["A003.mov"]
