"""The broadcast extension of wave files (EBU Tech 3285): start time, description, history."""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass
from pathlib import Path

from calltag.media.wave_files.wav_file import read_chunk
from calltag.spelling import nearest_ascii

_BEXT = struct.Struct("<256s32s32s10s8sQH64s5h180s")  # EBU Tech 3285, 602 bytes
_NOT_STATED = 0x7FFF  # EBU Tech 3285 version 2: a loudness value that is not given

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


def history_line(rate_hz: int, done: str, *, bits: int | None = 24, mode: str = "") -> str:
    """Write a line of coding history: a step that sound went through.

    Parameters
    ----------
    rate_hz : int
        Sampling rate that it was stored at.
    done : str
        What was done, in free text.
    bits : int or None
        How many it was stored in; None where that was left as it was.
    mode : str
        ``mono``, ``stereo`` or the like; empty leaves it out.

    Returns
    -------
    str
        The line, without its end.

    References
    ----------
    .. [1] EBU R 98, "Format for the <CodingHistory> field in Broadcast Wave Format files", 1999.

    Examples
    --------
    >>> history_line(48_000, "bed of 2 stretches", mode="stereo")
    'A=PCM,F=48000,W=24,M=stereo,T=bed of 2 stretches'
    """
    fields = ["A=PCM", f"F={rate_hz}"]
    fields += [f"W={bits}"] if bits else []
    fields += [f"M={mode}"] if mode else []
    return ",".join([*fields, f"T={done}"])


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


def _ascii(text: str) -> bytes:
    return nearest_ascii(text).encode("ascii")


def _text(field: bytes) -> str:
    return field.split(b"\0", 1)[0].decode("ascii", errors="replace")


def _hundredths(value: float | None) -> int:
    if value is None or not math.isfinite(value):
        return _NOT_STATED
    return round(max(-327.0, min(327.0, value)) * 100)
