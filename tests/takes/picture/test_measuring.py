"""The picture of a take, measured at some moments."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import pytest

from calltag.errors import MediaError
from calltag.takes.picture.grades import grade, grade_of_call
from calltag.takes.picture.looking import wanted_look, with_pictures
from calltag.takes.picture.measuring import look_at, not_looked_at

from .conftest import Clip, call, picture, take_log


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


def test_a_file_without_picture_is_told(tmp_path: Path, make_clip: Clip) -> None:
    path = make_clip(tmp_path / "A001.wav", fps=None, audio_codec="pcm_s16le")
    with pytest.raises(MediaError, match="has no picture"):
        look_at(path, 2.0, [1.0])
    assert wanted_look(take_log(width=0, height=0), [call(1)], whole=True) is None
