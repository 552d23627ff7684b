from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calltag.analysis import DIED, analyse_take
from calltag.errors import InputError, LogError, MediaError, ModelError
from calltag.intake import Progress
from calltag.log import Log
from calltag.media.wave_files.bext import Bext
from calltag.media.wave_files.wav_writing import write_wav
from calltag.plan import Job
from calltag.records.found import Call, TakeLog
from calltag.records.label import Label
from calltag.run import log_rushes

ROOT = Path(__file__).resolve().parents[1]
posix = pytest.mark.skipif(os.name != "posix", reason="ends processes by POSIX signals")


def make_analyser(visits: Path) -> Callable[[Job], TakeLog]:
    """A stand-in for the analysis: a clip's text says what is in it, or how it goes wrong.

    Every visit leaves a file. It stands inside a function so that it travels to workers whole.
    """
    visits.mkdir(exist_ok=True)

    def analyse(job: Job) -> TakeLog:
        import os
        import signal
        import uuid

        from calltag.errors import MediaError, ModelError
        from calltag.records.found import TakeLog
        from calltag.records.take import Levels, Take

        (visits / f"{job.path.replace('/', '+')}.{uuid.uuid4().hex}").touch()
        text = job.file.read_text()
        if text.startswith("broken"):
            raise MediaError(job.file, "the file ends in the middle; copy it again")
        if text.startswith("crash"):
            os.kill(os.getpid(), signal.SIGSEGV)
        if text.startswith("defect"):
            raise ZeroDivisionError("division by zero")
        if text.startswith("huge"):
            raise MemoryError
        if text.startswith("no model"):
            raise ModelError("starter.onnx: is missing; install calltag again")
        take = Take(
            path=job.path,
            rushes=job.rushes,
            digest=job.digest,
            size_bytes=job.size_bytes,
            duration_s=60.0,
        )
        if text.startswith("silent"):
            return TakeLog(take=take)
        calls = [
            Call(
                start_s=float(start),
                end_s=float(start) + 1,
                low_hz=2000,
                high_hz=4000,
                peak_hz=3000,
                snr_db=12,
                level_dbfs=-30,
                call_probability=0.9,
                features=np.full(4, float(start), np.float32),
            )
            for start in text.split()
        ]
        levels = Levels(peak_dbfs=-6, clipped=0, loudness_lufs=-30, floor_dbfs=-60)
        sound = replace(take, sample_rate_hz=48_000, channels=1, levels=levels)
        return TakeLog(take=sound, calls=tuple(calls))

    return analyse


class Shoot:
    """A folder of clips, a log, and a count of what was analysed."""

    def __init__(self, folder: Path) -> None:
        self.rushes = folder / "rushes"
        self.rushes.mkdir()
        self.log = folder / "calltag.db"
        self.visits = folder / "visits"
        self.analyse = make_analyser(self.visits)

    def clip(self, name: str, text: str) -> Path:
        path = self.rushes / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        return path

    def run(self, *folders: Path, **options: object):
        options = {"workers": 1, "analyse": self.analyse} | options
        return log_rushes(folders or (self.rushes,), self.log, **options)  # type: ignore[arg-type]

    def visited(self) -> list[str]:
        """Names of the clips analysed since the last look."""
        names = sorted(path.name.rpartition(".")[0] for path in self.visits.iterdir())
        for path in self.visits.iterdir():
            path.unlink()
        return names

    def logged(self) -> dict[str, list[float]]:
        with Log(self.log) as log:
            return {one.take.path: [c.start_s for c in one.calls] for one in log.take_logs()}


@pytest.fixture
def shoot(tmp_path: Path, in_one_process: None) -> Shoot:
    """Worked through in this process, which is quicker."""
    return Shoot(tmp_path)


@pytest.fixture
def real_shoot(tmp_path: Path) -> Shoot:
    """Worked through by worker processes, as users have it."""
    return Shoot(tmp_path)


def test_every_take_is_logged_with_what_was_found(shoot: Shoot) -> None:
    shoot.clip("causeway/A001.mov", "1.0 5.5")
    shoot.clip("causeway/A002.mov", "3.0")
    shoot.clip("A003.wav", "")
    report = shoot.run(workers=2)
    assert shoot.logged() == {
        "A003.wav": [],
        "causeway/A001.mov": [1.0, 5.5],
        "causeway/A002.mov": [3.0],
    }
    assert (report.takes, report.analysed, report.known, report.problems) == (3, 3, 0, ())
    assert report.sound_s == 180.0


