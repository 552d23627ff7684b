"""Finding calls of animals, in noise, that nothing of calltag was made with.

`python tests/reference/elsewhere.py MODEL.onnx RECORDINGS` plants the calls listed in
`elsewhere.csv` (26 of them) in the machines and waters listed there, and in air, and prints how
many are found, how many finds are right, and how many there are where nothing calls. The
recordings come with packages of Debian 12 (bookworm) and are not part of calltag; below RECORDINGS
they lie as `dpkg-deb -x PACKAGE.deb debian/PACKAGE` leaves them. Each has the licence that its
package's copyright file says. They are for games and lessons, cleaner and shorter than a take.

The model's card and second look lie beside it.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

from calltag.learn.hearing import Hearing
from calltag.learn.second_look import SecondLook
from calltag.learn.starter.calibrate import hear
from calltag.learn.starter.judge import judge
from calltag.learn.starter.recordings import load_recordings
from calltag.learn.starter.scenes import SNRS_DB, make_scene

SOURCES = Path(__file__).with_suffix(".csv")
BACKGROUNDS = ("machine", "water", "air")


def main() -> None:
    """Make scenes, listen, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("model", type=Path)
    parser.add_argument("recordings", type=Path)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--scenes", type=int, default=3, help="per background and level")
    arguments = parser.parse_args()
    recordings = load_recordings(SOURCES, arguments.recordings)
    rng = np.random.default_rng(arguments.seed)
    hearing = Hearing(arguments.model)
    second_look = SecondLook.read(arguments.model.with_suffix(".npz"))
    scenes, heard, probability = [], [], []
    for background in BACKGROUNDS:
        for snr_db in (*SNRS_DB, float("nan")):
            for _ in range(arguments.scenes):
                scene = make_scene(rng, recordings, background, snr_db, invented=0.0)
                what = hear(hearing, scene.samples)
                scenes.append(scene)
                heard.append(what)
                probability.append(second_look.probability(what.evidence))
    print(json.dumps(judge(heard, scenes, probability), indent=2))


if __name__ == "__main__":
    main()
