"""Wave files as the edit wants them: 24 bit, with start time, cues and notes, of any length.

Samples are ±1 at full scale, shape (n_channels, n_samples). A file that outgrows 32-bit sizes
becomes RF64 (EBU Tech 3306): room for its `ds64` chunk is kept at the head of every file, as that
document advises, so a length that is not known beforehand costs nothing. Chunks: `bext` (EBU Tech
3285), `cue ` and `LIST`/`adtl` (RIFF, 1991), `LIST`/`INFO`. Numbers are little-endian; chunks begin
at even offsets.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.errors import InputError
from calltag.files import written_whole
from calltag.media.wave_files.bext import Bext, pack_bext
from calltag.media.wave_files.wav_file import IN_DS64

EDIT_RATE_HZ = 48_000
"""Rate of sound that is made for the edit, whatever that of the takes: common practice in film."""

DS64_BYTES = 28
"""What RF64 needs at a file's head: riff, data and sample counts (u64 each), table length (u32)."""

_RIFF_LIMIT = 0xFFFFFFFF  # largest size a 32-bit header can state

LAST_CUE_SAMPLE = _RIFF_LIMIT
"""Cues are counted in 32 bits: up to a day at 48 kHz, six hours at 192."""

_BITS = {"PCM_16": 16, "PCM_24": 24, "FLOAT": 32}


class Cue(NamedTuple):
    """A point or a span in a wave file: `sample` from the file's first, `length` 0 for a point."""

    sample: int
    label: str
    length: int = 0


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
        Floats of ±1 at full scale, or int16 or int32 samples. What lies above full scale is limited
        to it, unless floats are stored.
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
        If `subtype` is none of the above, a cue cannot be stated, or the file cannot be written;
        nothing is left behind then.

    Examples
    --------
    >>> import tempfile
    >>> from calltag.media.wave_files.bext import read_bext
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
    if any(cue.sample + cue.length > LAST_CUE_SAMPLE for cue in cues):
        raise InputError(f"{path.name}: a cue lies beyond what a wave file can state")
    blocks = iter([samples] if isinstance(samples, np.ndarray) else samples)
    first = np.atleast_2d(next(blocks, np.zeros((1, 0), np.float32)))
    channels = len(first)

    n_samples = 0
    with written_whole(path) as partial, partial.open("wb") as file:
        file.write(b"RIFF\0\0\0\0WAVE")
        file.write(pack_chunk(b"JUNK", bytes(DS64_BYTES)))
        if bext is not None:
            file.write(pack_chunk(b"bext", pack_bext(bext)))
        file.write(pack_chunk(b"fmt ", _format(channels, rate_hz, subtype)))
        fact_at = None
        if subtype == "FLOAT":
            fact_at = file.tell() + 8
            file.write(pack_chunk(b"fact", bytes(4)))
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
            texts = b"".join(pack_chunk(k.encode("ascii"), _zero_ended(t)) for k, t in info.items())
            file.write(pack_chunk(b"LIST", b"INFO" + texts))
        for name, content in (chunks or {}).items():
            file.write(pack_chunk(name.encode("ascii"), content))
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
        file.write(struct.pack("<4sI4s", b"RF64", IN_DS64, b"WAVE"))
        file.write(pack_chunk(b"ds64", struct.pack("<QQQI", riff_bytes, data_bytes, n_samples, 0)))
        data_bytes = IN_DS64
    else:
        file.seek(4)
        file.write(struct.pack("<I", riff_bytes))
    file.seek(data_at - 4)
    file.write(struct.pack("<I", data_bytes))


def pack_cues(cues: Sequence[Cue]) -> bytes:
    """Pack whole `cue ` and `LIST`/`adtl` chunks.

    Parameters
    ----------
    cues : sequence of Cue
        Points and spans, none beyond `LAST_CUE_SAMPLE`; numbered from 1 in order of their start.

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
        labels += pack_chunk(b"labl", struct.pack("<I", number) + _zero_ended(cue.label))
        if cue.length:
            region = struct.pack("<II4sHHHH", number, cue.length, b"rgn ", 0, 0, 0, 0)
            regions += pack_chunk(b"ltxt", region)
    texts = labels + regions  # FFmpeg stops reading at the first that is no label
    return pack_chunk(b"cue ", struct.pack("<I", len(cues)) + points) + pack_chunk(
        b"LIST", b"adtl" + texts
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


def pack_chunk(name: bytes, content: bytes) -> bytes:
    """Pack a chunk.

    Parameters
    ----------
    name : bytes
        Its four letters.
    content : bytes
        What is in it.

    Returns
    -------
    bytes
        Name, size and content, padded to even length.
    """
    return struct.pack("<4sI", name, len(content)) + content + b"\0" * (len(content) % 2)


def _zero_ended(text: str) -> bytes:
    return text.replace("\0", " ").encode("utf-8") + b"\0"
