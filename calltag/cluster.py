"""Work spread over a Dask cluster, where a worker that dies takes nothing with it but its own item.

By Dask's own client: joblib's Dask backend runs the items in this process, not in the cluster, as
long as the cluster has a single thread. Dask itself tries an item again, on other workers, when one
dies over it.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Generator, Iterable, Sequence
from typing import TYPE_CHECKING, TypeVar

from calltag.errors import InputError

if TYPE_CHECKING:
    from distributed import Client, Future

Item = TypeVar("Item")
Result = TypeVar("Result")

TIMEOUT_S = 10
"""How long to wait for a scheduler and its first worker."""

ALONE_S = 60
"""How long a scheduler may be left without any worker in the middle of the work."""


class _DesertedError(Exception):
    """A scheduler has no worker, and none came."""


def on_cluster(
    function: Callable[[Item], Result], items: Sequence[Item], address: str
) -> Generator[tuple[int, Result | None], None, None]:
    """Apply a function to all items on a cluster, and yield results as they come.

    Parameters
    ----------
    function : callable
        Takes an item; what went wrong with one it has to return, since what it raises ends the
        work on all.
    items : sequence
        What to work on.
    address : str
        Address of a Dask scheduler.

    Yields
    ------
    index : int
        Which item, counted from 0.
    result : object
        What the function returned; None where a worker died over it.

    Raises
    ------
    InputError
        If the scheduler cannot be reached, has no workers or loses all of them, or Dask is not
        installed.
    """
    try:
        from distributed import Client, KilledWorker
    except ImportError:
        raise InputError(
            f"--dask {address}: Dask is not installed; install calltag with `calltag[dask]`"
        ) from None
    _look_for(address)
    with Client(address, timeout=TIMEOUT_S, set_as_default=False) as client:
        blamed: list[int] = []
        try:
            yield from _results(client, function, items, blamed)
        except _DesertedError:
            raise InputError(
                f"--dask {address}: the scheduler has no workers; start some and try again"
            ) from None
        for index in blamed:  # all that a dying worker held are blamed: each has to die alone
            try:
                [alone] = _ended(client, [client.submit(function, items[index], pure=False)])
                yield index, alone.result(TIMEOUT_S)
            except (KilledWorker, TimeoutError, _DesertedError):
                yield index, None


def _results(
    client: Client, function: Callable[[Item], Result], items: Sequence[Item], blamed: list[int]
) -> Generator[tuple[int, Result], None, None]:
    """Results as they come; what a worker may have died over is blamed, and has none."""
    from distributed import KilledWorker

    _wait_for_a_worker(client, TIMEOUT_S)
    indexes = {client.submit(function, item, pure=False): index for index, item in enumerate(items)}
    while indexes:
        for future in _ended(client, indexes):
            try:
                result = future.result(TIMEOUT_S)
            except KilledWorker:
                blamed.append(indexes.pop(future))
            except TimeoutError:
                if future.status == "error":  # it is what the function raised
                    raise
                # its worker left with it: it is worked on anew
                _wait_for_a_worker(client, ALONE_S)
            else:
                yield indexes.pop(future), result


def _look_for(address: str) -> None:
    """Look for a scheduler by hand: a client that finds nobody leaves a traceback when it goes."""
    from distributed.comm import get_address_host_port

    try:
        with socket.create_connection(get_address_host_port(address, strict=True), TIMEOUT_S):
            pass
    except (OSError, ValueError) as error:
        raise InputError(
            f"--dask {address}: no Dask scheduler answers there ({error}); check the address"
        ) from error


def _ended(client: Client, pending: Iterable[Future]) -> set[Future]:
    """Wait for some, as long as there is somebody who works on them."""
    from distributed import wait

    while True:
        try:
            with client.as_current():
                return set(wait(list(pending), TIMEOUT_S, "FIRST_COMPLETED").done)
        except TimeoutError:
            _wait_for_a_worker(client, ALONE_S)


def _wait_for_a_worker(client: Client, timeout_s: float) -> None:
    try:
        client.wait_for_workers(1, timeout=timeout_s)
    except TimeoutError:
        raise _DesertedError from None
