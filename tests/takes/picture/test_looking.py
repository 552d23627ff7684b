"""The pictures of many takes are looked at side by side, and kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from calltag.errors import MediaError
from calltag.log import Log
from calltag.takes.picture import looking
from calltag.takes.picture.looking import Look, look, measured, wanted_look
from calltag.takes.picture.measuring import moments_in, not_looked_at

from .conftest import Clip, take_log


def test_pictures_are_looked_at_side_by_side_and_kept(tmp_path: Path, make_clip: Clip) -> None:
    make_clip(tmp_path / "A001.mov", seconds=2, audio_codec=None, noisy_picture=True)
    for name in ("A10.mov", "A002.mov"):
        (tmp_path / name).write_bytes(b"no clip at all" * 99)
    told = []
    with Log(tmp_path / "calltag.db") as log:
        for name in ("A10.mov", "A001.mov", "A002.mov"):
            one = take_log(path=name, rushes=str(tmp_path), duration_s=2.0)
            log.put(one, feature_version=1)
        looks = [wanted_look(one, (), whole=True) for one in log.take_logs()]
        assert all(looks)
        pictures, problems = look(
            [one for one in looks[::-1] if one], log, workers=2, listener=lambda *n: told.append(n)
        )
        kept = log.take_log("A001.mov").pictures
    assert kept == pictures["A001.mov"]
    assert len(kept) == len(
        not_looked_at(take_log(duration_s=2.0), moments_in(take_log(duration_s=2.0).take))
    )
    assert [problem.path for problem in problems] == ["A002.mov", "A10.mov"]
    assert "not picture or sound" in problems[0].reason
    assert told == [(1, 3), (2, 3), (3, 3)]


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (MemoryError(), "there was not enough memory for it"),
        (MediaError(Path("A001.mov"), "has no picture"), "has no picture"),
        (KeyError("pond"), "its picture cannot be measured (KeyError: 'pond'); please report this"),
    ],
    ids=["memory", "clip", "defect"],
)
def test_a_look_that_fails_is_told_in_a_sentence(
    monkeypatch: pytest.MonkeyPatch, error: Exception, told: str
) -> None:
    def fail(*_: object) -> None:
        raise error

    monkeypatch.setattr(looking, "look_at", fail)
    one = Look(path="A001.mov", file=Path("A001.mov"), duration_s=2.0, moments_s=(1.0,))
    found = measured(one)
    assert isinstance(found, str)
    assert found.startswith(told)


def test_no_look_is_no_work(tmp_path: Path) -> None:
    with Log(tmp_path / "calltag.db") as log:
        assert look([], log) == ({}, [])
