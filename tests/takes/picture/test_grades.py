"""Clips written with known movement and blur, and what is said of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from calltag.takes.picture.grades import PictureGrade, grade, grade_of_call, grade_of_take
from calltag.takes.picture.measuring import look_at

from .conftest import Clip, call, picture, take_log


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
