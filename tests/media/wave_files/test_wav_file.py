"""The chunks of wave files, however spoilt."""

from __future__ import annotations

import struct
import tracemalloc

import pytest

from calltag.media.wave_files.bext import read_bext
from calltag.media.wave_files.wav_file import announced_bytes, iter_chunks

FMT = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, 48_000, 96_000, 2, 16)
DS64 = struct.pack("<4sIQQQI", b"ds64", 28, 0, 0, 0, 0)
LIST = struct.pack("<4sI", b"LIST", 5) + b"INFO?\0"


@pytest.mark.parametrize(
    ("head", "stated", "rest", "size"),
    [
        (b"", 0, b"\x01\x80" * 500, 1000),  # a recorder that lost power
        (b"", 0, bytes(1000), 1000),
        (b"", 0, b"AB\0\0" * 250, 1000),
        (b"", 0, b"ABCD\x08\0\0\0" * 125, 1000),
        (b"", 0, b"\x01\x80", 2),
        (b"", 0xFFFFFFFF, b"\x01\x80" * 500, 1000),  # written to a pipe
        (b"", 0xFFFFFFFF, LIST, len(LIST)),
        (DS64, 0xFFFFFFFF, b"\x01\x80" * 500, 1000),
        (b"", 0, b"", 0),  # nothing recorded
        (b"", 0, LIST, 0),
        (b"", 0, LIST[:-1], 0),
        (b"", 0, LIST + LIST, 0),
        (DS64, 0xFFFFFFFF, LIST, 0),
    ],
)
def test_sound_of_unknown_length_goes_on_to_the_end(tmp_path, head, stated, rest, size):
    path = tmp_path / "a.wav"
    start = b"RF64" if head else b"RIFF"
    content = head + FMT + struct.pack("<4sI", b"data", stated) + rest
    path.write_bytes(start + struct.pack("<I4s", 0, b"WAVE") + content)
    chunks = list(iter_chunks(path))
    (data,) = (chunk for chunk in chunks if chunk.name == "data")
    assert (data.offset, data.size) == (path.stat().st_size - len(rest), size)
    behind = (LIST, LIST[:-1], LIST + LIST).index(rest) // 2 + 1 if not size and rest else 0
    assert [chunk.name for chunk in chunks[chunks.index(data) + 1 :]] == ["LIST"] * behind


@pytest.mark.parametrize(
    ("spoilt", "names"),
    [
        (DS64[:18], ["ds64"]),  # the copy ended there
        (
            struct.pack("<4sIQQQI", b"ds64", 28, *[2**64 - 1] * 3, 0)
            + FMT
            + struct.pack("<4sI", b"data", 0xFFFFFFFF)
            + bytes(8),
            ["ds64", "fmt ", "data"],
        ),
    ],
)
def test_a_spoilt_head_ends_the_walk_and_nothing_else(tmp_path, spoilt, names):
    path = tmp_path / "a.wav"
    path.write_bytes(b"RF64\xff\xff\xff\xffWAVE" + spoilt)
    assert [chunk.name for chunk in iter_chunks(path)] == names
    assert read_bext(path) is None
    assert announced_bytes(path) is None


def test_a_chunk_with_a_spoilt_size_takes_no_more_memory_than_the_file(tmp_path):
    path = tmp_path / "a.wav"
    spoilt = struct.pack("<4sI", b"bext", 0xFFFFFFF0) + bytes(700)
    path.write_bytes(b"RIFF" + struct.pack("<I4s", 0, b"WAVE") + spoilt)
    assert [(chunk.name, chunk.size) for chunk in iter_chunks(path)] == [("bext", 700)]
    tracemalloc.start()
    try:
        assert read_bext(path) is not None
        _, peak_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak_bytes < 1_000_000
