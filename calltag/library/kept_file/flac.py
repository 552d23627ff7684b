"""What a FLAC file says beside its sound: Vorbis comments and a cue sheet (RFC 9639).

The sound itself is written and read by soundfile. Its metadata blocks are made here, since a cue
sheet and comments of any name are beyond what it writes.

References
----------
.. [1] M. van Beurden, A. Weaver, RFC 9639, "Free Lossless Audio Codec (FLAC)", 2024, sections 8.6
   (Vorbis comment) and 8.7 (cuesheet).
"""

from __future__ import annotations

import io
import struct
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import BinaryIO, NamedTuple

from calltag.errors import MediaError

FROM_COPY = "take it from a copy of the library"
"""What to do where a kept call's file is damaged."""

_MARK = b"fLaC"
_STREAMINFO, _COMMENT, _CUESHEET, _SEEKTABLE = 0, 4, 5, 3
_LAST = 0x80
_SHEET_HEAD = struct.Struct(">128sQB258xB")
_TRACK = struct.Struct(">QB12sB13xB")
_INDEX = struct.Struct(">QB3x")
_LEAD_OUT = 255


class _Block(NamedTuple):
    kind: int
    content: bytes


def with_metadata(
    encoded: bytes, comments: Mapping[str, str], cues: Sequence[int], n_samples: int
) -> bytes:
    """Put comments and a cue sheet into a FLAC file.

    Parameters
    ----------
    encoded : bytes
        The file as it was encoded.
    comments : mapping of str to str
        Texts by their field names.
    cues : sequence of int
        Samples that points of the cue sheet lie at, in order.
    n_samples : int
        Length of the sound.

    Returns
    -------
    bytes
        The file; its sound as it was.
    """
    file = io.BytesIO(encoded)
    blocks = _blocks(file)
    vendor = next((_vendor(one.content) for one in blocks if one.kind == _COMMENT), b"calltag")
    kept = [one for one in blocks if one.kind in (_STREAMINFO, _SEEKTABLE)]
    kept += [
        _Block(_COMMENT, _packed_comments(vendor, comments)),
        _Block(_CUESHEET, _packed_cues(cues, n_samples)),
    ]
    heads = [one.kind for one in kept]
    heads[-1] |= _LAST
    body = b"".join(
        bytes([head]) + len(one.content).to_bytes(3, "big") + one.content
        for head, one in zip(heads, kept, strict=True)
    )
    return _MARK + body + file.read()


def read_comments(path: Path) -> dict[str, str]:
    """Read the Vorbis comments of a FLAC file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    dict of str to str
        Texts by field name in capitals; of several of one name, the first.

    Raises
    ------
    MediaError
        If the file is no FLAC file, or is cut off.
    """
    found: dict[str, str] = {}
    try:
        with path.open("rb") as file:
            blocks = _blocks(file)
    except EOFError:
        raise MediaError(path, f"this FLAC file is cut off; {FROM_COPY}") from None
    except ValueError:
        raise MediaError(path, "this is no FLAC file; name a .flac file") from None
    for block in blocks:
        if block.kind == _COMMENT:
            try:
                for line in _lines(block.content):
                    name, _, text = line.partition("=")
                    found.setdefault(name.upper(), text)
            except (struct.error, UnicodeDecodeError):
                raise MediaError(path, f"its comments are damaged; {FROM_COPY}") from None
    return found


def _blocks(file: BinaryIO) -> list[_Block]:
    """Read the metadata; what follows in the file is the sound.

    A file that begins otherwise is a ValueError, one that ends within it an EOFError.
    """
    if file.read(len(_MARK)) != _MARK:
        raise ValueError("no FLAC file")
    blocks, last = [], False
    while not last:
        head = file.read(4)
        size = int.from_bytes(head[1:], "big")
        content = file.read(size)
        if len(head) < 4 or len(content) < size:
            raise EOFError
        last = bool(head[0] & _LAST)
        blocks.append(_Block(head[0] & ~_LAST, content))
    return blocks


def _vendor(content: bytes) -> bytes:
    size = int.from_bytes(content[:4], "little")
    return content[4 : 4 + size]


def _lines(content: bytes) -> list[str]:
    at = 4 + int.from_bytes(content[:4], "little")
    (count,) = struct.unpack_from("<I", content, at)
    at += 4
    lines = []
    for _ in range(count):
        (size,) = struct.unpack_from("<I", content, at)
        lines.append(content[at + 4 : at + 4 + size].decode("utf-8"))
        at += 4 + size
    return lines


def _packed_comments(vendor: bytes, comments: Mapping[str, str]) -> bytes:
    lines = [f"{name}={text}".encode() for name, text in comments.items() if text]
    parts = [struct.pack("<I", len(vendor)), vendor, struct.pack("<I", len(lines))]
    for line in lines:
        parts += [struct.pack("<I", len(line)), line]
    return b"".join(parts)


def _packed_cues(cues: Sequence[int], n_samples: int) -> bytes:
    parts = [_SHEET_HEAD.pack(b"", 0, 0, len(cues) + 1)]
    for number, at in enumerate(cues, 1):
        parts += [_TRACK.pack(at, number, b"", 0, 1), _INDEX.pack(0, 1)]
    parts.append(_TRACK.pack(n_samples, _LEAD_OUT, b"", 0, 0))
    return b"".join(parts)
