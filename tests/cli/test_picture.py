"""`calltag calls --picture` and `calltag takes --picture`: grades beside the sound's verdict."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from calltag.log import Log
from calltag.records.found import Call, TakeLog
from calltag.records.take import Take

pytestmark = pytest.mark.usefixtures("in_one_process")


def call(start_s: float, snr_db: float) -> Call:
    return Call(
        start_s=start_s,
        end_s=start_s + 0.4,
        low_hz=2000,
        high_hz=4000,
        peak_hz=3000,
        snr_db=snr_db,
        level_dbfs=-30,
        call_probability=0.9,
    )


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory, make_clip, views) -> Path:
    """A shaky picture and a steady one."""
    folder = tmp_path_factory.mktemp("clips")
    view = views.discs(200, 350, seed=1)
    for name, shake in (("A001.mov", 2.0), ("A002.mov", 0.0)):
        make_clip(
            folder / name,
            seconds=1.4,
            images=views.camera(view, shake_permille=shake),
            video_codec="libx264",
            audio_codec=None,
            picture_options={"preset": "ultrafast", "crf": "18"},
        )
    return folder


@pytest.fixture
def filmed(clips: Path, tmp_path: Path) -> Path:
    """The loudest call is in a shaky picture; a third take's file is gone, a fourth is sound."""
    shutil.copytree(clips, tmp_path, dirs_exist_ok=True)
    path = tmp_path / "calltag.db"
    with Log(path) as log:
        for name, snr_db in (("A001.mov", 15.0), ("A002.mov", 13.0), ("A003.mov", 4.0)):
            log.put(take(tmp_path, name, snr_db, width=320, height=180), feature_version=1)
        log.put(take(tmp_path, "R001.wav", 5.0), feature_version=1)
    return path


def take(folder: Path, name: str, snr_db: float, **more: int) -> TakeLog:
    return TakeLog(
        take=Take(path=name, rushes=str(folder), digest=name, size_bytes=1, duration_s=1.4, **more),
        calls=(call(0.5, snr_db),),
    )


def first_takes(out: str) -> list[str]:
    return [row["take"] for row in csv.DictReader(io.StringIO(out))]


def test_the_best_call_is_good_in_sound_and_picture(filmed: Path, run) -> None:
    assert first_takes(run("calls", "--best", 1, "--as", "csv").out) == ["A001.mov"]
    looked = run("calls", "--best", 1, "--picture", "--as", "json")
    assert looked.status == 0
    [best] = json.loads(looked.out)
    assert best["take"] == "A002.mov"
    assert best["picture"] == "steady, sharp"
    with Log(filmed) as log:
        seen = {one.take.path: len(one.pictures) for one in log.take_logs()}
    assert seen == {"A001.mov": 1, "A002.mov": 1, "A003.mov": 0, "R001.wav": 0}
    # From now on it is known, and counts without being asked for.
    again = run("calls", "--best", 2)
    assert [line.split()[0] for line in again.out.splitlines()[1:]] == ["A002.mov", "A001.mov"]
    assert "shaky, sharp" in again.out
    first, *hints = again.err.splitlines()
    assert first == "2 calls listed of 4."
    assert not any("picture" in hint for hint in hints)


def test_many_shaky_pictures_before_a_steady_one_are_looked_at_in_few_goes(
    filmed: Path, tmp_path: Path, run
) -> None:
    """Each go begins processes anew, which takes longer than to look at a few calls more."""
    with Log(filmed) as log:
        for n in range(12):
            name = f"A{n + 10:03}.mov"
            shutil.copy(tmp_path / "A001.mov", tmp_path / name)
            log.put(take(tmp_path, name, 16.0, width=320, height=180), feature_version=1)
    looked = run("calls", "--best", 1, "--picture", "--as", "csv")
    assert first_takes(looked.out) == ["A002.mov"]
    goes = re.findall(r"(\d+) of \1 takes?", looked.err)
    assert [int(n) for n in goes] == [1, 2, 4, 7]


def test_a_picture_that_cannot_be_read_is_told(filmed: Path, run) -> None:
    ran = run("calls", "--picture", "--as", "csv")
    assert ran.status == 3
    assert "\nA003.mov: is not there" in ran.err
    pictures = [row["picture"] for row in csv.DictReader(io.StringIO(ran.out))]
    assert pictures == ["shaky, sharp", "steady, sharp", "", ""]


def test_takes_are_looked_at(filmed: Path, run) -> None:
    both = ("--take", "A001.mov", "--take", "A002.mov")
    assert "picture" not in run("takes", *both).out.splitlines()[0]
    ran = run("takes", *both, "--picture", "--as", "json")
    assert ran.status == 0
    assert [row["picture"] for row in json.loads(ran.out)] == ["shaky, sharp", "steady, sharp"]
    known = run("takes")
    assert "steady, sharp" in known.out
    assert known.status == 0


def test_the_best_calls_of_a_sheet_are_good_in_sound_and_picture(
    tmp_path: Path, make_clip, views, run
) -> None:
    """The louder of two calls is in a shaky picture."""
    view = views.discs(200, 350, seed=1)
    shaky, steady = views.camera(view, shake_permille=2.0), views.camera(view)
    make_clip(
        tmp_path / "A001.mov",
        seconds=2.8,
        images=lambda i: (shaky if i < 35 else steady)(i),
        video_codec="libx264",
        picture_options={"preset": "ultrafast", "crf": "18"},
    )
    one = take(tmp_path, "A001.mov", 15.0, width=320, height=180, sample_rate_hz=48_000, channels=2)
    one = replace(one, take=replace(one.take, duration_s=2.8), calls=(call(0.5, 15), call(1.9, 13)))
    with Log(tmp_path / "calltag.db") as log:
        log.put(one, feature_version=1)
    for options, expected in (("--no-picture", ["0.500"]), ("--picture", ["1.900"])):
        ran = run("sheet", "s.html", "--best", 1, options, "--workers", 1, "--replace")
        assert ran.status == 0, ran.err
        assert "\ns.html: 1 take, 1 call, " in ran.err
        page = (tmp_path / "s.html").read_text("utf-8")
        assert re.findall(r'class="call"[^>]* data-start="([\d.]+)"', page) == expected
        assert "1 less likely find or further call not shown" in page
