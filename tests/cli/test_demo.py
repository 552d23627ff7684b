from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from calltag.cli import STOPPED, demo
from calltag.log import Log

CLIPS = (
    "ASH_A_0031.MP4",
    "ASH_A_0032.MP4",
    "ASH_A_0038.MP4",
    "ASH_B_0012.MOV",
    "ASH_C_0004.MP4",
)
TYPES = ("marsh hooter: boom", "pit rail: rasp", "lesser reedling: whistle")


@pytest.fixture
def few_clips(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Five of the demo's clips, with what its tables say of them and of three call types."""
    whole, few = demo.demo_clips(), tmp_path / "some clips"
    few.mkdir()
    for name in CLIPS:
        shutil.copy(whole / name, few)
    for name in ("labels.csv", "truth.csv"):
        head, *lines = (whole / name).read_text("utf-8").splitlines()
        kept = [line for line in lines if line.startswith(CLIPS) and line.endswith(TYPES)]
        (few / name).write_text("\n".join([head, *kept]) + "\n", "utf-8")
    shutil.copy(whole / "sync.csv", few)
    monkeypatch.setattr(demo, "demo_clips", lambda: few)
    return few


def test_the_demo_does_the_whole_job(run, few_clips, tmp_path, request) -> None:
    before = {path.name: path.stat().st_mtime_ns for path in few_clips.iterdir()}
    ran = run("demo")
    assert ran.status == 0
    out = tmp_path / "calltag-demo"

    commands = [shlex.split(c) for c in re.findall(r"^   \$ (.*)$", ran.out, re.MULTILINE)]
    assert [command[:2] for command in commands[:6]] == [
        ["calltag", name] for name in ("log", "takes", "label", "teach", "calls", "score")
    ]
    assert commands[0][2] == str(few_clips), "a name with a blank is quoted for the shell"

    with Log(out / "calltag.db", create=False) as log:
        assert [take.path for take in log.takes()] == list(CLIPS)
        assert len(log.labels()) == len((out / "labels.csv").read_text("utf-8").splitlines()) - 1
        types = {call.label for one in log.take_logs() for call in one.calls}
    assert set(TYPES) <= types
    (found, share) = re.findall(r"Found (\d+) of the \d+ calls \((\d+) %\)", ran.out)[0]
    assert int(found) > 20
    assert int(share) >= 90

    assert "lined up" in ran.out
    with Log(out / "calltag.db", create=False) as log:
        (pair,) = log.alignments()
    assert pair.offset_s == pytest.approx(5.540, abs=0.001), "as the demo's sync.csv states"

    for name in ("markers.otio", "markers.csv", "wav", "webvtt", "chapters"):
        assert (out / "markers" / name).exists()
    assert list((out / "markers").glob("markers*.edl"))
    assert (out / "best.otio").is_file()
    assert (out / "best.wav").is_file()
    assert "ASH_B_0012.MOV" in (out / "sheet.html").read_text("utf-8")
    assert (out / "bed.wav").is_file(), "background for the take without sound"
    summary = (out / "summary.txt").read_text("utf-8")
    assert "invented" in summary
    assert "do not play calls to wild animals" in summary
    assert all(f"$ {shlex.join(command)}" in summary for command in commands)
    files = re.findall(r"^  (\S.*?)  +\S", summary.partition("only read: ")[2], re.MULTILINE)
    assert len(files) == 13
    for name in [name for line in files for name in line.split(", ")]:
        assert list(out.glob(name)) or name == "rescued.wav", f"{name} is not there"

    after = {path.name: path.stat().st_mtime_ns for path in few_clips.iterdir()}
    assert after == before, "the clips are only read"
    request.getfixturevalue("in_one_process")  # workers have done it once
    assert run("demo").status == 0, "a folder of the demo is written anew"


def test_ctrl_c_stops_the_demo(run, few_clips, monkeypatch) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("calltag.run.log_rushes", stopped)
    ran = run("demo")
    assert ran.status == STOPPED
    assert ran.err.splitlines()[-1] == "Stopped; `calltag demo` goes through it again."


def test_a_demo_that_is_killed_at_once_can_be_begun_again(few_clips, tmp_path, monkeypatch) -> None:
    out = tmp_path / "calltag-demo"

    def killed(source: Path, target: Path) -> None:
        Path(target).write_bytes(Path(source).read_bytes()[:100])
        assert not (out / "labels.csv").exists(), "half of them would be taken for the user's"
        raise KeyboardInterrupt

    monkeypatch.setattr(shutil, "copyfile", killed)
    with pytest.raises(KeyboardInterrupt):
        demo.demo_command(out)
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("name", ["labels.csv", "calltag.db", "sheet.html", "markers/notes.txt"])
def test_a_folder_with_work_of_the_users_is_left_alone(run, few_clips, tmp_path, name) -> None:
    own = tmp_path / "shoot" / name
    own.parent.mkdir(parents=True)
    own.write_text("mine", "utf-8")
    ran = run("demo", "--out", "shoot")
    assert ran.status == 1
    assert ran.err == (
        f"calltag: shoot: holds {name.partition('/')[0]}, which may be yours and would be replaced;"
        " name another folder with --out\n"
    )
    assert own.read_text("utf-8") == "mine"
    assert [path for path in (tmp_path / "shoot").rglob("*") if path.is_file()] == [own]


def test_a_folder_that_cannot_be_written_is_told(run, tmp_path) -> None:
    (tmp_path / "taken").touch()
    ran = run("demo", "--out", "taken")
    assert ran.status == 1
    assert ran.err.startswith("calltag: taken: cannot be written to (")


def test_clips_that_are_not_there_are_told(run, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(
        "calltag.shipped.__file__", str(tmp_path / "lib" / "calltag" / "shipped.py")
    )
    ran = run("demo")
    assert ran.status == 1
    assert ran.err == (
        "calltag: the demo's clips are missing from the installation; install calltag again\n"
    )


def test_a_summary_that_cannot_be_written_is_told(run, few_clips, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(demo, "steps", lambda *_: ())
    monkeypatch.setattr(demo, "summary", lambda *_: ())
    out = tmp_path / "calltag-demo"
    (out / "summary.txt").mkdir(parents=True)
    shutil.copy(few_clips / "labels.csv", out)
    ran = run("demo")
    assert ran.status == 1
    assert "summary.txt: there is a folder of this name; name another" in ran.err
