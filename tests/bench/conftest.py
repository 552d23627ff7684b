"""What speed and memory are measured on: takes as a camera would write them, made on the spot.

Two minutes are made (air, gusts, an engine that passes, a call every five seconds or so) and
encoded once; longer takes repeat their packets, which cost a decoder, and calltag, the same as
other sound would.
"""

from __future__ import annotations

import heapq
import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
import scipy.signal

RATE_HZ = 48_000
LOOP_S = 120
AAC_SAMPLES = 1024
FPS = 25
CHUNK_US = "500000"  # cameras put half a second of sound between the pictures
ROOT = Path(__file__).resolve().parents[2]
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")

rows: list[tuple[str, str, str]] = []


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Print what was measured as a small table."""
    if rows:
        terminalreporter.section("measured here, in one run, on one core")
        for what, measured, aim in rows:
            terminalreporter.write_line(f"{what:<58} {measured:>12}   {aim}")


@pytest.fixture
def note() -> Callable[[str, str, str], None]:
    """Put a line into the table: what, measured, aim."""
    return lambda what, measured, aim: rows.append((what, measured, aim))


def shoot(seed: int = 1) -> np.ndarray:
    """Two minutes in stereo: air, gusts, an engine, and calls."""
    rng = np.random.default_rng(seed)
    n = LOOP_S * RATE_HZ
    t = np.arange(n) / RATE_HZ
    sound = 0.02 * scipy.signal.lfilter([0.05], [1, -0.9], rng.standard_normal((2, n)))
    low = scipy.signal.butter(2, 150, fs=RATE_HZ, output="sos")
    gusts = np.maximum(0, np.sin(2 * np.pi * t / 17)) ** 3
    sound += 0.3 * gusts * scipy.signal.sosfilt(low, rng.standard_normal((2, n)))
    passing = np.exp(-(((t - 70) / 12) ** 2))
    sound += 0.03 * passing * sum(np.sin(2 * np.pi * 47 * k * t) / k for k in range(1, 20))
    at_s = 1.0
    while at_s < LOOP_S - 3:
        length_s = rng.uniform(0.15, 1.2)
        local = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
        cycles = rng.uniform(1500, 5000) * local + rng.uniform(-800, 800) * local**2 / length_s
        call = np.sin(2 * np.pi * cycles) + 0.4 * np.sin(4 * np.pi * cycles)
        if rng.random() < 0.5:
            call *= np.sin(np.pi * rng.uniform(8, 25) * local) ** 2  # a trill
        call *= np.hanning(len(call)) * rng.uniform(0.01, 0.1)
        first = round(at_s * RATE_HZ)
        sound[:, first : first + len(call)] += call * [[1.0], [0.8]]
        at_s += length_s + rng.uniform(1, 8)
    return np.clip(sound, -1, 1).astype(np.float32)


def _aac(out: av.container.OutputContainer, sound: np.ndarray) -> tuple[Any, list[bytes]]:
    """A stream of AAC at 192 kb/s, and the packets of a sound."""
    stream = out.add_stream("aac", rate=RATE_HZ)
    stream.layout = "stereo"
    stream.bit_rate = 192_000
    packets = []
    for first in range(0, sound.shape[1], AAC_SAMPLES):
        piece = np.ascontiguousarray(sound[:, first : first + AAC_SAMPLES])
        frame = av.AudioFrame.from_ndarray(piece, format="fltp", layout="stereo")
        frame.sample_rate = RATE_HZ
        frame.pts = first
        packets += stream.encode(frame)
    return stream, [bytes(packet) for packet in packets + stream.encode(None)]


def _packet(stream: Any, data: bytes, at: int, length: int, clock_hz: int) -> av.Packet[Any]:
    packet = av.Packet(data)
    packet.stream = stream
    packet.pts = packet.dts = at
    packet.duration = length
    packet.time_base = Fraction(1, clock_hz)
    packet.is_keyframe = True
    return packet


def _sound_packets(stream: Any, data: list[bytes], seconds: float) -> Iterator[av.Packet[Any]]:
    for i in range(round(seconds * RATE_HZ / AAC_SAMPLES)):
        yield _packet(stream, data[i % len(data)], i * AAC_SAMPLES, AAC_SAMPLES, RATE_HZ)


@pytest.fixture(scope="session")
def sound() -> np.ndarray:
    return shoot()


@pytest.fixture(scope="session")
def take_of(tmp_path_factory, sound) -> Callable[[float], Path]:
    """A maker of takes of so many minutes, AAC at 192 kb/s in stereo, without picture."""
    folder = tmp_path_factory.mktemp("takes")

    def make(minutes: float) -> Path:
        path = folder / f"take_{minutes:g}.m4a"
        if not path.exists():
            with av.open(str(path), "w") as out:
                stream, data = _aac(out, sound)
                for packet in _sound_packets(stream, data, 60 * minutes):
                    out.mux(packet)
        return path

    return make


@pytest.fixture(scope="session")
def heavy_clip_of(tmp_path_factory, sound) -> Callable[[int], Path]:
    """A maker of clips with AAC and a picture that no codec can shrink, at some 100 Mb/s."""
    folder = tmp_path_factory.mktemp("heavy")
    rng = np.random.default_rng(3)
    images = rng.integers(0, 256, (4, 576, 1056, 3), dtype=np.uint8)

    def make(seconds: int) -> Path:
        path = folder / f"A{seconds:03}.mp4"
        with av.open(str(path), "w", options={"chunk_duration": CHUNK_US}) as out:
            picture = out.add_stream("mpeg4", rate=FPS)
            picture.width, picture.height, picture.pix_fmt = 1056, 576, "yuv420p"
            picture.gop_size, picture.bit_rate = 1, 100_000_000
            pictures = []
            for i, image in enumerate(images):
                frame = av.VideoFrame.from_ndarray(image, format="rgb24").reformat(format="yuv420p")
                frame.pts = i
                pictures += picture.encode(frame)
            data = [bytes(packet) for packet in pictures + picture.encode(None)]
            stream, aac = _aac(out, sound[:, : seconds * RATE_HZ])
            shown = (_packet(picture, data[i % len(data)], i, 1, FPS) for i in range(seconds * FPS))
            heard = _sound_packets(stream, aac, seconds)
            for packet in heapq.merge(
                shown, heard, key=lambda packet: packet.pts * packet.time_base
            ):
                out.mux(packet)
        assert path.stat().st_size > 0.8 * 100e6 / 8 * seconds
        return path

    return make


@pytest.fixture
def alone() -> Callable[..., dict[str, Any]]:
    """Run a program of this folder in a process of its own, one thread each; its findings."""

    def run(program: str, *arguments: object) -> dict[str, Any]:
        done = subprocess.run(
            [sys.executable, str(Path(__file__).with_name(program)), *map(str, arguments)],
            env={**os.environ, **dict.fromkeys(THREADS, "1"), "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
        return found

    return run
