"""The work on one clip, and how it ends where it cannot be done."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from calltag.analysis import analyse_take, outcome
from calltag.errors import MediaError, ModelError
from calltag.learn.finding.finder import Findings
from calltag.plan import Job
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.take import Levels

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


def test_what_is_found_ends_where_its_take_does(
    tmp_path: Path, make_clip, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last packet of a codec is filled up with silence, which is listened to as well."""
    file = make_clip(tmp_path / "A001.mov", seconds=1.0)
    call = Call(
        start_s=0.7,
        end_s=1.02,
        low_hz=300,
        high_hz=600,
        peak_hz=400,
        snr_db=20,
        level_dbfs=-40,
        call_probability=0.9,
    )
    wind = NoiseSpan(
        start_s=0.0,
        end_s=0.5,
        kind="wind",
        confidence=0.9,
        level_dbfs=-40,
        low_hz=50,
        high_hz=600,
    )
    spans = (wind, replace(wind, start_s=0.6, end_s=1.05))
    levels = Levels(peak_dbfs=-6, clipped=0, loudness_lufs=-30, floor_dbfs=-60)
    found = Findings(levels, (call, replace(call, start_s=0.1, end_s=0.4)), spans)
    listens = SimpleNamespace(analyse=lambda *_: found)
    monkeypatch.setattr("calltag.analysis.finder", lambda: listens)
    job = Job(file, str(tmp_path), "A001.mov", "digest", file.stat().st_size)
    log = analyse_take(job)
    ends_s = [one.end_s for one in (*log.calls, *log.noise)]
    assert ends_s == [log.take.duration_s, 0.4, 0.5, log.take.duration_s]
    assert log.take.duration_s == pytest.approx(1.0, abs=0.01)
    assert log.take.picture_s is not None
    assert log.take.levels == levels
    found = replace(found, joined_s=3.0)  # what the file states is the length of a part
    joined = analyse_take(job)
    assert (joined.take.duration_s, joined.take.picture_s) == (3.0, None)
    assert [one.end_s for one in joined.calls] == [1.02, 0.4]


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
