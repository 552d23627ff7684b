"""All formats, at every rate: what independent readers find is the same frame, to the frame."""

from __future__ import annotations

import csv
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import opentimelineio as otio
import pytest
from otio_cmx3600_adapter import cmx_3600

from calltag.edit.formats import WriteOptions, all_formats
from calltag.edit.markers import TakeMarkers, from_log, place
from calltag.media.timing.timecode import Rate
from calltag.records.found import TakeLog

from ..conftest import RATES, make_call, make_take

START = "22:58:59"
HOURS = 1.0
N_CALLS = 100


def timeline(path: Path, rate: Rate) -> list[tuple[int, int]]:
    content = otio.adapters.read_from_file(str(path))
    (clip,) = content.find_clips()
    spans = [m.marked_range for m in clip.markers]
    start = clip.available_range().start_time
    return [((s.start_time - start).value, (s.end_time_exclusive() - start).value) for s in spans]


def edit_list(path: Path, rate: Rate) -> list[tuple[int, int]]:
    content = cmx_3600.read_from_string(path.read_text("ascii"), rate=float(rate.fps))
    spans = [clip.source_range for clip in content.tracks[0].find_clips()]
    start = label_frame(rate)
    return [(s.start_time.value - start, s.end_time_exclusive().value - start) for s in spans]


def table(path: Path, rate: Rate) -> list[tuple[int, int]]:
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return [
        tuple(
            otio.opentime.from_timecode(row[cell], float(rate.fps)).value - label_frame(rate)
            for cell in ("start_tc", "end_tc")
        )
        for row in rows
    ]


def table_in_seconds(path: Path, rate: Rate) -> list[tuple[int, int]]:
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return [
        tuple(int(Fraction(row[cell]) * rate.fps + Fraction(1, 2)) for cell in ("start_s", "end_s"))
        for row in rows
    ]


def text_track(folder: Path, rate: Rate) -> list[tuple[int, int]]:
    (path,) = folder.rglob("*.vtt")
    with av.open(str(path)) as container:
        packets = [p for p in container.demux(subtitles=0) if p.size]
    spans = [(p.pts, p.pts + p.duration) for p in packets]
    return [
        tuple(int(Fraction(ms, 1000) * rate.fps + Fraction(1, 2)) for ms in span) for span in spans
    ]


READERS: dict[str, tuple[str, Callable[[Path, Rate], list[tuple[int, int]]]]] = {
    "OpenTimelineIO": ("otio", timeline),
    "CMX 3600 adapter": ("edl", edit_list),
    "csv module, timecode by opentime": ("csv", table),
    "csv module, seconds": ("csv", table_in_seconds),
    "FFmpeg": ("webvtt", text_track),
}


def label_frame(rate: Rate) -> int:
    label = f"{START}{';' if rate.drop else ':'}20"
    return int(otio.opentime.from_timecode(label, float(rate.fps)).value)


def marked_hour(rate: Rate) -> TakeMarkers:
    """A take of an hour that goes on to within a second of midnight, with calls all over it."""
    rng = np.random.default_rng(int(rate.fps) + rate.drop)
    starts = np.sort(rng.uniform(0, HOURS * 3600 - 6, N_CALLS))
    lengths = rng.uniform(0.06, 5, N_CALLS)
    calls = [make_call(float(s), float(s + d)) for s, d in zip(starts, lengths, strict=True)]
    label = f"{START}{';' if rate.drop else ':'}20"
    take = make_take(rate=rate, duration_s=HOURS * 3600, start_tc=label)
    return from_log(TakeLog(take=take, calls=tuple(calls)))


@pytest.mark.parametrize("rate", RATES, ids=str)
@pytest.mark.parametrize("reader", READERS)
def test_largest_error_in_frames_is_zero(tmp_path, reader, rate):
    name, read = READERS[reader]
    writer = all_formats()[name]
    marked = marked_hour(rate)
    out = tmp_path / ("out" if writer.PER_TAKE else f"out{writer.SUFFIX}")
    writer.write([marked], out, WriteOptions())
    found = np.array(read(out, rate))
    expected = np.array([(first, end) for _, first, end in place(marked)])
    assert found.shape == expected.shape == (N_CALLS, 2)
    assert np.abs(found - expected).max() == 0
    # And no frame begins further from the call than half a frame, and half a millisecond.
    seconds = np.array([(p.marker.start_s, p.marker.end_s) for p in place(marked)])
    assert np.abs(expected - seconds * float(rate.fps)).max() <= 0.5 + 0.0005 * float(rate.fps)
