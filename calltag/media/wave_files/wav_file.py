"""Wave files read: which chunks they hold and where, without reading the sound.

A file that outgrows 32-bit sizes is RF64 (EBU Tech 3306) and states its true sizes in a `ds64`
chunk. Numbers are little-endian; chunks begin at even offsets.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

from calltag.errors import MediaError
from calltag.media.unreadable import NEVER_STATED

IN_DS64 = 0xFFFFFFFF
"""Size stated where the true one is in `ds64`; without a `ds64`, by what writes to a pipe."""


class Chunk(NamedTuple):
    """Where a chunk of a wave file lies: its four letters, offset of its content, size in bytes."""

    name: str
    offset: int
    size: int


def iter_chunks(path: Path) -> Iterator[Chunk]:
    """Walk the chunks of a RIFF, RF64 or BW64 wave file without reading their content.

    Parameters
    ----------
    path : Path
        The file.

    Yields
    ------
    Chunk
        Each chunk of the file, in order, none beyond the file's end but `data`: that has the size
        that is stated, or goes on to the end where the recorder was stopped before it stated one.

    Raises
    ------
    MediaError
        If the file is no wave file.
    """
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] not in (b"RIFF", b"RF64", b"BW64") or head[8:] != b"WAVE":
            raise MediaError(path, "this is no wave file; name a .wav file")
        length = path.stat().st_size
        long_data: int | None = None
        while len(head := file.read(8)) == 8:
            name, size = struct.unpack("<4sI", head)
            offset = file.tell()
            if name == b"ds64" and len(sizes := file.read(16)) == 16:
                long_data = struct.unpack("<QQ", sizes)[1]
            if name == b"data":
                stated = long_data if size == IN_DS64 else size
                size = _data_bytes(file, offset, stated)
            else:
                size = min(size, length - offset)  # whoever reads it makes room for so much
            yield Chunk(name.decode("latin-1"), offset, size)
            if offset + size >= length:  # a spoilt size may lie beyond what any file can have
                return
            file.seek(offset + size + size % 2)


def announced_bytes(path: Path) -> tuple[int, int] | None:
    """Tell how long a wave file says that it is, where it is shorter.

    Parameters
    ----------
    path : Path
        Any file.

    Returns
    -------
    tuple of int and int, or None
        Bytes up to the end that it states for its sound, and bytes that are there; None where these
        agree, no length is stated, or the file is no wave file.
    """
    try:
        chunks = [chunk for chunk in iter_chunks(path) if chunk.name == "data"]
    except MediaError:
        return None
    there = path.stat().st_size
    ends = [chunk.offset + chunk.size for chunk in chunks if chunk.size < NEVER_STATED]
    return (ends[0], there) if ends and ends[0] > there else None


def _data_bytes(file: BinaryIO, offset: int, stated: int | None) -> int:
    """True size of a `data` chunk of which a size, none, or 0 for one not yet known is stated."""
    length = file.seek(0, 2)
    if stated is None or (stated == 0 and not _chunks_follow(file, offset, length)):
        return length - offset
    return stated


def _chunks_follow(file: BinaryIO, at: int, length: int) -> bool:
    """Tell whether all that follows is chunks, the last of which ends where the file does."""
    while at + 8 <= length:
        file.seek(at)
        name, size = struct.unpack("<4sI", file.read(8))
        if not all(0x20 <= letter < 0x7F for letter in name):
            return False
        at += 8 + size + size % 2
    return at in (length, length + 1)  # the last may lack the byte that makes it even


def read_chunk(path: Path, name: str) -> bytes | None:
    """Read the content of a chunk.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Four letters.

    Returns
    -------
    bytes or None
        The content of the first chunk of this name; None where there is none.

    Raises
    ------
    MediaError
        If the file is no wave file.
    """
    for chunk in iter_chunks(path):
        if chunk.name == name:
            with path.open("rb") as file:
                file.seek(chunk.offset)
                return file.read(chunk.size)
    return None