def test_a_second_run_analyses_only_what_is_new(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.run()
    shoot.visited()
    shoot.clip("A002.mov", "2.0")
    report = shoot.run()
    assert shoot.visited() == ["A002.mov"]
    assert (report.takes, report.analysed, report.known) == (2, 1, 1)


def test_force_analyses_all_again_and_keeps_labels(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.run()
    label = Label(take="A001.mov", start_s=1.0, end_s=2.0, label="pit rail")
    with Log(shoot.log) as log:
        log.change_labels(put=[label])
    shoot.visited()
    assert shoot.run(force=True).analysed == 1
    assert shoot.visited() == ["A001.mov"]
    with Log(shoot.log) as log:
        assert log.labels() == [label]


def test_a_take_measured_by_another_version_is_analysed_again(
    shoot: Shoot, monkeypatch: pytest.MonkeyPatch
) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.run()
    shoot.visited()
    monkeypatch.setattr("calltag.sound.features.FEATURE_VERSION", 99)
    shoot.run()
    assert shoot.visited() == ["A001.mov"]
    with Log(shoot.log) as log:
        assert [entry.feature_version for entry in log.entries()] == [99]


# Files that moved


def test_moved_and_renamed_files_are_not_analysed_again(shoot: Shoot) -> None:
    first = shoot.clip("A001.mov", "1.0")
    second = shoot.clip("A002.mov", "2.0")
    shoot.run()
    with Log(shoot.log) as log:
        log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")])
    shoot.visited()
    (shoot.rushes / "kept").mkdir()
    first.rename(shoot.rushes / "kept" / "rail at dawn.mov")
    second.rename(shoot.rushes / "A001.mov")
    report = shoot.run()
    assert shoot.visited() == []
    assert shoot.logged() == {"kept/rail at dawn.mov": [1.0], "A001.mov": [2.0]}
    assert sorted(report.moved) == [
        ("A001.mov", "kept/rail at dawn.mov"),
        ("A002.mov", "A001.mov"),
    ]
    assert report.missing == ()
    with Log(shoot.log) as log:
        assert [label.take for label in log.labels()] == ["kept/rail at dawn.mov"]


def test_rushes_moved_as_a_whole_are_not_analysed_again(shoot: Shoot) -> None:
    shoot.clip("day1/A001.mov", "1.0")
    shoot.clip("day1/copy/A001.mov", "1.0")
    shoot.run()
    shoot.visited()
    archive = shoot.rushes.with_name("archive")
    shoot.rushes.rename(archive)
    report = shoot.run(archive)
    assert shoot.visited() == []
    assert all(old != new for old, new in report.moved), "folders are named where names stay"
    assert str(archive) in report.moved[0][1]
    assert report.known == 2
    with Log(shoot.log) as log:
        assert [t.path for t in log.takes()] == ["day1/A001.mov", "day1/copy/A001.mov"]
        assert all(Path(t.rushes, t.path).is_file() for t in log.takes())


def test_two_files_may_exchange_their_names(shoot: Shoot) -> None:
    first, second = shoot.clip("A001.mov", "1.0"), shoot.clip("A002.mov", "2.0")
    shoot.run()
    shoot.visited()
    first.rename(shoot.rushes / "x")
    second.rename(first)
    (shoot.rushes / "x").rename(second)
    shoot.run()
    assert shoot.visited() == []
    assert shoot.logged() == {"A001.mov": [2.0], "A002.mov": [1.0]}


def test_a_file_replaced_by_another_recording_is_analysed_anew(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.run()
    shoot.clip("A001.mov", "1.0 8.0")
    report = shoot.run()
    assert shoot.logged() == {"A001.mov": [1.0, 8.0]}
    assert report.replaced == ()


def test_a_take_whose_name_another_recording_has_now_is_kept_and_comes_back(shoot: Shoot) -> None:
    """Cards have the same names, and readers put them in the same place."""
    shoot.clip("A001.mov", "1.0 5.0")
    shoot.run()
    label = Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")
    with Log(shoot.log) as log:
        log.change_labels(put=[label])
    shoot.clip("A001.mov", "7.0")
    assert shoot.run().replaced == (("A001.mov", "earlier/A001.mov"),)
    assert shoot.logged() == {"A001.mov": [7.0], "earlier/A001.mov": [1.0, 5.0]}
    with Log(shoot.log) as log:
        assert log.labels() == [replace(label, take="earlier/A001.mov")]
    assert shoot.run().missing == ("earlier/A001.mov",)
    shoot.visited()
    shoot.clip("A001.mov", "1.0 5.0")
    report = shoot.run()
    assert shoot.visited() == []
    assert report.moved == (("earlier/A001.mov", "A001.mov"),)
    assert report.replaced == (("A001.mov", "earlier/A001.mov"),)
    assert shoot.logged() == {"A001.mov": [1.0, 5.0], "earlier/A001.mov": [7.0]}
    with Log(shoot.log) as log:
        assert log.labels() == [label]


def test_a_take_whose_name_another_recording_has_now_goes_if_asked_for(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.run()
    shoot.clip("A001.mov", "7.0")
    shoot.run(drop_missing=True)
    assert shoot.logged() == {"A001.mov": [7.0]}


def test_a_file_that_took_the_place_of_a_deleted_one_brings_its_finds(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    second = shoot.clip("A002.mov", "2.0")
    shoot.run()
    shoot.visited()
    second.replace(shoot.rushes / "A001.mov")
    report = shoot.run()
    assert shoot.visited() == []
    assert shoot.logged() == {"A001.mov": [2.0], "earlier/A001.mov": [1.0]}
    assert report.moved == (("A002.mov", "A001.mov"),)
    assert report.replaced == (("A001.mov", "earlier/A001.mov"),)


def test_a_copy_shares_the_finds_of_its_original(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.clip("backup/A001.mov", "1.0")
    report = shoot.run()
    assert len(shoot.visited()) == 1
    assert (report.analysed, report.copied) == (1, 1)
    shoot.clip("again.mov", "1.0")
    report = shoot.run()
    assert shoot.visited() == []
    assert (report.analysed, report.copied, report.known) == (0, 1, 2)
    assert shoot.logged() == {"A001.mov": [1.0], "again.mov": [1.0], "backup/A001.mov": [1.0]}


def test_a_deleted_file_is_named_and_its_finds_are_kept(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.clip("A002.mov", "2.0").unlink()
    shoot.clip("A002.mov", "2.0")
    shoot.run()
    (shoot.rushes / "A002.mov").unlink()
    assert shoot.run().missing == ("A002.mov",)
    assert shoot.logged() == {"A001.mov": [1.0], "A002.mov": [2.0]}


def test_a_deleted_file_that_is_dropped_is_not_asked_for(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    gone = shoot.clip("A002.mov", "2.0")
    shoot.run()
    with Log(shoot.log) as log:
        log.change_labels(put=[Label(take="A002.mov", start_s=30, end_s=31, label="pit rail")])
    gone.unlink()
    assert "A002.mov: is not there" in " ".join(shoot.run().notes)
    report = shoot.run(drop_missing=True)
    assert (report.missing, report.notes) == (("A002.mov",), ())
    assert shoot.logged() == {"A001.mov": [1.0]}


def test_the_same_name_on_two_cards_is_told_apart(shoot: Shoot) -> None:
    """Cameras begin to count anew on every card."""
    shoot.clip("card1/A001.mov", "1.0")
    shoot.clip("card2/A001.mov", "2.0")
    shoot.run(shoot.rushes / "card1")
    shoot.run(shoot.rushes / "card2")
    assert shoot.logged() == {"A001.mov": [1.0], "card2/A001.mov": [2.0]}
    with Log(shoot.log) as log:
        assert all(Path(t.rushes, t.path).is_file() for t in log.takes())
    shoot.visited()
    shoot.run(shoot.rushes / "card1", shoot.rushes / "card2")
    assert shoot.visited() == []
    assert sorted(shoot.logged()) == ["A001.mov", "card2/A001.mov"]


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such names")
def test_a_name_that_the_log_cannot_hold_is_told(shoot: Shoot) -> None:
    shoot.clip(os.fsdecode(b"pond\xff.mov"), "1.0").rename(shoot.rushes / "pond.mov")
    assert shoot.run().notes == ()
    (shoot.rushes / "pond.mov").rename(shoot.rushes / os.fsdecode(b"pond\xff.mov"))
    (note,) = shoot.run().notes
    assert note.startswith("pond\ufffd.mov: its name is no valid text")
    assert shoot.logged() == {"pond\ufffd.mov": [1.0]}


def test_rushes_reached_by_a_link_are_the_same_rushes(shoot: Shoot, tmp_path: Path) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.run()
    link = tmp_path / "link"
    link.symlink_to(shoot.rushes, target_is_directory=True)
    shoot.visited()
    assert shoot.run(link).known == 1
    assert shoot.visited() == []
    assert list(shoot.logged()) == ["A001.mov"]


# Takes that cannot be read


@posix
def test_twenty_broken_takes_and_one_that_kills_its_worker_do_not_stop_the_others(
    real_shoot: Shoot,
) -> None:
    for number in range(20):
        real_shoot.clip(f"broken {number:02}.mov", f"broken {number}")
    real_shoot.clip("crash.mov", "crash")
    for number in range(3):
        real_shoot.clip(f"good {number}.mov", f"{number}.0")
    report = real_shoot.run(workers=2)
    assert {problem.path: problem.reason for problem in report.problems} == {
        "crash.mov": DIED,
        **{
            f"broken {number:02}.mov": "the file ends in the middle; copy it again"
            for number in range(20)
        },
    }
    assert real_shoot.logged() == {f"good {number}.mov": [float(number)] for number in range(3)}
    assert real_shoot.visited().count("crash.mov") == 2
    with Log(real_shoot.log) as log:
        assert len(log.problems()) == 21


def test_a_broken_take_is_tried_again_and_mended(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "broken")
    assert len(shoot.run().problems) == 1
    assert len(shoot.run().problems) == 1
    assert shoot.visited() == ["A001.mov", "A001.mov"]
    shoot.clip("A001.mov", "4.0")
    assert shoot.run().problems == ()
    with Log(shoot.log) as log:
        assert log.problems() == []
    shoot.clip("A002.mov", "broken")
    shoot.run()
    (shoot.rushes / "A002.mov").unlink()
    shoot.run()
    with Log(shoot.log) as log:
        assert log.problems() == [], "what is gone is no problem any more"


def test_a_defect_of_ours_costs_one_take(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "defect")
    shoot.clip("A002.mov", "huge")
    shoot.clip("A003.mov", "3.0")
    reasons = {problem.path: problem.reason for problem in shoot.run().problems}
    assert reasons == {
        "A001.mov": "could not be analysed (ZeroDivisionError: division by zero); "
        "please report this",
        "A002.mov": "there was not enough memory for it; close other programs, or use --workers 1 "
        "where the command has it",
    }


def test_a_missing_starter_model_ends_the_run_at_once(real_shoot: Shoot) -> None:
    for number in range(4):
        real_shoot.clip(f"A00{number}.mov", f"no model {number}")
    with pytest.raises(ModelError, match=r"starter\.onnx: is missing"):
        real_shoot.run()
    assert len(real_shoot.visited()) < 4


def test_a_file_that_may_not_be_read_is_a_problem_and_keeps_what_is_known(
    shoot: Shoot, monkeypatch: pytest.MonkeyPatch
) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.run()

    def refused(path: Path) -> str:
        raise MediaError(path, "could not be read (permission denied); check the drive or card")

    monkeypatch.setattr("calltag.plan.digest", refused)
    report = shoot.run()
    assert [problem.path for problem in report.problems] == ["A001.mov"]
    assert shoot.logged() == {"A001.mov": [1.0]}


@pytest.mark.parametrize("number", [errno.EACCES, errno.EIO])
def test_takes_in_a_folder_that_cannot_be_looked_into_are_kept(
    shoot: Shoot, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """A drive that fails has not lost its takes."""
    shoot.clip("A001.mov", "1.0")
    shoot.clip("card 2/A002.mov", "broken")
    away = shoot.clip("card 2/A003.mov", "3.0").parent
    shoot.run()
    look, stat = os.scandir, os.stat

    def refusing(really, refused):
        def refuse(path, *more, **options):
            if isinstance(path, str | os.PathLike) and refused(Path(path)):
                raise OSError(number, os.strerror(number), os.fspath(path))
            return really(path, *more, **options)

        return refuse

    monkeypatch.setattr(os, "scandir", refusing(look, lambda path: path == away))
    monkeypatch.setattr(os, "stat", refusing(stat, lambda path: path.parent == away))
    report = shoot.run(drop_missing=True)
    assert report.missing == ()
    assert shoot.logged() == {"A001.mov": [1.0], "card 2/A003.mov": [3.0]}
    with Log(shoot.log) as log:
        assert [problem.path for _, problem in log.problems()] == ["card 2", "card 2/A002.mov"]


def test_a_take_without_sound_is_logged_as_such(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "silent")
    report = shoot.run()
    assert (report.silent, report.sound_s, report.problems) == (("A001.mov",), 0.0, ())
    with Log(shoot.log) as log:
        assert not log.takes()[0].has_sound


def test_rushes_without_clips_are_told(shoot: Shoot) -> None:
    (shoot.rushes / "shot list.txt").write_text("heron")
    with pytest.raises(InputError, match="no clips in there; name the folder"):
        shoot.run()


# Runs that end before their time


def test_a_log_that_may_not_be_written_to_is_told_before_the_work(shoot: Shoot, archived) -> None:
    shoot.clip("A001.mov", "1")
    shoot.run()
    shoot.visited()
    archived()
    assert shoot.run().known == 1  # nothing is written
    with pytest.raises(LogError, match="may not be written to"):
        shoot.run(force=True)
    assert shoot.visited() == []


def test_what_is_still_to_go_is_reckoned_by_the_length_of_takes(shoot: Shoot) -> None:
    """Every take lasts a minute: a sort of which none is done tells nothing, a big file no more."""
    for number in range(4):
        shoot.clip(f"A{number:03}.mov", f"{number}")
        shoot.clip(f"B{number:03}.wav", f"{number}" + 1000 * " ")
    told: list[Progress] = []
    shoot.run(listener=told.append, workers=1)
    assert [(p.done, p.to_go) for p in told] == [
        (0, None),
        (1, None),
        (2, None),
        (3, None),
        (4, None),
        (5, pytest.approx(3 / 5)),
        (6, pytest.approx(2 / 6)),
        (7, pytest.approx(1 / 7)),
        (8, 0.0),
    ]


def test_the_listener_hears_of_every_take(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    shoot.clip("A002.mov", "broken, and some bytes longer")
    told: list[Progress] = []
    shoot.run(listener=told.append)
    assert [(p.done, p.total) for p in told] == [(0, 2), (1, 2), (2, 2)]
    assert told[0].share == 0.0
    assert told[-1].share == 1.0
    assert [p.share for p in told] == sorted(p.share for p in told)
    assert told[-1].sound_s == 60.0


def test_a_run_that_is_stopped_goes_on_where_it_was(real_shoot: Shoot) -> None:
    for number in range(6):
        real_shoot.clip(f"A00{number}.mov", f"{number}.0")

    def stop(progress: Progress) -> None:
        if progress.done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        real_shoot.run(listener=stop)
    assert len(real_shoot.logged()) == 3
    real_shoot.visited()
    assert real_shoot.run().analysed == 3
    assert len(real_shoot.visited()) == 3
    assert len(real_shoot.logged()) == 6


SLOW_RUN = """
import sys, time
from pathlib import Path
from calltag.records.found import TakeLog
from calltag.records.take import Take
from calltag.run import log_rushes

def analyse(job):
    time.sleep(0.1 if job.path < "A004" else 60)
    return TakeLog(take=Take(path=job.path, rushes=job.rushes, digest=job.digest,
                             size_bytes=job.size_bytes, duration_s=1.0))

def tell(progress):
    print(progress.done, flush=True)

if __name__ == "__main__":
    log_rushes([Path(sys.argv[1])], Path(sys.argv[2]), workers=2, listener=tell, analyse=analyse)
"""


@posix
def test_a_killed_run_keeps_what_was_finished(shoot: Shoot) -> None:
    for number in range(8):
        shoot.clip(f"A00{number}.mov", f"{number}.0")
    run = subprocess.Popen(
        [sys.executable, "-c", SLOW_RUN, str(shoot.rushes), str(shoot.log)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert run.stdout is not None
    for line in run.stdout:
        if line == "4\n":
            break
    run.kill()
    run.communicate(timeout=120)
    assert run.returncode == -signal.SIGKILL
    assert list(shoot.logged()) == [f"A00{number}.mov" for number in range(4)]
    report = shoot.run()
    assert (report.known, report.analysed) == (4, 4)
    assert shoot.visited() == [f"A00{number}.mov" for number in range(4, 8)]


def test_two_runs_at_once_do_not_harm_each_other(shoot: Shoot) -> None:
    for number in range(4):
        shoot.clip(f"A00{number}.mov", f"{number}.0")
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", SLOW_RUN, str(shoot.rushes), str(shoot.log)],
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
        )
        for _ in range(2)
    ]
    for run in runs:
        assert run.wait(timeout=180) == 0
    assert list(shoot.logged()) == [f"A00{number}.mov" for number in range(4)]


def test_two_runs_at_once_on_cards_of_equal_names_keep_every_take(shoot: Shoot) -> None:
    cards = []
    for number in (1, 2):
        cards.append(shoot.clip(f"card {number}/C0001.mov", f"{number}.0").parent)
        shoot.clip(f"card {number}/C0002.mov", f"{number}.5")

    def meanwhile(progress: Progress) -> None:
        if progress.done == 0:
            shoot.run(cards[1])

    assert shoot.run(cards[0], listener=meanwhile).analysed == 2
    assert shoot.logged() == {
        "C0001.mov": [2.0],
        "C0002.mov": [2.5],
        "card 1/C0001.mov": [1.0],
        "card 1/C0002.mov": [1.5],
    }
    shoot.visited()
    assert shoot.run(*cards).known == 4
    assert shoot.visited() == []


COLD_START = """
import sys
from pathlib import Path
from calltag.analysis import analyse_take
from calltag.plan import Job
found = analyse_take(Job(Path(sys.argv[1]), "/r", "A001.wav", "d", 1))
assert found.take.levels is not None
print(sorted({"librosa", "numba"} & set(sys.modules)))
"""


def test_workers_compile_nothing_and_may_start_cold_at_once(tmp_path: Path, make_clip) -> None:
    """librosa's compiled helpers leave a broken cache when two processes compile at once.

    (Known as numba's issue 10128.) So workers have to do without them.
    """
    clip = make_clip(tmp_path / "A001.wav", fps=None, audio_codec="pcm_s16le", channels=1)
    cache = tmp_path / "cache"
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", COLD_START, str(clip)],
            cwd=ROOT,
            env=os.environ | {"NUMBA_CACHE_DIR": str(cache)},
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    for run in runs:
        out, _ = run.communicate(timeout=180)
        assert run.returncode == 0
        assert out == "[]\n"
    assert not cache.exists()


def test_a_time_reference_that_the_log_cannot_hold_does_not_end_the_run(tmp_path: Path) -> None:
    rushes = tmp_path / "rushes"
    rushes.mkdir()
    for name, reference in (("A001.wav", (1 << 64) - 1), ("A002.wav", 48_000)):
        write_wav(
            rushes / name,
            np.zeros((1, 9600)),
            48_000,
            bext=Bext(time_reference=reference, originator="recorder"),
        )
    report = log_rushes((rushes,), tmp_path / "calltag.db", workers=1)
    assert (report.analysed, report.problems) == (2, ())
    with Log(tmp_path / "calltag.db") as log:
        assert [take.time_reference for take in log.takes()] == [None, 48_000]


# Call types


def test_takes_are_named_by_the_model_beside_the_log(
    shoot: Shoot, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Tagger:
        classes = ("call", "pit rail")

        def tag(self, features: np.ndarray, _takes: np.ndarray) -> list[tuple[str, float]]:
            return [("pit rail", 0.8) if row[0] > 4 else ("call", 0.9) for row in features]

    monkeypatch.setattr("calltag.learn.call_types.model_file.load_model", lambda _path: Tagger())
    shoot.clip("A001.mov", "1.0 5.0")
    assert shoot.run().model is None
    (shoot.log.parent / "calltag.model").write_bytes(b"a model")
    report = shoot.run()
    assert report.analysed == 0
    assert report.model is not None
    with Log(shoot.log) as log:
        assert [call.label for call in log.take_log("A001.mov").calls] == ["call", "pit rail"]


def test_a_model_that_cannot_be_used_is_told_and_costs_no_finds(shoot: Shoot) -> None:
    shoot.clip("A001.mov", "1.0")
    model = shoot.log.parent / "calltag.model"
    model.write_bytes(b"not a model")
    report = shoot.run()
    assert (report.analysed, report.model) == (1, None)
    (note,) = report.notes
    assert "calltag.model" in note
    with pytest.raises(ModelError, match=r"calltag\.model"):
        shoot.run(model=model)


def test_clips_joined_end_to_end_are_as_long_as_their_sound(tmp_path: Path, make_clip) -> None:
    parts = [
        make_clip(
            tmp_path / f"{seconds}.mts",
            seconds=seconds,
            audio_codec="ac3",
            container="mpegts",
            video_codec="libx264",
        )
        for seconds in (4.0, 3.0)
    ]
    path = tmp_path / "A001.mts"
    path.write_bytes(b"".join(part.read_bytes() for part in parts))
    take = analyse_take(Job(path, "/r", path.name, "d", 1)).take
    assert take.duration_s == pytest.approx(7.0, abs=0.1)
    assert take.picture_s is None  # what the file states is the last clip's
