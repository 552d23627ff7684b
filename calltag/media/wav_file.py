"""Wave files as the edit wants them: 24 bit, with start time, cues and notes, of any length.

Samples are ±1 at full scale, shape (n_channels, n_samples). A file that outgrows 32-bit sizes
becomes RF64 (EBU Tech 3306): room for its `ds64` chunk is kept at the head of every file, as that
document advises, so a length that is not known beforehand costs nothing. Chunks: `bext` (EBU Tech
3285), `cue ` and `LIST`/`adtl` (RIFF, 1991), `LIST`/`INFO`. Numbers are little-endian; chunks begin
at even offsets.
"""

from __future__ import annotations

import struct
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.errors import InputError, MediaError
from calltag.files import written_whole
from calltag.media.opening import NEVER_STATED

DS64_BYTES = 28
"""What RF64 needs at a file's head: riff, data and sample counts (u64 each), table length (u32)."""

_RIFF_LIMIT = 0xFFFFFFFF  # largest size a 32-bit header can state
_IN_DS64 = 0xFFFFFFFF  # stated where the size is in `ds64`; without one by what writes to a pipe
_BEXT = struct.Struct("<256s32s32s10s8sQH64s5h180s")  # EBU Tech 3285, 602 bytes
_NOT_STATED = 0x7FFF  # EBU Tech 3285 version 2: a loudness value that is not given
_BITS = {"PCM_16": 16, "PCM_24": 24, "FLOAT": 32}


ORIGINATOR = "calltag"
"""What the broadcast extension of every wave file says that calltag made of others' sound."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bext:
    """The broadcast extension of a wave file (EBU Tech 3285).

    Text is kept to ASCII, as the document wants; longer text is cut to its field.

    Attributes
    ----------
    description : str
        At most 256 characters.
    originator : str
        What wrote the file, at most 32 characters.
    originator_reference : str
        The originator's own name for the file, at most 32 characters.
    date : str
        ``yyyy-mm-dd``; empty where not known.
    time : str
        ``hh:mm:ss``; empty where not known.
    time_reference : int
        First sample, in samples since midnight.
    loudness_lufs, loudness_range_lu, true_peak_dbtp : float or None
        Version 2 fields, stored to a hundredth; None is stored as not stated.
    history : str
        Coding history: how the sound came to be, one step a line.
    """

    description: str = ""
    originator: str = ORIGINATOR
    originator_reference: str = ""
    date: str = ""
    time: str = ""
    time_reference: int = 0
    loudness_lufs: float | None = None
    loudness_range_lu: float | None = None
    true_peak_dbtp: float | None = None
    history: str = ""


class Cue(NamedTuple):
    """A point or a span in a wave file: `sample` from the file's first, `length` 0 for a point."""

    sample: int
    label: str
    length: int = 0


class Chunk(NamedTuple):
    """Where a chunk of a wave file lies: its four letters, offset of its content, size in bytes."""

    name: str
    offset: int
    size: int


def write_wav(
    path: Path,
    samples: npt.NDArray[Any] | Iterable[npt.NDArray[Any]],
    rate_hz: int,
    *,
    subtype: str = "PCM_24",
    bext: Bext | None = None,
    cues: Sequence[Cue] = (),
    info: Mapping[str, str] | None = None,
    chunks: Mapping[str, bytes] | None = None,
) -> int:
    """Write a wave file in one go or block by block.

    The file appears under its name when it is complete, and not before.

    Parameters
    ----------
    path : Path
        The file to write; an existing one is replaced.
    samples : np.ndarray, or iterable of np.ndarray, shape (n_channels, n_samples) or (n_samples,)
        Floats of ±1 at full scale (what lies above is limited to it), or int16 or int32 samples.
        With an iterable, one block at a time is held in memory.
    rate_hz : int > 0
        Sampling rate.
    subtype : {"PCM_24", "PCM_16", "FLOAT"}
        How samples are stored.
    bext : Bext or None
        Broadcast extension.
    cues : sequence of Cue
        Points and spans, with their labels.
    info : mapping of str to str, or None
        ``LIST``/``INFO`` texts by their four letters, such as ``ICMT`` for a comment.
    chunks : mapping of str to bytes, or None
        Further chunks by their four letters, such as ``axml``; they come last.

    Returns
    -------
    int
        Samples written per channel.

    Raises
    ------
    InputError
        If `subtype` is none of the above, a cue begins before the file does, or the file cannot be
        written; nothing is left behind then.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "reeds.wav"
    ...     n = write_wav(path, np.zeros((2, 480)), 48_000, bext=Bext(time_reference=96_000))
    ...     read_bext(path).time_reference
    96000
    """
    if subtype not in _BITS:
        raise InputError(f"subtype {subtype}: a wave file holds {', '.join(_BITS)}")
    if any(cue.sample < 0 or cue.length < 0 for cue in cues):
        raise InputError(f"{path.name}: a cue begins before the file or ends before it begins")
    blocks = iter([samples] if isinstance(samples, np.ndarray) else samples)
    first = np.atleast_2d(next(blocks, np.zeros((1, 0), np.float32)))
    channels = len(first)

    n_samples = 0
    with written_whole(path) as partial, partial.open("wb") as file:
        file.write(b"RIFF\0\0\0\0WAVE")
        file.write(_chunk(b"JUNK", bytes(DS64_BYTES)))
        if bext is not None:
            file.write(_chunk(b"bext", pack_bext(bext)))
        file.write(_chunk(b"fmt ", _format(channels, rate_hz, subtype)))
        fact_at = None
        if subtype == "FLOAT":
            fact_at = file.tell() + 8
            file.write(_chunk(b"fact", bytes(4)))
        data_at = file.tell() + 8
        file.write(b"data\0\0\0\0")
        for block in chain([first], blocks):
            n_samples += np.atleast_2d(block).shape[1]
            file.write(stored_bytes(np.atleast_2d(block), subtype))
        data_bytes = file.tell() - data_at
        file.write(b"\0" * (data_bytes % 2))
        if cues:
            file.write(pack_cues(cues))
        if info:
            texts = b"".join(_chunk(k.encode("ascii"), _zero_ended(t)) for k, t in info.items())
            file.write(_chunk(b"LIST", b"INFO" + texts))
        for name, content in (chunks or {}).items():
            file.write(_chunk(name.encode("ascii"), content))
        state_sizes(file, data_at, data_bytes, n_samples, fact_at)
    return n_samples


