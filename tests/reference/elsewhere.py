"""Finding calls of animals, in noise, that nothing of calltag was made with.

`python tests/reference/elsewhere.py MODEL.onnx RECORDINGS` plants the calls listed in
`elsewhere.csv` (26 of them) in the machines and waters listed there, and in air, and prints how
many are found, how many finds are right, and how many there are where nothing calls. With
`--invented` it plants invented calls in place of them, and prints F1 for each family: what the
model is deaf to shows there.

The recordings come with packages of Debian 12 (bookworm) and are not part of calltag; below
RECORDINGS they lie as `dpkg-deb -x PACKAGE.deb debian/PACKAGE` leaves them. Each has the licence
that its package's copyright file says. They are for games and lessons, cleaner and shorter than a
take.

The model's card and second look lie beside it.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from calltag.learn.finding.second_look import SecondLook
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import StarterModel
from calltag.learn.starter.calibrate import hear
from calltag.learn.starter.judge import judge
from calltag.learn.starter.recordings import load_recordings
from calltag.learn.starter.scenes import SNRS_DB, make_scene
from calltag.learn.starter.synth_calls import FAMILIES, Maker

SOURCES = Path(__file__).with_suffix(".csv")
BACKGROUNDS = ("machine", "water", "air")


def main() -> None:
    """Make scenes, listen, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("model", type=Path)
    parser.add_argument("recordings", type=Path)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--scenes", type=int, default=3, help="per background and level")
    parser.add_argument("--invented", action="store_true", help="plant invented calls, by family")
    arguments = parser.parse_args()
    recordings = load_recordings(SOURCES, arguments.recordings)
    rng = np.random.default_rng(arguments.seed)
    hearing = StarterModel(arguments.model)
    second_look = SecondLook.read(StarterFiles.of(arguments.model).second_look)

    def figures(
        invented: float, families: Sequence[tuple[Maker, float]] = FAMILIES
    ) -> dict[str, Any]:
        scenes = [
            make_scene(rng, recordings, background, snr_db, invented=invented, families=families)
            for background in BACKGROUNDS
            for snr_db in (*SNRS_DB, float("nan"))
            for _ in range(arguments.scenes)
        ]
        heard = [hear(hearing, scene.samples) for scene in scenes]
        return judge(heard, scenes, [second_look.probability(what.evidence) for what in heard])

    if not arguments.invented:
        print(json.dumps(figures(0.0), indent=2))
        return
    for maker, _ in FAMILIES:
        found = figures(1.0, ((maker, 1.0),))["finding"]
        print(maker.__name__, json.dumps({key: row["f1"] for key, row in found.items()}))


if __name__ == "__main__":
    main()
