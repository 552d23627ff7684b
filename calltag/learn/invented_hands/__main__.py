"""Learn anew what hands sound like: ``python -m calltag.learn.invented_hands``."""

from __future__ import annotations

import argparse
import logging
from pathlib import Path

from calltag.errors import InputError
from calltag.learn.invented_hands.making import TAKES, make
from calltag.learn.networks.starter_model import starter_model


def main() -> None:
    """Make what tells handling from calls, beside a starter model."""
    parser = argparse.ArgumentParser(
        prog="python -m calltag.learn.invented_hands",
        description="Learn anew what handling sounds like to a starter model; takes ten minutes.",
    )
    parser.add_argument(
        "--model",
        type=Path,
        default=starter_model(),
        metavar="FILE",
        help="the starter model; what is learnt is written beside it",
    )
    parser.add_argument("--takes", type=int, default=TAKES, help="takes of each sort")
    parser.add_argument("--seed", type=int, default=41)
    given = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    make(given.model, takes=given.takes, seed=given.seed)


if __name__ == "__main__":
    try:
        main()
    except InputError as error:
        raise SystemExit(str(error)) from None
