"""Rebuild the starter model: ``python -m calltag.learn.starter RECORDINGS``."""

from __future__ import annotations

import argparse
import json
import logging
from pathlib import Path

from calltag.errors import InputError
from calltag.learn.networks.network import check_training

log = logging.getLogger("calltag.learn.starter")


def main() -> None:
    """Make the starter model."""
    check_training()
    from calltag.learn.starter.making import Size, make
    from calltag.learn.starter.recordings import load_recordings

    usual = Size()
    parser = argparse.ArgumentParser(
        prog="python -m calltag.learn.starter",
        description="Rebuild the starter model; takes hours, and the extra `train`.",
    )
    parser.add_argument("recordings", type=Path, help="folder that the paths in SOURCES start from")
    parser.add_argument(
        "--sources",
        type=Path,
        default=Path("models/sources.csv"),
        help="list of the recordings: path, kind, group, sort (models/sources.csv)",
    )
    parser.add_argument(
        "--out",
        type=Path,
        default=Path("models"),
        metavar="FOLDER",
        help="where the model goes (models); one that is there is replaced",
    )
    parser.add_argument(
        "--leave-out",
        nargs="+",
        default=["fold 1", "fold 2", "fold 3"],
        metavar="GROUP",
        help="groups that networks are trained without, each in turn, to teach the second look",
    )
    parser.add_argument(
        "--steps", type=int, default=usual.steps, help="training steps without a group"
    )
    parser.add_argument(
        "--phrases", type=int, default=usual.phrases, help="invented phrases of calls"
    )
    parser.add_argument(
        "--scenes", type=int, default=usual.scenes, help="scenes per background and level"
    )
    parser.add_argument("--seed", type=int, default=2)
    given = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    recordings = load_recordings(given.sources, given.recordings)
    size = Size(steps=given.steps, phrases=given.phrases, scenes=given.scenes)
    made = make(recordings, given.out, leave_out=given.leave_out, size=size, seed=given.seed)
    log.info("%s", json.dumps(made.card["figures"], indent=2))


if __name__ == "__main__":
    try:
        main()
    except InputError as error:
        raise SystemExit(str(error)) from None
