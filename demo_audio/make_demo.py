"""Make the demo's clips and the tables that go with them.

    python demo_audio/make_demo.py --out FOLDER --seed 1

Place, animals and morning are invented; picture and sound are computed, none of it was recorded.
"""

from __future__ import annotations

import argparse
import csv
import sys
import zlib
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from air import RATE_HZ
from animals import BOOM, RASP, SQUEAL, TRILL, WHISTLE, CallType
from picture import Picture
from takes import DAY, TAKES, DemoTake, Heard, Scene, record, set_scene
from writing import put_in_place, write_clip, write_wave

TABLES = ("truth.csv", "noise.csv", "labels.csv", "sync.csv")
SIDECAR = "ASH_A_0031.XML"

SIDECAR_TEXT = """\
<?xml version="1.0" encoding="UTF-8"?>
<clip name="ASH_A_0031" camera="A" place="Ashmere (invented)" date="2024-05-04">
  <note>Hooter on the post, rail by the reeds. Here is neither picture nor sound.</note>
</clip>
"""

LABELLED_CALLS: tuple[tuple[str, CallType, tuple[int, ...]], ...] = (
    ("ASH_A_0031.MP4", BOOM, (0, 1, 3)),
    ("ASH_C_0004.MP4", BOOM, (0, 1)),
    ("ASH_A_0040.MP4", BOOM, (0, 2)),
    ("ASH_A_0031.MP4", RASP, (0, 3, 6)),
    ("ASH_A_0034.MP4", RASP, (0, 2)),
    ("ASH_A_0040.MP4", RASP, (0, 1)),
    ("ASH_A_0032.MP4", WHISTLE, (0, 2, 5)),
    ("ASH_C_0004.MP4", WHISTLE, (0, 2)),
    ("ASH_A_0034.MP4", WHISTLE, (1,)),
    ("ASH_A_0032.MP4", TRILL, (0, 2)),
    ("ASH_A_0040.MP4", TRILL, (0, 1)),
    ("ASH_A_0036.MP4", TRILL, (1, 2)),
    ("ASH_C_0004.MP4", SQUEAL, (0, 1, 5)),
    ("ASH_A_0040.MP4", SQUEAL, (0, 3)),
    ("ASH_A_0037.MP4", SQUEAL, (0, 2)),
)
"""Take, call type, and which of that type's calls in the take the user has labelled."""

LABELLED_OTHER: tuple[tuple[str, float, float, str], ...] = (
    ("ASH_A_0034.MP4", 11.9, 14.0, "machine/hedge trimmer"),
    ("ASH_A_0034.MP4", 17.1, 19.2, "machine/hedge trimmer"),
    ("ASH_B_0013.MOV", 1.0, 4.0, "machine/hedge trimmer"),
    ("ASH_B_0013.MOV", 5.0, 8.0, "machine/hedge trimmer"),
    ("ASH_B_0013.MOV", 8.0, 10.5, "machine/hedge trimmer"),
    ("ASH_A_0036.MP4", 4.45, 5.2, "wind"),
    ("ASH_A_0036.MP4", 9.85, 10.9, "wind"),
    ("ASH_A_0036.MP4", 17.3, 17.95, "wind"),
    ("ASH_A_0037.MP4", 2.0, 3.0, "voice"),
    ("ASH_A_0037.MP4", 5.3, 6.55, "voice"),
    ("ASH_A_0039.MP4", 3.1, 3.5, "handling"),
    ("ASH_A_0039.MP4", 9.4, 9.8, "handling"),
    ("ASH_A_0031.MP4", 11.0, 11.14, "no call"),
    ("ASH_A_0031.MP4", 17.6, 17.74, "no call"),
    ("ASH_A_0032.MP4", 8.3, 8.44, "no call"),
    ("ASH_C_0004.MP4", 12.9, 13.04, "no call"),
)
"""What the user has said of other sounds."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the program.

    Parameters
    ----------
    arguments : sequence of str or None
        The command line without the program's name; None takes the real one.

    Returns
    -------
    int
        Exit status: 0 done, 1 could not do it.
    """
    parser = argparse.ArgumentParser(description="Make the demo's clips and tables.")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="FOLDER", help="where to put them"
    )
    parser.add_argument("--seed", type=int, default=1, help="seed of all chance (default 1)")
    parser.add_argument("--only", action="append", metavar="NAME", help="make this clip alone")
    parser.add_argument("--replace", action="store_true", help="replace files that are there")
    options = parser.parse_args(arguments)

    known = {take.name for take in TAKES}
    if unknown := set(options.only or ()) - known:
        print(
            f"{unknown.pop()} is no clip of the demo; there are {', '.join(sorted(known))}.",
            file=sys.stderr,
        )
        return 1
    chosen = [take for take in TAKES if not options.only or take.name in options.only]
    others = () if options.only else (*TABLES, SIDECAR)
    targets = [options.out / name for name in (*(take.name for take in chosen), *others)]
    if not options.replace and (there := [target for target in targets if target.exists()]):
        print(
            f"{there[0]}: is there already, so nothing was written; "
            "choose another folder, or give --replace.",
            file=sys.stderr,
        )
        return 1

    options.out.mkdir(parents=True, exist_ok=True)
    scenes = {}
    for number, take in enumerate(chosen, 1):
        scenes[take.name] = set_scene(take, options.seed)
        write_take(options.out / take.name, take, scenes[take.name], options.seed)
        print(f"{number}/{len(chosen)} {take.name}", file=sys.stderr)
    if not options.only:
        for name, rows in tables(scenes, options.seed).items():
            with (
                put_in_place(options.out / name) as part,
                part.open("w", encoding="utf-8", newline="") as file,
            ):
                csv.writer(file).writerows(rows)
        with put_in_place(options.out / SIDECAR) as part:
            part.write_text(SIDECAR_TEXT, encoding="utf-8", newline="\n")
    return 0


