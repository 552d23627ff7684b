"""Animals that answer each other: how many of their calls are finds of their own.

`python tests/reference/in_turns.py RECORDINGS` plants the calls listed in `elsewhere.csv` (see
`elsewhere.py`), two animals in turn, in the noise listed there; without RECORDINGS, invented calls
in invented noise. Two to five calls of at most 2 s follow each other at 0.03 to 0.45 s, then it is
calm for 1.5 to 4 s; each animal is 8 to 25 dB over the noise in its own band. A call is a find of
its own where both overlap in half of what they cover together; a find is mixed where it covers half
of a call of each animal. With `--alone` one animal calls in place of two: what is parted then, is
one call too many.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soundfile as sf

from calltag.arrays import FloatArray
from calltag.learn.finding.finder import Finder
from calltag.learn.labels.sameness import common_s
from calltag.learn.starter.bank import NOISE_MAKERS
from calltag.learn.starter.recordings import load_recordings
from calltag.learn.starter.sounding import active_frames
from calltag.learn.starter.synth_calls import phrase
from calltag.media.probe import probe
from calltag.records.label import LIKELY
from calltag.records.span import Span
from calltag.sound.runs import runs
from calltag.sound.spectrum import FRAMES_PER_S, HOP, RATE_HZ

SOURCES = Path(__file__).with_name("elsewhere.csv")
BACKGROUNDS = ("air", "water", "machine")
SCENE_S = 60
_LONGEST_S, _CALM_S = 2.0, 10.0
_FADE = RATE_HZ // 100


class Turn(NamedTuple):
    """A call in a scene, and which of the two animals it is of."""

    span: Span
    animal: int


class Counts(NamedTuple):
    """Calls, those of them that are finds of their own, finds, and those of them that are mixed."""

    calls: int
    own: int
    finds: int
    mixed: int


def one_call(sound: FloatArray) -> FloatArray:
    """The longest stretch of a recording in which it sounds, up to `_LONGEST_S`."""
    first, last = max(runs(active_frames(sound)), key=lambda run: run[1] - run[0])
    call = sound[first * HOP : last * HOP][: round(_LONGEST_S * RATE_HZ)].copy()
    n = min(_FADE, len(call) // 4)
    call[:n] *= np.linspace(0, 1, n, dtype=np.float32)
    call[len(call) - n :] *= np.linspace(1, 0, n, dtype=np.float32)
    return call


def scene(
    rng: np.random.Generator, calls: Sequence[FloatArray], noise: FloatArray, *, alone: bool
) -> tuple[FloatArray, list[Turn]]:
    """Plant calls of pairs of animals in a noise."""
    sound, turns = noise.copy(), list[Turn]()
    at_s = rng.uniform(1, 2)
    while at_s < len(sound) / RATE_HZ - _CALM_S:
        pair = [calls[i] for i in rng.permutation(len(calls))[:2]]
        snr_db = rng.uniform(8, 25, 2)
        for turn in range(int(rng.integers(2, 6))):
            animal = 0 if alone else turn % 2
            call, first = pair[animal], round(at_s * RATE_HZ)
            room = sound[first : first + len(call)]
            if len(room) < len(call):
                break
            gain = 10 ** (snr_db[animal] / 20) * _rms_in_band(room, call) / _rms_in_band(call, call)
            room += np.float32(gain) * call
            turns.append(Turn(Span(at_s, at_s + len(call) / RATE_HZ), animal))
            at_s += len(call) / RATE_HZ + rng.uniform(0.03, 0.45)
        at_s += rng.uniform(1.5, 4)
    return sound * np.float32(0.5 / np.abs(sound).max()), turns


def _rms_in_band(sound: FloatArray, call: FloatArray) -> float:
    """Level of a sound where nine tenths of a call's energy lie."""
    share = np.cumsum(np.abs(np.fft.rfft(call)) ** 2)
    low, high = np.searchsorted(share, [0.05 * share[-1], 0.95 * share[-1]])
    energy = np.abs(np.fft.rfft(sound)[low : high + 1]) ** 2
    return float(np.sqrt(energy.sum()) + 1e-9)


def count(found: Sequence[Span], turns: Sequence[Turn]) -> Counts:
    """Hold finds against the calls of a scene."""

    def of_both(call: Span, find: Span) -> float:
        common = common_s(call, find)
        return common / (call.length_s + find.length_s - common)

    own = sum(any(of_both(turn.span, find) >= 0.5 for find in found) for turn in turns)
    mixed = sum(
        len({t.animal for t in turns if common_s(t.span, find) > t.span.length_s / 2}) > 1
        for find in found
    )
    return Counts(len(turns), own, len(found), mixed)


def measure(
    finder: Finder,
    folder: Path,
    rng: np.random.Generator,
    calls: Sequence[FloatArray],
    noises: Sequence[FloatArray],
    *,
    alone: bool = False,
) -> Counts:
    """Make a scene of each noise, listen to it through the whole finder, and count."""
    total = Counts(0, 0, 0, 0)
    for noise in noises:
        samples, turns = scene(rng, calls, noise, alone=alone)
        path = folder / "scene.wav"
        sf.write(path, samples, RATE_HZ, subtype="PCM_16")
        found = finder.analyse(path, probe(path)).calls
        likely = [call.span for call in found if call.call_probability >= LIKELY]
        total = Counts(*(a + b for a, b in zip(total, count(likely, turns), strict=True)))
    return total


def invented(
    rng: np.random.Generator, n_calls: int, n_noises: int, *, length_s: int = SCENE_S
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Calls, and noises of `length_s`, that no recording is needed for."""
    calls = []
    while len(calls) < n_calls:
        made = phrase(rng)
        if active_frames(made).sum() > FRAMES_PER_S // 10:
            calls.append(one_call(made))
    makers = [NOISE_MAKERS[kind][0] for kind in ("air", "water")]
    noises = [
        np.float32(0.05) * makers[i % len(makers)](rng, length_s * RATE_HZ) for i in range(n_noises)
    ]
    return calls, noises


def _recorded(
    rng: np.random.Generator, folder: Path, n_noises: int
) -> tuple[list[FloatArray], list[FloatArray]]:
    recordings = load_recordings(SOURCES, folder)
    calls = [one_call(each.samples) for each in recordings if each.kind == "call"]
    noises = []
    for i in range(n_noises):
        kind = BACKGROUNDS[i % len(BACKGROUNDS)]
        of_kind = [each.samples for each in recordings if each.kind == kind]
        n = SCENE_S * RATE_HZ
        noise = NOISE_MAKERS["air"][0](rng, n) * np.float32(0.03)
        if of_kind:
            noise += np.resize(of_kind[int(rng.integers(len(of_kind)))], n)
        noises.append(np.float32(0.05) * noise)
    return calls, noises


def main() -> None:
    """Make scenes, listen, count, print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("recordings", type=Path, nargs="?")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--scenes", type=int, default=24)
    parser.add_argument("--alone", action="store_true", help="one animal, not two")
    arguments = parser.parse_args()
    rng = np.random.default_rng(arguments.seed)
    if arguments.recordings:
        calls, noises = _recorded(rng, arguments.recordings, arguments.scenes)
    else:
        calls, noises = invented(rng, 60, arguments.scenes)
    with tempfile.TemporaryDirectory() as folder:
        counts = measure(Finder.load(), Path(folder), rng, calls, noises, alone=arguments.alone)
    print(f"{counts}: {counts.own / counts.calls:.3f} are finds of their own")


if __name__ == "__main__":
    main()
