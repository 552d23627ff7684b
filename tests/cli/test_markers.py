"""`calltag markers`: the files it writes, read back, and what it says."""

from __future__ import annotations

import csv
import shutil
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import opentimelineio as otio
import pytest
import typer
from otio_cmx3600_adapter import cmx_3600
from typer.testing import CliRunner
from wavinfo import WavInfoReader

from calltag.cli import FAILED, SOME_UNREADABLE, markers
from calltag.cli._output import tell_files
from calltag.log import Log
from calltag.records.alignment import Alignment
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.label import Label
from calltag.records.take import Take

RUNNER = CliRunner()


@pytest.fixture(scope="module")
def clips(tmp_path_factory, make_clip) -> Path:
    """Two clips, at 25 and at 100 frames a second, and a recorder's sound."""
    folder = tmp_path_factory.mktemp("clips")
    make_clip(folder / "A001.mov", timecode="10:00:00:00")
    make_clip(folder / "B001.mov", fps=Fraction(100))
    make_clip(folder / "R001.wav", fps=None, audio_codec="pcm_s24le", channels=1)
    return folder


@pytest.fixture
def shoot(tmp_path, clips, monkeypatch) -> Path:
    """A log of the clips, with one call in each."""
    rushes = shutil.copytree(clips, tmp_path / "rushes")
    rates = [(Fraction(25), "10:00:00:00"), (Fraction(100), None), (None, None)]
    with Log(tmp_path / "calltag.db") as log:
        for clip, (fps, start_tc) in zip(sorted(rushes.iterdir()), rates, strict=True):
            take = Take(
                path=clip.name,
                rushes=str(rushes),
                digest=clip.name,
                size_bytes=clip.stat().st_size,
                duration_s=2.0,
                fps=fps,
                start_tc=start_tc,
                sample_rate_hz=48_000,
                channels=2 if fps else 1,
                width=64 if fps else 0,
                height=36 if fps else 0,
            )
            call = Call(
                start_s=1.0,
                end_s=1.5,
                low_hz=180,
                high_hz=2210,
                peak_hz=400,
                snr_db=14,
                level_dbfs=-31,
                call_probability=0.9,
                label="marsh hooter: boom" if fps else "call",
                confidence=0.8,
            )
            wind = NoiseSpan(
                start_s=0,
                end_s=0.5,
                kind="wind",
                confidence=0.9,
                level_dbfs=-30,
                low_hz=20,
                high_hz=300,
            )
            log.put(TakeLog(take=take, calls=(call,), noise=(wind,)), feature_version=1)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*arguments: str):
    app = typer.Typer()
    markers.register(app)
    return RUNNER.invoke(app, list(arguments))


def test_a_timeline(shoot):
    result = run("day.otio")
    assert result.exit_code == 0, result.stderr
    assert result.stderr == "day.otio: 3 calls marked in 3 takes\n"
    assert result.stdout == ""
    timeline = otio.adapters.read_from_file("day.otio")
    starts = [clip.markers[0].marked_range.start_time for clip in timeline.find_clips()]
    assert [(start.value, start.rate) for start in starts] == [(900_025, 25), (100, 100), (25, 25)]


def test_sound_alone_is_counted_as_most_were_filmed(shoot):
    with Log(Path("calltag.db")) as log:
        first = next(iter(log.take_logs()))
        fast = replace(first.take, fps=Fraction(100), start_tc=None)
        log.put(replace(first, take=fast), feature_version=1)
    assert run("day.otio").exit_code == 0
    timeline = otio.adapters.read_from_file("day.otio")
    starts = [clip.markers[0].marked_range.start_time for clip in timeline.find_clips()]
    assert [start.rate for start in starts] == [100, 100, 100]