def state_sizes(
    file: BinaryIO, data_at: int, data_bytes: int, n_samples: int, fact_at: int | None = None
) -> None:
    """State the sizes of a wave file that is written to its end, as RF64 where they need it.

    Parameters
    ----------
    file : binary file
        The file, positioned at its end, with a `JUNK` chunk of 28 bytes at its head.
    data_at : int
        Where the content of its `data` chunk begins.
    data_bytes, n_samples : int
        How long that content is, in bytes and in samples per channel.
    fact_at : int or None
        Where the content of its `fact` chunk begins, if that is to be filled in.
    """
    riff_bytes = file.tell() - 8
    if fact_at is not None:
        file.seek(fact_at)
        file.write(struct.pack("<I", min(n_samples, _RIFF_LIMIT)))
    if riff_bytes > _RIFF_LIMIT:
        file.seek(0)
        file.write(struct.pack("<4sI4s", b"RF64", 0xFFFFFFFF, b"WAVE"))
        file.write(_chunk(b"ds64", struct.pack("<QQQI", riff_bytes, data_bytes, n_samples, 0)))
        data_bytes = 0xFFFFFFFF
    else:
        file.seek(4)
        file.write(struct.pack("<I", riff_bytes))
    file.seek(data_at - 4)
    file.write(struct.pack("<I", data_bytes))


def pack_bext(bext: Bext) -> bytes:
    """Pack the content of a `bext` chunk.

    Parameters
    ----------
    bext : Bext
        What to state.

    Returns
    -------
    bytes
        602 bytes and the coding history; version 2 where a loudness value is given, else 1.

    References
    ----------
    .. [1] EBU Tech 3285, "Specification of the Broadcast Wave Format", version 2, 2011.
    """
    loudness = (bext.loudness_lufs, bext.loudness_range_lu, bext.true_peak_dbtp, None, None)
    stated = any(value is not None for value in loudness)
    words = [_hundredths(value) if stated else 0 for value in loudness]
    history = "".join(f"{line}\r\n" for line in bext.history.splitlines())
    fixed = _BEXT.pack(
        _ascii(bext.description),
        _ascii(bext.originator),
        _ascii(bext.originator_reference),
        _ascii(bext.date),
        _ascii(bext.time),
        bext.time_reference,
        2 if stated else 1,
        b"",
        *words,
        b"",
    )
    return fixed + _ascii(history)


def with_history(content: bytes, line: str) -> bytes:
    """Add a line to the coding history of a `bext` chunk; all else stays as it was.

    Parameters
    ----------
    content : bytes
        The chunk's content.
    line : str
        What was done (EBU R 98).

    Returns
    -------
    bytes
        The content with the line at its end.
    """
    fixed = content[: _BEXT.size].ljust(_BEXT.size, b"\0")
    before = content[_BEXT.size :].split(b"\0", 1)[0].splitlines()
    return fixed + b"".join(one + b"\r\n" for one in (*before, _ascii(line)))


