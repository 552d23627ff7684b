"""Clips written with known movement and blur, and what is said of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from calltag.errors import MediaError
from calltag.log import Log
from calltag.records.found import Call, Picture, TakeLog
from calltag.records.take import Take
from calltag.takes.picture import looking
from calltag.takes.picture.grades import (
    PictureGrade,
    grade,
    grade_of_call,
    grade_of_take,
    look_at,
    moments_in,
    not_looked_at,
)
from calltag.takes.picture.looking import Look, look, measured, wanted_look, with_pictures

Clip = Callable[..., Path]


def call(start_s: float) -> Call:
    return Call(
        start_s=start_s,
        end_s=start_s + 0.4,
        low_hz=200,
        high_hz=400,
        peak_hz=300,
        snr_db=12,
        level_dbfs=-30,
        call_probability=0.9,
    )


def picture(middle_s: float = 1.0, **changes: object) -> Picture:
    values: dict[str, object] = {
        "start_s": middle_s - 0.4,
        "end_s": middle_s + 0.4,
        "drift_permille_per_s": 1.0,
        "jitter_permille": 0.1,
        "blur_permille": 0.5,
        "pixel_permille": 0.8,
    }
    return Picture(**(values | changes))  # type: ignore[arg-type]


def take_log(*pictures: Picture, **changes: object) -> TakeLog:
    values: dict[str, object] = {
        "path": "A001.mov",
        "rushes": "/ashmere",
        "digest": "1",
        "size_bytes": 1,
        "duration_s": 30.0,
        "width": 1920,
        "height": 1080,
    }
    return TakeLog(take=Take(**(values | changes)), pictures=pictures)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def view(views: ModuleType) -> np.ndarray:
    return views.discs(290, 530, seed=1)


@pytest.mark.parametrize(
    ("moves", "words"),
    [
        ({}, "steady, sharp"),
        ({"grain": 5.0}, "steady, sharp"),
        ({"pan_permille_per_s": 60.0}, "moving, sharp"),
        ({"shake_permille": 1.2}, "shaky, sharp"),
        ({"pan_permille_per_s": 60.0, "shake_permille": 1.2}, "shaky, sharp"),
        ({"shake_permille": 0.2}, "steady, sharp"),
        ({"blur_px": 1.6}, "steady, soft"),
        ({"blur_px": 3.5, "pan_permille_per_s": 40.0}, "moving, blurred"),
    ],
)
def test_what_is_said_of_a_clip(
    tmp_path: Path,
    make_clip: Clip,
    views: ModuleType,
    view: np.ndarray,
    moves: dict[str, float],
    words: str,
) -> None:
    camera = views.camera(view, width=480, height=270, **moves)
    path = make_clip(
        tmp_path / "A001.mov",
        seconds=1.0,
        images=camera,
        video_codec="libx264",
        audio_codec=None,
        picture_options={"preset": "ultrafast", "crf": "20"},
    )
    [measured] = look_at(path, 1.0, [0.5])
    assert str(grade(measured)) == words


def test_a_picture_that_stands_still_is_measured_all_the_same(
    tmp_path: Path, make_clip: Clip, views: ModuleType
) -> None:
    view = views.discs(200, 330, seed=1)
    path = make_clip(
        tmp_path / "A001.mp4",
        images=lambda _: views.seen(view, 180, 320),
        ticks=[0, 250],
        video_codec="libx264",
        audio_codec=None,
    )
    [measured] = look_at(path, 10.0, [5.0])
    assert measured.jitter_permille is None
    assert str(grade(measured)) == "sharp"


def test_the_lines_are_those_of_the_file() -> None:
    assert grade(picture(jitter_permille=0.49)).steadiness == "steady"
    assert grade(picture(jitter_permille=0.5)).steadiness == "shaky"
    assert grade(picture(drift_permille_per_s=10.1)).steadiness == "moving"
    assert grade(picture(blur_permille=0.81)).sharpness == "soft"
    assert grade(picture(blur_permille=2.5)).sharpness == "blurred"


def test_a_good_picture_is_both_steady_and_sharp_as_far_as_can_be_told() -> None:
    assert grade(picture()).is_good
    for worse in ({"jitter_permille": 9.0}, {"blur_permille": 9.0}, {"blur_permille": None}):
        assert not grade(picture(**worse)).is_good


def test_a_small_picture_is_judged_by_its_pixels() -> None:
    """At 320 pixels one is 3.1 thousandths: a blur that large HD could tell, and this cannot."""
    assert grade(picture(blur_permille=3.0, pixel_permille=3.125)).sharpness == "sharp"
    assert grade(picture(blur_permille=5.0, pixel_permille=3.125)).sharpness == "soft"
    assert grade(picture(blur_permille=7.0, pixel_permille=3.125)).sharpness == "blurred"


def test_what_cannot_be_told_is_left_out() -> None:
    nothing = picture(drift_permille_per_s=None, jitter_permille=None, blur_permille=None)
    assert str(grade(nothing)) == "cannot be told"
    assert grade(nothing).worth == 1.0
    assert str(grade(replace(nothing, blur_permille=0.5))) == "sharp"


def test_the_worst_picture_leaves_least() -> None:
    worst = picture(jitter_permille=9.0, blur_permille=9.0)
    others = [
        grade(picture(jitter_permille=jitter, drift_permille_per_s=drift, blur_permille=blur)).worth
        for jitter in (0.25, 9.0)
        for drift in (3.5, 900.0)
        for blur in (0.5, 9.0)
    ]
    assert grade(worst).worth == min(others) < grade(picture()).worth == max(others) == 1.0


def test_the_grade_of_a_call_is_that_beside_it() -> None:
    one = take_log(picture(4.0), picture(8.0, jitter_permille=2.0))
    assert grade_of_call(one, call(3.9)) == PictureGrade("steady", "sharp")
    assert grade_of_call(one, call(7.5)) == PictureGrade("shaky", "sharp")
    assert grade_of_call(one, call(6.0)) is None
    assert grade_of_call(take_log(), call(6.0)) is None


def test_the_grade_of_a_take_is_that_of_most_places() -> None:
    shaky = picture(8.0, jitter_permille=2.0)
    assert str(grade_of_take(take_log(picture(1), picture(2), shaky))) == "mostly steady, sharp"
    assert str(grade_of_take(take_log(picture(1), shaky))) == "mostly shaky, sharp"
    assert str(grade_of_take(take_log(picture(1), picture(2)))) == "steady, sharp"
    assert grade_of_take(take_log()) is None


def test_moments_close_together_share_a_look() -> None:
    one = take_log(picture(4.0))
    assert not_looked_at(one, [8.3, 8.0, 4.2, 8.6, 9.0]) == [8.0, 8.6]
    assert not_looked_at(one, [99.0, -3.0]) == [0.0, 30.0]
    assert not_looked_at(take_log(width=0, height=0), [8.0]) == []


def test_every_moment_is_known_after_the_look(tmp_path: Path, make_clip: Clip) -> None:
    """At both ends of a take too, where frames are on one side only."""
    path = make_clip(tmp_path / "A001.mov", seconds=3, audio_codec=None, noisy_picture=True)
    one = take_log(rushes=str(tmp_path), duration_s=3.0)
    calls = [call(start_s) for start_s in (0.0, 0.9, 1.0, 2.6)]
    wanted = wanted_look(one, calls, whole=True)
    assert wanted is not None
    assert wanted.file == path
    seen = with_pictures(one, look_at(path, 3.0, wanted.moments_s))
    assert wanted_look(seen, calls, whole=True) is None
    assert all(grade_of_call(seen, each) is not None for each in calls)


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


def test_a_file_without_picture_is_told(tmp_path: Path, make_clip: Clip) -> None:
    path = make_clip(tmp_path / "A001.wav", fps=None, audio_codec="pcm_s16le")
    with pytest.raises(MediaError, match="has no picture"):
        look_at(path, 2.0, [1.0])
    assert wanted_look(take_log(width=0, height=0), [call(1)], whole=True) is None


def test_no_look_is_no_work(tmp_path: Path) -> None:
    with Log(tmp_path / "calltag.db") as log:
        assert look([], log) == ({}, [])