def test_edit_lists(shoot):
    result = run("day.edl", "--type", "marsh hooter", "--start-tc", "10:00:00:00")
    assert result.exit_code == 0, result.stderr
    (clip,) = cmx_3600.read_from_string(Path("day_25.edl").read_text(), rate=25).tracks[0]
    assert clip.source_range.start_time.value == 900_025
    assert "A001.mov" in Path("day.reels.csv").read_text()


def test_an_edit_list_over_midnight_is_told(shoot):
    with Log(Path("calltag.db")) as log:
        first = next(iter(log.take_logs()))
        late = replace(first.take, start_tc="23:59:58:20")
        log.put(replace(first, take=late), feature_version=1)
    told = "timecode begins anew at midnight within an event of A001.mov; an editing program"
    assert f"day_25.edl: {told}" in run("day.edl").stderr
    assert "midnight" not in run("day.otio").stderr


def test_calls_are_marked_on_every_camera_that_ran(shoot):
    """B001.mov begins half a second before A001.mov, so each heard a call of its own."""
    with Log(Path("calltag.db")) as log:
        log.put_alignment(
            Alignment(
                take_a="A001.mov",
                take_b="B001.mov",
                offset_s=-0.5,
                drift_ppm=0.0,
                confidence=1.0,
                overlap_s=1.5,
            )
        )
    for options, times in ((["--every-camera"], [0.5, 1.0, 1.0, 1.5, 1.0]), ([], [1.0] * 3)):
        result = run("day.csv", "--replace", *options)
        assert result.exit_code == 0, result.stderr
        with Path("day.csv").open(newline="") as file:
            rows = list(csv.DictReader(file))
        assert [float(row["start_s"]) for row in rows] == times
    assert "better sound" not in str(rows)
    run("day.otio", "--every-camera")
    timeline = otio.adapters.read_from_file("day.otio")
    comments = [[m.comment for m in clip.markers] for clip in timeline.find_clips()]
    assert [["better sound" in text for text in texts] for texts in comments] == [
        [True, False],
        [False, True],
        [False],
    ]
    assert comments[1][1].endswith("better sound: A001.mov at 10:00:01:00")


def test_every_camera_is_told_to_need_takes_that_are_lined_up(shoot):
    result = run("day.csv", "--every-camera")
    assert result.exit_code == 0
    assert "No takes are lined up yet" in result.stderr
    assert "calltag sync" in result.stderr
    assert "lined up" not in run("more.csv").stderr


def test_no_camera_is_given_a_call_where_the_user_said_that_there_is_none(shoot):
    with Log(Path("calltag.db")) as log:
        pair = {"take_a": "A001.mov", "take_b": "B001.mov", "offset_s": 0.0}
        log.put_alignment(Alignment(**pair, drift_ppm=0.0, confidence=1.0, overlap_s=2.0))
        log.change_labels(put=[Label(take="B001.mov", start_s=1.0, end_s=1.5, label="no call")])
    assert run("day.csv", "--every-camera").exit_code == 0
    with Path("day.csv").open(newline="") as file:
        assert "B001.mov" not in [row["take"] for row in csv.DictReader(file)]


