"""Speed and memory: `python -m pytest tests/bench -m bench` measures and prints a table.

Ratios are of one run on one core, so they say something on any computer. The limits that fail leave
room for a busy one; what is aimed at is in the table.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.bench


def test_logging_costs_at_most_a_few_times_what_decoding_costs(alone, take_of, note):
    found = alone("measure.py", "cost", take_of(20))
    ratio = found["log"] / found["decode"]
    a_minute = found["calls"] / 20
    note("decoding 20 minutes of stereo AAC (PyAV, one thread)", f"{found['decode']:.2f} s", "")
    note("  the same with PyAV's own choice of threads", f"{found['decode_threads']:.2f} s", "")
    note(f"logging them, {a_minute:.0f} calls a minute", f"{found['log']:.2f} s", "")
    note("logging over decoding", f"{ratio:.1f}", "aim: at most 4")
    note("logging, times real time", f"{1200 / found['log']:.0f}", "")
    assert 3 < a_minute < 30  # a take without calls would not say much
    assert ratio < 6


def test_logging_is_several_times_as_fast_as_the_same_measurements_by_librosa(alone, take_of, note):
    found = alone("measure.py", "librosa", take_of(4))
    ratio = found["librosa"] / found["log"]
    note("seven librosa features of 4 minutes over logging them", f"{ratio:.1f}", "aim: at least 6")
    assert ratio > 4


def test_two_hours_fit_into_little_memory(alone, take_of, note):
    found = alone("measure.py", "memory", take_of(120))
    note("peak memory, logging a take of two hours", f"{found['peak_mb']:.0f} MB", "aim: under 300")
    assert found["calls"] > 300
    assert found["peak_mb"] < 400


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="counts by /proc of Linux")
def test_the_picture_is_not_read(alone, heavy_clip_of, note):
    short, long = (alone("measure.py", "reading", heavy_clip_of(seconds)) for seconds in (6, 36))
    # To open a clip costs the same however long it is: its index and its first picture, twice.
    opening_mb = (short["read"] - short["sound"]) / 1e6
    ratio = (long["read"] - short["read"]) / (long["sound"] - short["sound"])
    note("read to open a clip of 100 Mb/s", f"{opening_mb:.1f} MB", "")
    note("then bytes read over bytes of sound", f"{ratio:.2f}", "aim: at most 1.3")
    assert opening_mb < 3
    assert ratio < 1.3
    assert long["read"] < long["file"] / 100


def test_a_worker_is_small(alone, tmp_path, make_clip, note):
    found = alone("measure.py", "memory", make_clip(tmp_path / "short.mp4"))
    note("memory of a worker that logs a clip of 2 s", f"{found['peak_mb']:.0f} MB",
         f"Python {sys.version.split()[0]}")  # fmt: skip
    assert found["peak_mb"] < 250
