"""Wave copies with cues: the sound of each take, with a named region for every marker.

A take that is a wave file is copied byte for byte in its own sample format, with all its chunks:
its own cues stay, with their names and lengths, and ours are added. Where it has a `bext` chunk,
its coding history gets a line that tells so; where it has none, one with its start is added. Of any
other take the sound is decoded and stored as it was: 16 or 24 bit, or float. Cues are exact to the
sample, from the take's first. A copy that outgrows 32-bit sizes is RF64 (EBU Tech 3306).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

from calltag.edit.formats import WriteOptions
from calltag.edit.markers import TakeMarkers
from calltag.edit.take_files import check_own_speed, per_take_paths, write_copies
from calltag.errors import InputError, MediaError, reason_of
from calltag.files import written_whole
from calltag.media.opening import open_take
from calltag.media.sound_blocks.reader import SoundReader
from calltag.media.streams import sound_streams
from calltag.media.timing.when import take_bext
from calltag.media.wave_files.bext import ORIGINATOR, Bext, history_line, pack_bext, with_history
from calltag.media.wave_files.wav_file import Chunk, iter_chunks
from calltag.media.wave_files.wav_writing import (
    DS64_BYTES,
    LAST_CUE_SAMPLE,
    Cue,
    pack_chunk,
    pack_cues,
    state_sizes,
    write_wav,
)
from calltag.spelling import one_line
from calltag.words import position

NAME = "wav"
SUFFIX = ".wav"
PER_TAKE = True
OWN_START = False

_FILLERS = frozenset({"JUNK", "junk", "PAD ", "FLLR", "ds64"})
_CUE = struct.Struct("<II4sIII")
_COPY_BYTES = 1 << 20


def write(take_markers: Sequence[TakeMarkers], out: Path, options: WriteOptions) -> list[Path]:
    """Write a wave copy, with cues, of the sound of each take that has a marker.

    Parameters
    ----------
    take_markers : sequence of TakeMarkers
        Takes and their markers.
    out : Path
        The folder.
    options : WriteOptions
        Whether existing files may be replaced.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        If `out` is a file, a take is not played at its own speed, markers are moved away from the
        sound, or a file exists already or cannot be written.
    MediaError
        If a take cannot be read, or has no sound.
    """
    marked = [one for one in take_markers if one.markers]
    check_own_speed(marked, "a copy of the sound")
    for one in marked:
        if one.advance_s:
            raise InputError(
                f"{one.take.path}: cues in the sound stay where calls are heard;"
                " leave out --distance"
            )
    return write_copies(marked, per_take_paths(marked, out, SUFFIX), out, options, _write_copy)


def _write_copy(source: Path, path: Path, one: TakeMarkers) -> None:
    if not one.take.has_sound:
        raise MediaError(source, "has no sound to copy; write its markers as another format")
    try:
        chunks = list(iter_chunks(source))
    except OSError:  # no wave file; if it cannot be read at all, that is found out here too
        _decode(source, path, one)
    else:
        with written_whole(path) as partial:
            _copy(source, partial, chunks, one)


def read_cues(path: Path) -> list[Cue]:
    """Read the cues of a wave file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    list of Cue
        Points and spans, in the file's order; unnamed ones with an empty label.

    Raises
    ------
    MediaError
        If the file is no wave file.
    """
    points: dict[int, int] = {}
    labels: dict[int, str] = {}
    lengths: dict[int, int] = {}
    with path.open("rb") as file:
        for chunk in iter_chunks(path):
            if chunk.name not in ("cue ", "LIST"):
                continue
            file.seek(chunk.offset)
            content = file.read(chunk.size)
            if chunk.name == "cue ":
                whole = (len(content) - 4) // _CUE.size * _CUE.size
                records = _CUE.iter_unpack(content[4 : 4 + whole])
                points |= {number: sample for number, _, _, _, _, sample in records}
            elif content[:4] == b"adtl":
                more_labels, more_lengths = _of_cues(content[4:])
                labels |= more_labels
                lengths |= more_lengths
    return [
        Cue(sample, labels.get(number, ""), lengths.get(number, 0))
        for number, sample in points.items()
    ]


def _parts(content: bytes) -> list[tuple[bytes, bytes]]:
    parts = []
    at = 0
    while at + 8 <= len(content):
        name, size = struct.unpack_from("<4sI", content, at)
        parts.append((name, content[at + 8 : at + 8 + size]))
        at += 8 + size + size % 2
    return parts


def _cues(one: TakeMarkers, rate_hz: int) -> list[Cue]:
    cues = []
    for marker in one.markers:
        first, end = round(marker.start_s * rate_hz), round(marker.end_s * rate_hz)
        if end > LAST_CUE_SAMPLE:
            raise MediaError(
                one.take.file,
                f"is so long that no cue reaches its marker at {position(marker.start_s)}; write"
                " its markers as another format",
            )
        cues.append(Cue(first, one_line(marker.name), end - first))
    return cues


def _of_cues(content: bytes) -> tuple[dict[int, str], dict[int, int]]:
    """The labels and the lengths that a list of associated data states, by number of the cue."""
    labels: dict[int, str] = {}
    lengths: dict[int, int] = {}
    for name, body in _parts(content):
        number = int.from_bytes(body[:4], "little")
        if name == b"labl":
            labels[number] = body[4:].split(b"\0")[0].decode("utf-8", "replace")
        elif name == b"ltxt":
            lengths[number] = int.from_bytes(body[4:8], "little")
    return labels, lengths


def _bext(one: TakeMarkers, rate_hz: int) -> Bext:
    return take_bext(one.take, one.clock, rate_hz, description=f"sound of {one.take.path}")


def _copy(source: Path, target: Path, chunks: list[Chunk], one: TakeMarkers) -> None:
    rate_hz = one.take.sample_rate_hz or 0
    cues = [*read_cues(source), *_cues(one, rate_hz)]
    data_at = data_bytes = 0
    frame_bytes = 1
    with source.open("rb") as reading, target.open("wb") as writing:
        length = source.stat().st_size
        writing.write(b"RIFF\0\0\0\0WAVE")
        writing.write(pack_chunk(b"JUNK", bytes(DS64_BYTES)))
        if all(chunk.name != "bext" for chunk in chunks):
            writing.write(pack_chunk(b"bext", pack_bext(_bext(one, rate_hz))))
        for chunk in chunks:
            reading.seek(chunk.offset)
            if chunk.name == "data":
                data_bytes = min(chunk.size, length - chunk.offset)  # a recorder that lost power
                writing.write(b"data\0\0\0\0")
                data_at = writing.tell()
                writing.writelines(_pieces(source, reading, data_bytes))
                writing.write(b"\0" * (data_bytes % 2))
            elif chunk.name not in (*_FILLERS, "cue "):
                content = reading.read(chunk.size)
                if chunk.name == "fmt ":
                    frame_bytes = int.from_bytes(content[12:14], "little") or 1
                writing.write(_copied(chunk.name, content, rate_hz))
        writing.write(pack_cues(cues))
        state_sizes(writing, data_at, data_bytes, data_bytes // frame_bytes)


def _copied(name: str, content: bytes, rate_hz: int) -> bytes:
    """A chunk as the copy has it; nothing of a list of associated data, which is written anew."""
    if name == "LIST" and content[:4] == b"adtl":
        return b""
    if name == "bext":
        content = with_history(content, history_line(rate_hz, f"{ORIGINATOR} cues", bits=None))
    return pack_chunk(name.encode("latin-1"), content)


def _pieces(source: Path, reading: BinaryIO, n_bytes: int) -> Iterator[bytes]:
    while n_bytes > 0:
        try:
            piece = reading.read(min(n_bytes, _COPY_BYTES))
        except OSError as error:
            raise MediaError(
                source, f"could not be read ({reason_of(error)}); check the drive or card"
            ) from error
        if not piece:
            break
        yield piece
        n_bytes -= len(piece)


def _decode(source: Path, target: Path, one: TakeMarkers) -> None:
    rate_hz = one.take.sample_rate_hz or 0
    write_wav(
        target,
        SoundReader(source, rate_hz=rate_hz),
        rate_hz,
        subtype=_stored_as(source),
        bext=_bext(one, rate_hz),
        cues=_cues(one, rate_hz),
    )


def _stored_as(source: Path) -> str:
    """How the sound of a take is to be stored so that nothing of it is lost."""
    with open_take(source) as container:
        stream = sound_streams(container)[0]
        form, codec = stream.codec_context.format.name.rstrip("p"), stream.codec_context.name
    if form in ("u8", "s16"):
        return "PCM_16"
    exact_float = codec.startswith(("pcm_f", "pcm_s32", "pcm_s64"))
    return "FLOAT" if exact_float else "PCM_24"
