"""A take's identity: the same when moved, another when the content is another."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from calltag.errors import MediaError
from calltag.media.identity import PIECE_BYTES, PIECES, digest

SMALL = 5_000
LARGE = 5_000_000


def content(size: int) -> bytearray:
    return bytearray(np.random.default_rng(size).bytes(size))


@pytest.mark.parametrize("size", [0, 1, SMALL, PIECE_BYTES * PIECES, LARGE])
def test_moving_keeps_it(tmp_path, size):
    path = tmp_path / "a.mov"
    path.write_bytes(content(size))
    before = digest(path)
    moved = path.rename(tmp_path / "other name.MOV")
    assert digest(moved) == before
    assert len(before) == 32


@pytest.mark.parametrize("at", [0, 20_000, -1, -20_000])
@pytest.mark.parametrize("size", [SMALL * 10, LARGE])
def test_another_beginning_or_end_is_another_take(tmp_path, size, at):
    path = tmp_path / "a.mov"
    data = content(size)
    path.write_bytes(data)
    before = digest(path)
    data[at] ^= 1
    path.write_bytes(data)
    assert digest(path) != before


def test_another_length_is_another_take(tmp_path):
    for n in (1, 2):
        (tmp_path / f"{n}.mov").write_bytes(bytes(LARGE + n))
    assert digest(tmp_path / "1.mov") != digest(tmp_path / "2.mov")


def test_two_recordings_of_the_same_length_differ(tmp_path, make_clip):
    paths = []
    for i in range(2):
        sound = np.random.default_rng(i).normal(0, 0.1, (1, 96_000))
        paths.append(
            make_clip(tmp_path / f"{i}.wav", fps=None, samples=sound, audio_codec="pcm_s16le")
        )
    assert paths[0].stat().st_size == paths[1].stat().st_size
    assert digest(paths[0]) != digest(paths[1])


def test_a_huge_file_costs_320_kb_of_reading(tmp_path, monkeypatch):
    path = tmp_path / "huge.mov"
    with path.open("wb") as file:
        file.truncate(40_000_000_000)  # holds nothing, takes no room
    read = []
    whole_open = Path.open

    class Counting:
        def __init__(self, file):
            self._file = file

        def __enter__(self):
            return self

        def __exit__(self, *_):
            self._file.close()

        def seek(self, to):
            return self._file.seek(to)

        def read(self, n=-1):
            data = self._file.read(n)
            read.append(len(data))
            return data

    monkeypatch.setattr(Path, "open", lambda self, mode: Counting(whole_open(self, mode)))
    digest(path)
    assert sum(read) == PIECES * PIECE_BYTES <= 330_000


def test_it_is_blake2b_of_size_and_content(tmp_path):
    # RFC 7693 through the standard library; pins the identity, which logs keep.
    path = tmp_path / "a.mov"
    path.write_bytes(b"Ashmere")
    expected = hashlib.blake2b(digest_size=16, person=b"calltag take 1")
    expected.update((7).to_bytes(8, "little") + b"Ashmere")
    assert digest(path) == expected.hexdigest()


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(MediaError, match=r"gone\.mov: could not be read"):
        digest(tmp_path / "gone.mov")
