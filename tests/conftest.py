"""Shared fixtures: the folder of real recordings, one seeded generator, one maker of tiny clips."""

from __future__ import annotations

import importlib.util
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import settings

from calltag.database import Database, uri_of
from calltag.learn.finding import loaded
from calltag.sound.spectrum import N_MELS
from calltag.workers import Done

if TYPE_CHECKING:
    from calltag.learn.finding.finder import Finder

RATE_HZ = 48_000

# A busy computer is no defect: examples have no deadline.
settings.register_profile("calltag", deadline=None)
settings.load_profile("calltag")


def pytest_configure(config: pytest.Config) -> None:
    """With `-n`, hold the processes to come to one thread each, and to what each has compiled.

    They use all cores together; with a thread of linear algebra for each core besides, the threads
    wait for each other and cost half as much again. What librosa compiles is kept beside it, and
    two processes that compile the same at once leave a mixture, on which the next one crashes.
    """
    if config.getoption("numprocesses", None):
        for library in ("OPENBLAS", "OMP", "MKL"):
            os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    process = os.environ.get("PYTEST_XDIST_WORKER")
    if process is not None and config.cache is not None:
        os.environ["NUMBA_CACHE_DIR"] = str(config.cache.mkdir(f"compiled-by-{process}"))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With `-n`, give each process one stretch of the tests, and the rest of another's when done.

    Dealt out by turns, as xdist does unless told, the tests of a module lie in all processes, and
    each of these makes its clips, starts its browser and loads its models anew.
    """
    if config.getoption("dist") != "load":
        return None
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20261125)


@pytest.fixture
def archived(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """Call it to have logs opened, from then on, as on a disk where nothing can be written."""

    def archived() -> None:
        opened = Database._open
        monkeypatch.setattr(
            Database,
            "_open",
            lambda self, _, *how: opened(self, f"{uri_of(self.path.absolute())}?immutable=1", *how),
        )

    return archived


@pytest.fixture
def in_one_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Do the work on takes in this process: workers take seconds to start and to load a model.

    That workers do it as well is for the tests that start some.
    """

    def work_through(
        function: Callable[[Any], Any], items: Sequence[Any], **_: Any
    ) -> Iterator[Done[Any]]:
        for index, item in enumerate(items):
            yield Done(index, function(item))

    for module in ("run", "takes.picture.looking", "pages.sheet.writing"):
        monkeypatch.setattr(f"calltag.{module}.work_through", work_through)


@pytest.fixture(scope="session")
def field() -> Path:
    """Folder of real recordings, kept outside the project; without it the test is skipped."""
    beside = Path(__file__).resolve().parents[1].parent / "shared" / "field"
    folder = Path(os.environ.get("CALLTAG_FIELD_DIR", beside))
    if not (folder / "esc10").is_dir():
        pytest.skip(
            f"no real recordings: set CALLTAG_FIELD_DIR to their folder (looked in {folder.name}/)"
        )
    return folder


@pytest.fixture(scope="session")
def librosa_example(field) -> Callable[[str], Path]:
    """Where a recording of librosa's examples is; never fetched, so that tests need no network."""

    def place(name: str) -> Path:
        path = field / "librosa" / name
        if not path.is_file():
            pytest.skip(f"the real recordings lack librosa's example {name}")
        return path

    return place


@pytest.fixture(scope="session")
def finder() -> Finder:
    """The finder that calltag comes with, loaded once in each process."""
    return loaded.finder()


@pytest.fixture(scope="session")
def make_clip() -> Callable[..., Path]:
    """`tests/clips.py: make_clip`, for any test: loaded by path, for every import mode."""
    return _beside("clips").make_clip


@pytest.fixture(scope="session")
def pairs() -> ModuleType:
    """The module `tests/pairs.py`: two microphones at one moment."""
    return _beside("pairs")


@pytest.fixture(scope="session")
def views() -> ModuleType:
    """The module `tests/views.py`: what cameras see that move, shake or are out of focus."""
    return _beside("views")


@pytest.fixture(scope="session")
def motor_db() -> Callable[..., np.ndarray]:
    """Levels of a motor: ridges that go up and down the mel bands with its speed."""

    def levels_db(rng: np.random.Generator, n: int, *, every: int) -> np.ndarray:
        """So many moments; every so many, it makes for another speed."""
        knots = np.arange(0, n + every, every)
        speed = np.interp(np.arange(n), knots, rng.uniform(5, 15, len(knots)))
        return -60 + 15 * np.cos(2 * np.pi * np.arange(N_MELS) / speed[:, None])

    return levels_db


def _beside(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules.setdefault(name, module)  # dataclasses look themselves up there
    spec.loader.exec_module(module)
    return module
