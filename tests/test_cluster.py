"""Work on a Dask cluster, where Dask is installed."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from calltag import cluster as cluster_module
from calltag.errors import InputError
from calltag.workers import work_through

# Functions for workers stand inside the tests, as in test_workers.py.


@pytest.fixture
def cluster() -> Iterator[str]:
    """Address of a cluster with one worker."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=":0", silence_logs=50
    ) as local:
        yield local.scheduler_address
        local.wait_for_workers(1, timeout=60)  # Dask cannot close while it replaces a dead one


def test_a_cluster_does_the_work_elsewhere_and_survives_a_death(cluster: str) -> None:
    here = os.getpid()

    def work(item: int) -> int:
        if os.getpid() == here:
            return -1
        if item == 1:
            os.kill(os.getpid(), signal.SIGKILL)
        return item

    done = {d.index: d for d in work_through(work, range(4), workers=1, dask=cluster)}
    assert {index: d.result for index, d in done.items()} == {0: 0, 1: None, 2: 2, 3: 3}


def test_a_cluster_gives_an_item_that_is_blamed_a_turn_alone(cluster: str, tmp_path: Path) -> None:
    """Of all that a dying worker held, Dask cannot tell which it died over."""
    distributed = pytest.importorskip("distributed")
    deaths = distributed.scheduler.dask.config.get("distributed.scheduler.allowed-failures") + 1

    def dies_while_others_are_about(item: int) -> int:
        died = tmp_path / "died"
        died.mkdir(exist_ok=True)
        if item == 1 and len(list(died.iterdir())) < deaths:
            (died / str(os.getpid())).touch()
            os.kill(os.getpid(), signal.SIGKILL)
        return item

    done = list(work_through(dies_while_others_are_about, range(2), workers=1, dask=cluster))
    assert len(list((tmp_path / "died").iterdir())) == deaths
    assert {d.index: d.result for d in done} == {0: 0, 1: 1}


def test_a_cluster_that_loses_its_workers_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr("calltag.cluster.TIMEOUT_S", 5)
    monkeypatch.setattr("calltag.cluster.ALONE_S", 0.5)
    begun = tmp_path / "begun"

    def sleeps(item: int) -> int:
        begun.touch()
        time.sleep(600)
        return item

    def leave(local: distributed.LocalCluster) -> None:
        while not begun.exists():
            time.sleep(0.05)
        local.sync(local.workers[0].close)

    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=":0", silence_logs=50
    ) as local:
        threading.Thread(target=leave, args=(local,)).start()
        with pytest.raises(InputError, match="the scheduler has no workers; start some"):
            list(work_through(sleeps, [1], workers=1, dask=local.scheduler_address))


def test_a_result_that_leaves_with_the_last_worker_is_not_waited_for_without_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It was worked out, but had not been fetched when the worker left."""
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr("calltag.cluster.ALONE_S", 0.5)
    ended = cluster_module._ended
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=":0", silence_logs=50
    ) as local:

        def leaves(client, pending):
            done = ended(client, pending)
            if local.workers:
                local.sync(local.workers.pop(0).close)
                monkeypatch.setattr("calltag.cluster.TIMEOUT_S", 1)
            return done

        monkeypatch.setattr(cluster_module, "_ended", leaves)
        with pytest.raises(InputError, match="the scheduler has no workers; start some"):
            list(work_through(abs, [1], workers=1, dask=local.scheduler_address))


def test_a_time_out_of_the_work_itself_ends_it(
    cluster: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is no result that left with its worker, which would be waited for."""
    rounds, ended = iter(range(3)), cluster_module._ended

    def bounded(client, pending):
        assert next(rounds, None) is not None, "it goes on without end"
        return ended(client, pending)

    def times_out(_item: int) -> None:
        raise TimeoutError("the disk does not answer")

    monkeypatch.setattr(cluster_module, "_ended", bounded)
    with pytest.raises(TimeoutError, match="the disk does not answer"):
        list(work_through(times_out, [1], workers=1, dask=cluster))


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "hide"])
def test_a_cluster_that_is_not_there_is_told(address: str) -> None:
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match=f"--dask {address}: no Dask scheduler answers there"):
        list(work_through(abs, [1], workers=1, dask=address))


def test_dask_missing_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"Dask is not installed; install calltag with"):
        list(work_through(abs, [1], workers=1, dask="tcp://hide:8786"))