def test_a_table_of_slowed_takes(shoot):
    result = run("day.csv", "--speed", "40%")
    assert result.exit_code == 0, result.stderr
    with Path("day.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    # At 25 frames a second the call is on frames 25 to 38, which first show at 62.5 and 95 of the
    # slowed clip; at 100 on 100 to 150, at 250 and 375.
    assert [(row["take"], row["start_s"], row["end_s"]) for row in rows] == [
        ("A001.mov", "2.52", "3.8"),
        ("B001.mov", "2.5", "3.75"),
        ("R001.wav", "2.52", "3.8"),
    ]
    assert rows[0]["start_tc"] == "10:00:02:13"
    told = "With --speed 40% all 3 takes marked count as played at that speed; if only some are,"
    assert told in result.stderr
    result = run("one.csv", "--speed", "40%", "--take", "A*")
    assert result.stderr.endswith("With --speed 40% A001.mov counts as played at that speed.\n")
    result = run("rest.csv", "--speed", "40%", "--type", "call")
    assert "With --speed 40% R001.wav counts as played at that speed.\n" in result.stderr
    Path("slow.csv").write_text("take,speed\nA001.mov,40%\n")
    for number, speed in enumerate(("slow.csv", "100%")):
        assert "With --speed" not in run(f"{number}.csv", "--speed", speed).stderr


def test_conformed_and_far_away(shoot):
    Path("play.csv").write_text("take,fps\nB001.mov,25\n")
    result = run("day.otio", "--conform", "play.csv", "--distance", "100", "--temperature", "20")
    assert result.exit_code == 0, result.stderr
    assert "moved 0.291 s ahead of the sound, 7.3 frames at 25" in result.stderr
    assert "moved 0.291 s ahead of the sound, 29.1 frames at 100" in result.stderr
    timeline = otio.adapters.read_from_file("day.otio")
    starts = [clip.markers[0].marked_range.start_time for clip in timeline.find_clips()]
    # 100 m at 20 °C are 0.2914 s: 0.7086 s are frame 17.7 at 25 and 70.86 at 100.
    assert [(start.value, start.rate) for start in starts] == [(900_018, 25), (71, 25), (25, 25)]


def test_a_table_of_the_whole_shoot_serves_for_some_takes(shoot):
    Path("play.csv").write_text("take,fps\nA001.mov,25\nB001.mov,25\n")
    Path("far.csv").write_text("take,distance_m,temperature_c\nA001.mov,100,20\nB001.mov,50,\n")
    result = run("a.csv", "--take", "B*", "--conform", "play.csv", "--distance", "far.csv")
    assert result.exit_code == 0, result.stderr
    assert "a.csv: 1 call marked in 1 take" in result.stderr
    Path("play.csv").write_text("take,fps\nA002.mov,25\n")
    assert "A002.mov: no such take" in str(run("b.csv", "--conform", "play.csv").exception)


def test_one_rate_for_takes_filmed_at_several_says_which_it_slows(shoot):
    result = run("day.otio", "--conform", "25")
    assert result.exit_code == 0, result.stderr
    assert (
        "With --conform 25 these do not count as played at their own speed: B001.mov (filmed at "
        "100: at 25 %); if some are, name only the others in a CSV file" in result.stderr
    )
    Path("play.csv").write_text("take,fps\nB001.mov,25\n")
    meant = (["--conform", "play.csv"], ["--conform", "25", "--take", "B*"])
    for number, arguments in enumerate(meant):
        result = run(f"{number}.otio", *arguments)
        assert result.exit_code == 0, result.stderr
        assert "With --conform" not in result.stderr


def test_only_what_plays_slower_or_faster_is_said_to(shoot):
    """24.9 frames a second are taken for 25; 29.97 for 30 are played a thousandth faster."""
    with Log(Path("calltag.db")) as log:
        first, second, _ = log.take_logs()
        for take_log, fps in ((first, Fraction(249, 10)), (second, Fraction(30_000, 1001))):
            log.put(replace(take_log, take=replace(take_log.take, fps=fps)), feature_version=1)
    result = run("day.otio", "--conform", "25")
    assert "their own speed: B001.mov (filmed at 29.97: at 83.42 %); if" in result.stderr
    result = run("faster.otio", "--conform", "30")
    assert "B001.mov (filmed at 29.97: at 100.1 %)" in result.stderr


def test_a_distance_for_each_take(shoot):
    Path("far.csv").write_text("take,distance_m,temperature_c\nA001.mov,200,20\n")
    result = run("day.otio", "--distance", "far.csv")
    assert result.exit_code == 0, result.stderr
    assert "14.6 frames at 25" in result.stderr
    assert "at 100" not in result.stderr


def test_sound_delays_name_their_takes_where_there_are_several(shoot):
    Path("far.csv").write_text("take,distance_m\nA001.mov,200\nB001.mov,50\n")
    result = run("day.otio", "--distance", "far.csv")
    assert result.exit_code == 0, result.stderr
    assert "sound delay: markers of A001.mov moved 0.588 s ahead of the sound" in result.stderr
    assert "sound delay: markers of B001.mov moved 0.147 s ahead of the sound" in result.stderr


def test_of_many_sound_delays_a_few_are_told_and_how_many_more(shoot):
    lines = ["take,distance_m", "A001.mov,10"]
    with Log(Path("calltag.db")) as log:
        one = log.take_log("A001.mov")
        for number in range(2, 8):
            path = f"A00{number}.mov"
            log.put(replace(one, take=replace(one.take, path=path, digest=path)), feature_version=1)
            lines.append(f"{path},{10 * number}")
    Path("far.csv").write_text("\n".join(lines), "utf-8")
    told = run("day.csv", "--distance", "far.csv").stderr
    assert told.count(" ahead of the sound, ") == 5
    assert "sound delay: markers moved likewise for 2 more distances or rates\n" in told
    assert "likewise" not in run("one.csv", "--distance", "9").stderr


def test_a_folder_of_texts(shoot):
    result = run("texts")
    assert result.exit_code == 0, result.stderr
    assert sorted(path.name for path in Path("texts").iterdir()) == [
        "A001.vtt",
        "B001.vtt",
        "R001.vtt",
    ]


def test_copies_of_the_sound(shoot):
    before = {path: path.read_bytes() for path in Path("rushes").iterdir()}
    result = run("sound", "--as", "wav")
    assert result.exit_code == 0, result.stderr
    for name in ("A001", "B001", "R001"):
        (cue,) = WavInfoReader(f"sound/{name}.wav").cues.to_dict().values()
        assert (cue["frame"], cue["length"]) == (48_000, 24_000)
    assert {path: path.read_bytes() for path in Path("rushes").iterdir()} == before


def test_a_take_without_sound_has_no_copy_of_it(shoot):
    with Log(Path("calltag.db")) as log:
        one = next(one for one in log.take_logs() if one.take.path == "B001.mov")
        mute = replace(one.take, sample_rate_hz=None, channels=0)
        log.put(replace(one, take=mute, noise=()), feature_version=1)
    result = run("sound", "--as", "wav")
    assert result.exit_code == SOME_UNREADABLE
    assert sorted(path.name for path in Path("sound").iterdir()) == ["A001.wav", "R001.wav"]
    assert "2 calls marked in 2 takes" in result.stderr
    assert "B001.mov: has no sound" in result.stderr
    result = run("mute", "--as", "wav", "--take", "B001.mov")
    assert result.exit_code == FAILED
    assert "B001.mov: has no sound" in result.stderr


def test_one_clip_that_is_gone_does_not_stop_the_others(shoot):
    (shoot / "rushes" / "B001.mov").unlink()
    result = run("copies", "--as", "chapters")
    assert result.exit_code == SOME_UNREADABLE
    assert sorted(path.name for path in Path("copies").iterdir()) == ["A001.mkv", "R001.mka"]
    assert "copies/A001.mkv, copies/R001.mka: 2 calls marked in 2 takes" in result.stderr
    assert "B001.mov: is not there" in result.stderr


@pytest.mark.parametrize(("out", "told"), [("out", "out"), (".", "the working folder")])
def test_files_in_several_folders_are_told_by_the_one_that_holds_all(shoot, out, told):
    with Log(Path("calltag.db")) as log:
        (one, *_) = log.take_logs()
        for path in ("0card/A001.mov", "card2/A001.mov"):
            log.put(replace(one, take=replace(one.take, path=path)), feature_version=1)
    result = run(out, "--as", "webvtt")
    assert f"5 files in {told} (" in result.stderr
    assert " and 2 more): 5 calls marked in 5 takes" in result.stderr


@pytest.mark.parametrize("name", ["webvtt", "wav"])
def test_one_that_cannot_be_written_does_not_stop_the_others(shoot, name):
    (shoot / "rushes" / "card1").mkdir()
    (shoot / "rushes" / "A001.mov").rename(shoot / "rushes" / "card1" / "A001.mov")
    with Log(Path("calltag.db")) as log:
        one = next(one for one in log.take_logs() if one.take.path == "A001.mov")
        log.forget(["A001.mov"])
        log.put(replace(one, take=replace(one.take, path="card1/A001.mov")), feature_version=1)
    Path("out").mkdir()
    Path("out", "card1").write_text("a file where a folder has to be")
    result = run("out", "--as", name)
    assert result.exit_code == SOME_UNREADABLE
    assert sorted(path.stem for path in Path("out").iterdir()) == ["B001", "R001", "card1"]
    assert "card1/A001.mov: out/card1/A001." in result.stderr
    assert "cannot be written (file exists)" in result.stderr
    assert "2 calls marked in 2 takes" in result.stderr


def test_where_no_clip_is_there_nothing_was_done(shoot):
    for clip in (shoot / "rushes").iterdir():
        clip.unlink()
    result = run("copies", "--as", "chapters")
    assert result.exit_code == FAILED
    assert "B001.mov: is not there" in result.stderr
    assert not list(Path().glob("copies/*"))


def test_more_is_proposed_only_where_more_was_found(shoot):
    more = "; with --min-confidence 0 more is marked"
    message = "day.otio: nothing to mark, so nothing was written"
    doubtful = run("day.otio", "--take", "A001.mov", "--min-confidence", "0.99")
    assert str(doubtful.exception) == message + more
    with Log(Path("calltag.db")) as log:
        log.put(replace(log.take_log("A001.mov"), calls=()), feature_version=1)
    nothing = run("day.otio", "--take", "A001.mov")
    assert str(nothing.exception) == message + "; `calltag calls` lists what was found"


def test_of_calls_that_stand_far_above_their_background(shoot):
    with Log(Path("calltag.db")) as log:
        one = log.take_log("A001.mov")
        log.put(replace(one, calls=(replace(one.calls[0], snr_db=20.0),)), feature_version=1)
    assert run("day.csv", "--min-snr", "14.5").stderr == "day.csv: 1 call marked in 1 take\n"
    nothing = run("none.csv", "--min-snr", "21", "--min-confidence", "0")
    assert str(nothing.exception) == (
        "none.csv: nothing to mark, so nothing was written; without --min-snr more is marked"
    )
    nothing = run("none.csv", "--min-snr", "21")
    assert "without --min-snr, with --min-confidence 0 more is marked" in str(nothing.exception)


def test_usable_noise_and_labels(shoot):
    with Log(Path("calltag.db")) as log:
        log.change_labels(
            put=[Label(take="R001.wav", start_s=1.0, end_s=1.5, label="pit rail: tick")]
        )
    result = run("day.csv", "--mark-noise", "--mark-usable", "--type", "pit rail")
    assert result.exit_code == 0, result.stderr
    with Path("day.csv").open(newline="") as file:
        labels = [row["label"] for row in csv.DictReader(file)]
    assert labels.count("pit rail: tick") == 1
    assert labels.count("noise: wind") == 3
    assert "usable sound" in labels
    assert "1 call, 3 usable stretches, 3 stretches of noise marked in 3 takes" in result.stderr


def test_sound_alone_counts_as_asked(shoot):
    assert run("day.csv", "--fps", "50").exit_code == 0
    with Path("day.csv").open(newline="") as file:
        assert [row["end_tc"] for row in csv.DictReader(file)][-1] == "00:00:01:25"


def test_of_some_takes(shoot):
    result = run("day.otio", "--take", "A001.mov", "--take", "*.wav")
    assert result.stderr == "day.otio: 2 calls marked in 2 takes\n"


def test_existing_files_are_kept_unless_told(shoot):
    Path("day.otio").write_text("mine")
    result = run("day.otio")
    assert isinstance(result.exception, ValueError)
    assert "exists already" in str(result.exception)
    assert Path("day.otio").read_text() == "mine"
    assert run("day.otio", "--replace").exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (["day.otio", "--type", "pit rail"], "call type 'pit rail': the log has no such call"),
        (["day.otio", "--min-confidence", "0.99"], "nothing to mark"),
        (["day.otio", "--take", "C*"], "C*: no such take"),
        (["sound", "--as", "wav", "--speed", "50%"], "own speed"),
        (["sound", "--as", "wav", "--distance", "50"], "leave out --distance"),
        (["rushes", "--as", "wav", "--replace"], "this is a take"),
        (["calltag.db/sound", "--as", "wav"], "cannot be written (not a directory); name another"),
        (["rushes/A001.mov", "--as", "csv", "--replace"], "this is a take"),
        (["rushes", "--as", "wav", "--take", "A001.mov", "--replace"], "this is a take"),
        (["calltag.db", "--as", "csv", "--replace"], "this is a log"),
        (["calltag.db-wal", "--as", "otio", "--replace"], "this is a log"),
        (["day.otio", "--log", "none.db"], "there is no log here"),
    ],
)
def test_what_cannot_be(shoot, arguments, reason):
    if "A001.mov" in arguments:  # another take has the name that its copy would have
        (shoot / "rushes" / "R001.wav").rename(shoot / "rushes" / "A001.wav")
        with Log(shoot / "calltag.db") as log:
            (sound,) = [one for one in log.take_logs() if one.take.path == "R001.wav"]
            log.put(replace(sound, take=replace(sound.take, path="A001.wav")), feature_version=1)
    before = {path: path.is_file() and path.read_bytes() for path in shoot.rglob("*")}
    result = run(*arguments)
    assert result.exit_code != 0
    assert reason in str(result.exception)
    after = {path: path.is_file() and path.read_bytes() for path in shoot.rglob("*")}
    assert after == before


