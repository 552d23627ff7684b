"""Make voice and kinship from invented call types: ``python -m calltag.learn.invented_types``."""

from __future__ import annotations

import argparse
import logging
from pathlib import Path

from calltag.errors import InputError
from calltag.learn.networks.network import check_training
from calltag.learn.networks.voice import NETWORK


def main() -> None:
    """Make the network of voices and the numbers of kinship."""
    check_training()
    from calltag.learn.invented_types.making import Size, make

    usual = Size()
    parser = argparse.ArgumentParser(
        prog="python -m calltag.learn.invented_types",
        description="Make the network of voices and the numbers of kinship anew; takes two hours,"
        " and the extra `train`.",
    )
    parser.add_argument(
        "--out",
        type=Path,
        default=NETWORK.parent,
        metavar="FOLDER",
        help="where voice.onnx and kinship.npz go; calltag's own are replaced unless it is given",
    )
    parser.add_argument("--types", type=int, default=usual.types, help="call types")
    parser.add_argument("--kept", type=int, default=usual.kept, help="of them, from the network")
    parser.add_argument("--each", type=int, default=usual.each, help="calls of each")
    parser.add_argument("--steps", type=int, default=usual.steps, help="training steps")
    parser.add_argument("--seed", type=int, default=9000)
    given = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    size = Size(types=given.types, kept=given.kept, each=given.each, steps=given.steps)
    make(given.out, size=size, seed=given.seed)


if __name__ == "__main__":
    try:
        main()
    except InputError as error:
        raise SystemExit(str(error)) from None
