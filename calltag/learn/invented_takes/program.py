"""The command line of what learns to tell something from calls, beside a starter model."""

from __future__ import annotations

import argparse
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from calltag.learn.invented_takes.lessons import TAKES
from calltag.learn.networks.starter_model import starter_model


class Make(Protocol):
    """Learns it, and writes what was learnt."""

    def __call__(self, model: Path, *, takes: int, seed: int) -> object:
        """See `calltag.learn.invented_takes.lessons.make`."""


def run(
    make: Make, *, prog: str, description: str, seed: int, check: Callable[[], None] | None = None
) -> None:
    """Learn it as the command line says.

    Parameters
    ----------
    make : callable
        Learns it.
    prog, description : str
        What the program is called, and what it does.
    seed : int
        Seed of everything random unless another is given.
    check : callable, optional
        Raises if something is missing without which nothing can be made.
    """
    parser = argparse.ArgumentParser(prog=prog, description=description)
    parser.add_argument(
        "--model",
        type=Path,
        default=starter_model(),
        metavar="FILE",
        help="the starter model; what is learnt is written beside it",
    )
    parser.add_argument("--takes", type=int, default=TAKES, help="takes of each sort")
    parser.add_argument("--seed", type=int, default=seed)
    given = parser.parse_args()
    if check is not None:
        check()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    make(given.model, takes=given.takes, seed=given.seed)
