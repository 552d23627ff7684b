"""Programs that tests/bench runs in a process of their own; each prints its findings as JSON.

`python measure.py cost TAKE`, `librosa TAKE`, `memory TAKE` or `reading TAKE`. Times are processor
time, so that other work on the computer counts for little, and medians of several rounds in which
what is compared takes turns.
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np

from calltag.learn.finding.finder import Finder
from calltag.media.probe import probe
from calltag.media.sound_blocks.reader import read_blocks

ROUNDS = 5


def decode(path: Path, threads: str) -> None:
    """Decode the sound with PyAV and do nothing with it."""
    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        stream.thread_type = threads
        for _ in container.decode(stream):
            pass


def log(finder: Finder, path: Path) -> int:
    """What logging does with a clip."""
    return len(finder.analyse(path, probe(path)).calls)


def by_librosa(path: Path) -> None:
    """The measurements that logging takes of every frame, each by the library's own function."""
    import librosa

    sound = np.concatenate([block[0] for block in read_blocks(path)])
    frames = {"n_fft": 2048, "hop_length": 480}
    librosa.feature.melspectrogram(y=sound, sr=48_000, n_mels=64, **frames)
    librosa.feature.mfcc(y=sound, sr=48_000, n_mfcc=20, n_mels=64, **frames)
    librosa.feature.spectral_contrast(y=sound, sr=48_000, **frames)
    librosa.feature.spectral_flatness(y=sound, **frames)
    librosa.feature.spectral_rolloff(y=sound, sr=48_000, **frames)
    librosa.feature.spectral_centroid(y=sound, sr=48_000, **frames)
    librosa.onset.onset_strength(y=sound, sr=48_000, n_mels=64, **frames)


def in_turns(rounds: int, **works: Callable[[], object]) -> dict[str, float]:
    """Median processor seconds of each work, done in turns after one round to warm up."""
    seconds: dict[str, list[float]] = {name: [] for name in works}
    for i in range(rounds + 1):
        for name, work in works.items():
            began = time.process_time()
            work()
            if i:
                seconds[name].append(time.process_time() - began)
    return {name: statistics.median(taken) for name, taken in seconds.items()}


def bytes_read() -> int:
    """Bytes that this process has read so far, from the disk or from the system's cache."""
    lines = Path("/proc/self/io").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("rchar")).split()[1])


def peak_mb() -> float:
    """Most memory that this program held; the system's own figure includes its parent's."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 2**20


def main(what: str, path: Path) -> dict[str, float]:
    """Measure one thing."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    finder = Finder.load()
    if what == "cost":
        return {
            **in_turns(
                ROUNDS,
                decode=lambda: decode(path, "NONE"),
                decode_threads=lambda: decode(path, "AUTO"),
                log=lambda: log(finder, path),
            ),
            "calls": log(finder, path),
        }
    if what == "librosa":
        return in_turns(2, log=lambda: log(finder, path), librosa=lambda: by_librosa(path))
    if what == "memory":
        return {"calls": log(finder, path), "peak_mb": peak_mb()}
    assert what == "reading", what
    with av.open(str(path)) as container:
        sound = container.streams.audio[0]
        size = sum(packet.size for packet in container.demux(sound))
    before = bytes_read()
    log(finder, path)
    return {"read": bytes_read() - before, "sound": size, "file": path.stat().st_size}


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1], Path(sys.argv[2]))))