@pytest.mark.parametrize("arguments", [["day.otio", "--min-confidence", "2"], [], ["--wrong"]])
def test_wrong_usage(shoot, arguments):
    assert run(*arguments).exit_code == 2


def test_many_files_are_told_by_the_folder_that_holds_them():
    names = ["out_25.edl", "out_29.97df.edl", "out_50.edl", "out.reels.csv"]
    here = [Path(name) for name in names]
    some = "out_25.edl, out_29.97df.edl, out_50.edl and 1 more"
    assert tell_files(here) == f"4 files in the working folder ({some})"
    assert tell_files([Path("lists", name) for name in names]) == f"4 files in lists ({some})"
    assert tell_files(here[:3]) == "out_25.edl, out_29.97df.edl, out_50.edl"


def test_who_names_the_clips_in_place_of_a_file_gets_nothing_beside_them(run, shoot) -> None:
    before = sorted(shoot.joinpath("rushes").iterdir())
    ran = run("markers", "rushes")
    assert ran.status == FAILED
    assert ran.err.startswith("calltag: rushes: your clips are in there; name the file to write")
    assert sorted(shoot.joinpath("rushes").iterdir()) == before
    assert run("markers", "rushes", "--as", "webvtt").status == 0  # meant so
    assert shoot.joinpath("rushes", "A001.vtt").is_file()


def test_the_folder_of_the_clips_is_known_however_it_is_written(run, shoot, monkeypatch) -> None:
    """By a link, from within, and in capitals, on a disk that takes both for one name."""
    shoot.joinpath("link").symlink_to("rushes")
    shoot.joinpath("RUSHES").mkdir()
    for name in ("link", "rushes/../rushes", str(shoot / "rushes")):
        assert "your clips are in there" in run("markers", name).err
    assert run("markers", "rushes/of the edit").status == 0
    monkeypatch.setattr(Path, "samefile", lambda *_: True)
    assert "your clips are in there" in run("markers", "RUSHES").err