def write_take(target: Path, take: DemoTake, scene: Scene, seed: int) -> None:
    """Draw and write one take.

    Parameters
    ----------
    target : Path
        The file.
    take : DemoTake
        The take.
    scene : Scene
        What there is to hear in it.
    seed : int
        Seed of all chance.
    """
    hours, minutes, seconds = (
        float(part) for part in take.start_tc.replace(";", ":").split(":")[:3]
    )
    start_s = 3600 * hours + 60 * minutes + seconds
    recorded = f"{DAY}T{take.start_tc[:8]}Z"
    sound = record(take, scene, seed)
    if take.fps is None:
        write_wave(target, sound, recorded=recorded, time_reference=round(start_s * RATE_HZ))
        return
    animal, size = ON_PICTURE[take.name]
    mouth = [(c.start_s, c.end_s) for c in scene.calls if c.label.startswith(animal)]
    view = Picture(
        np.random.default_rng((seed, zlib.crc32(take.name.encode()), 7)),
        animal,
        hour=(start_s / 60 - 312) / 46.5,
        scale=size,
        mirrored=take.name.startswith("ASH_B"),
        wind=take.wind,
        calls=mouth,
    )
    write_clip(
        target,
        view.frame,
        sound,
        fps=take.fps,
        n_frames=take.n_frames,
        start_tc=take.start_tc,
        recorded=recorded,
        codec=take.codec,
        bits_per_s=BITS_PER_S.get((take.codec, take.tracks), 0),
    )


BITS_PER_S = {
    ("aac", "one"): 64_000,
    ("aac", "same"): 72_000,
    ("aac", "inverted"): 72_000,
    ("aac", "pair"): 88_000,
    ("ac3", "one"): 96_000,
}
"""Rate of the sound by codec and tracks; enough for these, and the folder stays small."""

ON_PICTURE = {
    "ASH_A_0031.MP4": ("marsh hooter", 1.0),
    "ASH_A_0032.MP4": ("lesser reedling", 1.0),
    "ASH_A_0034.MP4": ("pit rail", 1.0),
    "ASH_A_0036.MP4": ("lesser reedling", 1.1),
    "ASH_A_0037.MP4": ("pit rail", 1.1),
    "ASH_A_0038.MP4": ("lesser reedling", 1.7),
    "ASH_A_0039.MP4": ("lesser reedling", 1.0),
    "ASH_A_0040.MP4": ("marsh hooter", 1.1),
    "ASH_B_0012.MOV": ("marsh hooter", 0.75),
    "ASH_B_0013.MOV": ("pit rail", 0.9),
    "ASH_C_0004.MP4": ("pit rail", 1.0),
}
"""Who is on the picture, and how large."""


def tables(scenes: dict[str, Scene], seed: int) -> dict[str, list[tuple[str, ...]]]:
    """Make the rows of all tables.

    Parameters
    ----------
    scenes : dict of str to Scene
        Every take's scene by its file name.
    seed : int
        Seed of the small errors in the labels' times.

    Returns
    -------
    dict of str to list of tuple of str
        Rows by file name, headings first: `truth.csv` the calls that can be heard, `noise.csv` the
        noise, `labels.csv` what a user might have said of some, `sync.csv` which takes overlap.
    """
    head = ("take", "start_s", "end_s", "label")
    heard = {take.name: scenes[take.name].calls for take in TAKES if take.tracks != "none"}
    truth = [row for name, calls in heard.items() for row in _rows(name, calls)]
    noise = [row for take in TAKES for row in _rows(take.name, scenes[take.name].noise)]
    return {
        "truth.csv": [head, *truth],
        "noise.csv": [head, *noise],
        "labels.csv": [head, *_labels(heard, seed)],
        "sync.csv": [("take_a", "take_b", "offset_s", "clock_ppm"), *_overlaps()],
    }


def _rows(name: str, heard: Iterable[Heard]) -> list[tuple[str, ...]]:
    return [(name, f"{h.start_s:.3f}", f"{h.end_s:.3f}", h.label) for h in heard]


def _labels(calls: dict[str, list[Heard]], seed: int) -> list[tuple[str, ...]]:
    """Label as a person does: some of the calls, edges a few hundredths of a second off."""
    rng = np.random.default_rng((seed, zlib.crc32(b"labels")))
    labels = list[tuple[str, float, float, str]](LABELLED_OTHER)
    for name, kind, which in LABELLED_CALLS:
        same = [call for call in calls[name] if call.label == kind.label]
        for index in which:
            early_s, late_s = rng.uniform(-0.01, 0.03, 2)
            call = same[index]
            labels.append((name, max(0.0, call.start_s - early_s), call.end_s + late_s, call.label))
    return [(name, f"{a:.2f}", f"{b:.2f}", label) for name, a, b, label in sorted(labels)]


def _overlaps() -> list[tuple[str, ...]]:
    """List the pairs of one moment: where b starts in a, and how much faster its clock runs."""
    return [
        (a.name, b.name, f"{b.offset_s - a.offset_s:.3f}", f"{b.clock_ppm - a.clock_ppm:.0f}")
        for a in TAKES
        for b in TAKES
        if a.moment == b.moment and a.offset_s < b.offset_s
    ]


if __name__ == "__main__":
    sys.exit(main())
