"""Work spread over processes, where one that dies takes nothing with it but its own item.

The processes are those of joblib's loky on this computer, or a Dask cluster's (`calltag.cluster`).
Each of the former is held to one thread for linear algebra and Fourier transforms; the processes
together use the cores.
"""

from __future__ import annotations

import faulthandler
import logging
import os
import signal
import tempfile
import threading
import time
import warnings
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from calltag.cluster import on_cluster
from calltag.partials import remove_stale

logger = logging.getLogger(__name__)

Item = TypeVar("Item")
Result = TypeVar("Result")

MOST_WORKERS = 4
"""Workers unless told otherwise: more of them wait for the disk, and heat the computer."""

IDLE_S = 60
"""How long a worker waits for work before it ends."""

_NOTES = ".calltag-begun-"  # a hidden name: the user may have a folder calltag-demo there
_NOTES_STALE_S = 7 * 86_400.0


@dataclass(frozen=True, slots=True)
class Done(Generic[Result]):
    """The end of the work on one item.

    Attributes
    ----------
    index : int
        Which item, counted from 0.
    result : object
        What the function returned; None where the process that worked on the item died, twice.
    """

    index: int
    result: Result | None


def default_workers() -> int:
    """Tell how many workers suit this computer.

    Returns
    -------
    int
        One for each core, at most `MOST_WORKERS`.
    """
    import joblib

    cores: int = joblib.cpu_count(only_physical_cores=True)
    return max(1, min(MOST_WORKERS, cores))


def work_through(
    function: Callable[[Item], Result],
    items: Sequence[Item],
    *,
    workers: int | None = None,
    dask: str | None = None,
) -> Generator[Done[Result], None, None]:
    """Apply a function to all items in worker processes, and yield results as they come.

    Where a worker dies (crashed, or killed for want of memory), the items that were in work are
    tried again, each alone; the others go on. When the iterator is left early, by an error or
    Ctrl-C, the workers on this computer are ended.

    Parameters
    ----------
    function : callable
        Takes an item and returns something; what went wrong with one it has to return, since what
        it raises ends the work on all.
    items : sequence
        What to work on.
    workers : int, optional
        How many processes on this computer, at least one; `default_workers` unless given.
    dask : str, optional
        Address of a Dask scheduler: its workers are used, and `workers` is not.

    Yields
    ------
    Done
        One for each item, in the order in which they end.

    Raises
    ------
    InputError
        If the Dask scheduler cannot be reached, has no workers or loses all of them, or Dask is not
        installed.

    Examples
    --------
    >>> sorted(done.result for done in work_through(abs, [-3, 2], workers=1))
    [2, 3]
    """
    if not items:
        return
    if dask is not None:
        with closing(on_cluster(function, items, dask)) as ends:
            for index, result in ends:
                yield Done(index, result)
        return
    n_workers = workers or default_workers()
    pending = dict(enumerate(items))
    _sweep_notes()
    with tempfile.TemporaryDirectory(prefix=_NOTES, ignore_cleanup_errors=True) as folder:
        try:
            while pending:
                yield from _one_go(function, pending, n_workers, Path(folder))
        finally:
            _end_workers()


def _sweep_notes() -> None:
    """Remove the notes of killed runs; nothing that works on one take is at it for so long."""
    for left in Path(tempfile.gettempdir()).glob(f"{_NOTES}*"):
        remove_stale(left, _NOTES_STALE_S)


def _one_go(
    function: Callable[[Item], Result], pending: dict[int, Item], workers: int, begun: Path
) -> Generator[Done[Result], None, None]:
    """Take what is done out of what is pending, until all is done or a worker died."""
    try:
        with closing(_run(function, pending, workers, begun)) as results:
            for index, result in results:
                del pending[index]
                yield Done(index, result)
    except BrokenProcessPool:
        in_work = [index for index in pending if (begun / str(index)).exists()]
        logger.debug("a worker died; in work were items %s", in_work)
        for index in in_work or list(pending):
            yield _alone(function, index, pending.pop(index), begun)


def _alone(function: Callable[[Item], Result], index: int, item: Item, begun: Path) -> Done[Result]:
    try:
        [(_, result)] = _run(function, {index: item}, 1, begun)
    except BrokenProcessPool:
        return Done(index, None)
    return Done(index, result)


def _run(
    function: Callable[[Item], Result], items: Mapping[int, Item], workers: int, begun: Path
) -> Generator[tuple[int, Result], None, None]:
    import joblib

    with joblib.parallel_config(
        backend="loky",
        inner_max_num_threads=1,
        initializer=_settle_in,
        idle_worker_timeout=IDLE_S,
    ):
        # joblib runs a single worker inside this process, where a crash would end everything:
        # so there are at least two, and no more items at a time than there should be workers.
        parallel = joblib.Parallel(
            n_jobs=max(2, workers),
            pre_dispatch=workers,
            batch_size=1,
            max_nbytes=None,
            # Nothing is put there, but joblib notes the name, and can only do so in ASCII: the
            # folder of somebody called Åsa is no place for it.
            temp_folder=Path(tempfile.gettempdir()).anchor,
            return_as="generator_unordered",
        )
        with _ctrl_c_held():
            outputs = parallel(
                joblib.delayed(_noted)(function, index, item, begun / str(index))
                for index, item in list(items.items())
            )
    try:
        # `yield from` would close it outside the lines below.
        for output in outputs:  # noqa: UP028
            yield output
    finally:
        with warnings.catch_warnings():
            # joblib warns of leaving early, which is done on purpose when the user stops.
            warnings.filterwarnings("ignore", category=UserWarning, module="joblib")
            outputs.close()


@contextmanager
def _ctrl_c_held() -> Iterator[None]:
    """Hold Ctrl-C back for a moment: processes that are started meanwhile never get it."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    from multiprocessing import resource_tracker as of_python

    from joblib.externals.loky.backend import resource_tracker as of_loky

    for tracker in (of_python, of_loky):  # one that starts later lets Ctrl-C through again
        tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _noted(
    function: Callable[[Item], Result], index: int, item: Item, note: Path
) -> tuple[int, Result]:
    note.touch()
    if "PYTHONFAULTHANDLER" not in os.environ:  # loky turns it on; a crash is told in one sentence
        faulthandler.disable()
    return index, function(item)


def _settle_in() -> None:
    # Ctrl-C reaches every process of the terminal: the first one alone decides what happens.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, args=(os.getppid(),), daemon=True).start()


def _leave_with_parent(parent: int) -> None:
    # A killed parent cannot end its workers, and what they are working on is lost. (Windows does
    # not show it here: there a worker ends when it has been idle for `IDLE_S`.)
    while os.getppid() == parent:
        time.sleep(1)
    os._exit(1)


def _end_workers() -> None:
    from joblib.externals.loky import get_reusable_executor

    get_reusable_executor(reuse=True).shutdown(wait=True, kill_workers=True)
