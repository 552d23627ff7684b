from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from calltag.workers import MOST_WORKERS, default_workers, work_through

ROOT = Path(__file__).resolve().parents[1]
posix = pytest.mark.skipif(os.name != "posix", reason="ends processes by POSIX signals")

# Functions for workers stand inside the tests: such a function travels whole, so that a worker
# need not be able to import this file.


@pytest.mark.parametrize("workers", [1, 2])
def test_every_item_is_worked_on_once_and_in_another_process(workers: int) -> None:
    def work(item: int) -> tuple[int, int]:
        return item * item, os.getpid()

    done = list(work_through(work, range(7), workers=workers))
    assert sorted(d.index for d in done) == list(range(7))
    assert all(d.result is not None and d.result[0] == d.index**2 for d in done)
    processes = {d.result[1] for d in done if d.result is not None}
    assert os.getpid() not in processes


@pytest.mark.parametrize("workers", [1, 2])
def test_no_more_items_are_in_work_than_there_are_workers(tmp_path: Path, workers: int) -> None:
    def work(item: int) -> int:
        mark = tmp_path / f"{item}"
        mark.touch()
        at_once = len(list(tmp_path.iterdir()))
        time.sleep(0.05)
        mark.unlink()
        return at_once

    at_once = [d.result for d in work_through(work, range(8), workers=workers)]
    assert max(n for n in at_once if n is not None) <= workers


def test_temporary_files_may_lie_below_any_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on Windows, where they lie below the user's own."""
    folder = tmp_path / "Åsa 鳥"
    folder.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(folder))
    monkeypatch.setenv("JOBLIB_TEMP_FOLDER", str(folder))  # before the RAM disk that Linux has
    assert [done.result for done in work_through(abs, [-3], workers=1)] == [3]
    assert list(folder.iterdir()) == []


def test_the_notes_of_killed_runs_are_cleared_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr("calltag.workers._end_workers", lambda: None)

    def killed(*_: object) -> Iterator[None]:
        (notes,) = set(tmp_path.iterdir()) - before
        (notes / "0").touch()
        shutil.copytree(notes, notes.with_name(f"{notes.name[:-8]}killed00"))
        raise KeyboardInterrupt
        yield

    before: set[Path] = set()
    monkeypatch.setattr("calltag.workers._one_go", killed)
    with pytest.raises(KeyboardInterrupt):
        list(work_through(abs, [1], workers=1))
    (left,) = tmp_path.iterdir()
    own = tmp_path / "calltag-demo"
    own.mkdir()
    for path in (left / "0", left, own):
        os.utime(path, (time.time() - 8 * 86_400,) * 2)
    monkeypatch.setattr("calltag.workers._one_go", lambda _, pending, *__: pending.clear() or ())
    list(work_through(abs, [1], workers=1))
    assert list(tmp_path.iterdir()) == [own]


def test_each_worker_has_one_thread_for_linear_algebra() -> None:
    def work(_: int) -> list[int]:
        import numpy as np
        import threadpoolctl

        np.ones((8, 8)) @ np.ones((8, 8))
        return [pool["num_threads"] for pool in threadpoolctl.threadpool_info()]

    for done in work_through(work, range(2), workers=2):
        assert done.result
        assert set(done.result) == {1}


@posix
def test_a_worker_that_dies_takes_only_its_own_item_with_it(tmp_path: Path) -> None:
    def work(item: int) -> int:
        if item == 2:
            os.kill(os.getpid(), signal.SIGSEGV)
        if item == 4 and not (tmp_path / "once").exists():
            (tmp_path / "once").touch()
            os.kill(os.getpid(), signal.SIGKILL)
        return item

    done = {d.index: d for d in work_through(work, range(7), workers=2)}
    assert [done[item].result for item in range(7)] == [0, 1, None, 3, 4, 5, 6]
    assert (tmp_path / "once").exists(), "item 4 was tried again, and done"


SLOW = """
import os, signal, sys, time
from pathlib import Path
signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job begins without it
from calltag.workers import work_through
folder = Path(sys.argv[1])
def work(item):
    (folder / f"{os.getpid()}").touch()
    time.sleep(60)
if __name__ == "__main__":
    print(list(work_through(work, range(5), workers=2)))
"""


def alive(pids: list[int]) -> list[int]:
    found = []
    for pid in pids:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            continue
        found.append(pid)
    return found


@posix
@pytest.mark.parametrize("signal_name", ["SIGINT", "SIGKILL"])
def test_no_worker_outlives_a_run_that_is_stopped(tmp_path: Path, signal_name: str) -> None:
    """A terminal sends Ctrl-C to the whole group of processes; who kills one does not."""
    pids = tmp_path / "pids"
    pids.mkdir()
    run = subprocess.Popen(
        [sys.executable, "-c", SLOW, str(pids)],
        cwd=ROOT,
        start_new_session=True,
        stderr=subprocess.PIPE,
        text=True,
    )
    while len(workers := [int(path.name) for path in pids.iterdir()]) < 2:
        assert run.poll() is None
        time.sleep(0.02)
    number = getattr(signal, signal_name)
    if signal_name == "SIGINT":
        os.killpg(run.pid, number)
    else:
        run.send_signal(number)
    _, errors = run.communicate(timeout=120)
    assert run.returncode == -number
    assert errors.count("Traceback") <= 1, "workers say nothing of their own"
    patience = time.monotonic() + 60
    while alive(workers) and time.monotonic() < patience:
        time.sleep(0.05)
    assert alive(workers) == []


def test_the_default_suits_the_computer() -> None:
    assert 1 <= default_workers() <= MOST_WORKERS


HELD = """
import signal
from calltag.workers import work_through

def held(_):
    return signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, [])

if __name__ == "__main__":
    assert [end.result for end in work_through(held, [1, 2], workers=2)] == [True, True]
    assert not held(0), "the program itself takes it again"
"""


@posix
def test_workers_are_born_without_ctrl_c() -> None:
    """While they import, before they could set it aside themselves, it left their tracebacks.

    In a program of its own: whatever else joblib starts with the first worker is not there yet.
    """
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, "-c", HELD], env=environment, check=True)