def pack_cues(cues: Sequence[Cue]) -> bytes:
    """Pack whole `cue ` and `LIST`/`adtl` chunks.

    Parameters
    ----------
    cues : sequence of Cue
        Points and spans; numbered from 1 in order of their start.

    Returns
    -------
    bytes
        Both chunks, padded to even length.

    References
    ----------
    .. [1] IBM and Microsoft, "Multimedia Programming Interface and Data Specifications 1.0",
       1991, pp. 60-64.
    """
    points, labels, regions = b"", b"", b""
    for number, cue in enumerate(sorted(cues), 1):
        points += struct.pack("<II4sIII", number, cue.sample, b"data", 0, 0, cue.sample)
        labels += _chunk(b"labl", struct.pack("<I", number) + _zero_ended(cue.label))
        if cue.length:
            region = struct.pack("<II4sHHHH", number, cue.length, b"rgn ", 0, 0, 0, 0)
            regions += _chunk(b"ltxt", region)
    texts = labels + regions  # FFmpeg stops reading at the first that is no label
    return _chunk(b"cue ", struct.pack("<I", len(cues)) + points) + _chunk(b"LIST", b"adtl" + texts)


def iter_chunks(path: Path) -> Iterator[Chunk]:
    """Walk the chunks of a RIFF, RF64 or BW64 wave file without reading their content.

    Parameters
    ----------
    path : Path
        The file.

    Yields
    ------
    Chunk
        Each chunk of the file, in order; a `data` chunk with its true size: to the end of a file
        whose recorder was stopped before it stated one.

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
                stated = long_data if size == _IN_DS64 else size
                size = _data_bytes(file, offset, stated)
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


def read_bext(path: Path) -> Bext | None:
    """Read the broadcast extension of a wave file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Bext or None
        What it states; None where it has no `bext` chunk.

    Raises
    ------
    MediaError
        If the file is no wave file.
    """
    content = read_chunk(path, "bext")
    if content is None or len(content) < _BEXT.size:
        return None
    fields = _BEXT.unpack_from(content)
    texts = [_text(part) for part in fields[:5]]
    loudness = [
        value / 100 if fields[6] >= 2 and value != _NOT_STATED else None for value in fields[8:11]
    ]
    return Bext(
        description=texts[0],
        originator=texts[1],
        originator_reference=texts[2],
        date=texts[3],
        time=texts[4],
        time_reference=fields[5],
        loudness_lufs=loudness[0],
        loudness_range_lu=loudness[1],
        true_peak_dbtp=loudness[2],
        history="\n".join(_text(content[_BEXT.size :]).splitlines()),
    )


def _format(channels: int, rate_hz: int, subtype: str) -> bytes:
    bits = _BITS[subtype]
    frame = channels * bits // 8
    tag = 3 if subtype == "FLOAT" else 1
    plain = struct.pack("<HHIIHH", tag, channels, rate_hz, rate_hz * frame, frame, bits)
    return plain + (struct.pack("<H", 0) if tag == 3 else b"")


def stored_bytes(block: npt.NDArray[Any], subtype: str) -> bytes:
    """Turn samples into the bytes that a wave file holds.

    Parameters
    ----------
    block : np.ndarray, shape (n_channels, n_samples)
        Samples as `write_wav` takes them.
    subtype : {"PCM_24", "PCM_16", "FLOAT"}
        How they are stored.

    Returns
    -------
    bytes
        Interleaved, little-endian.
    """
    if block.dtype.kind == "i":
        block = block / float(2 ** (8 * block.dtype.itemsize - 1))
    frames = np.ascontiguousarray(block.T)
    if subtype == "FLOAT":
        return frames.astype("<f4").tobytes()
    # float32 cannot hold 2**23 - 1/2 apart from 2**23, so the scaling is done in double precision
    full = 2 ** (_BITS[subtype] - 1)
    whole = np.clip(np.rint(frames * np.float64(full)), -full, full - 1)
    if subtype == "PCM_16":
        return whole.astype("<i2").tobytes()
    return whole.astype("<i4").reshape(-1).view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


def _chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack("<4sI", name, len(content)) + content + b"\0" * (len(content) % 2)


def _zero_ended(text: str) -> bytes:
    return text.replace("\0", " ").encode("utf-8") + b"\0"


def _ascii(text: str) -> bytes:
    """ASCII bytes; accents fall off their letters, what has no likeness becomes a question mark."""
    plain = unicodedata.normalize("NFKD", text)
    bare = "".join(letter for letter in plain if not unicodedata.combining(letter))
    return bare.encode("ascii", errors="replace")


def _text(field: bytes) -> str:
    return field.split(b"\0", 1)[0].decode("ascii", errors="replace")


def _hundredths(value: float | None) -> int:
    if value is None or not np.isfinite(value):
        return _NOT_STATED
    return round(max(-327.0, min(327.0, value)) * 100)
