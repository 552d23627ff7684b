"""Why a file is no clip, or shorter than it says, in one sentence.

Sentences are chosen by what is in the file, not by what a library said: a film-maker needs to know
whether to copy the clip from the card again, to rename it, or to leave it out.
"""

from __future__ import annotations

from pathlib import Path

import av

from calltag.errors import reason_of

NEVER_STATED = 0x7FFF_0000
"""Lengths from here on are what programs write into RIFF files that do not know them yet."""

_SNIFF_BYTES = 4096
_BOX_TYPES = frozenset((b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot", b"uuid"))
_STILL = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG", "PNG"),
    (b"GIF8", "GIF"),
    (b"II*\x00", "TIFF or raw"),
    (b"MM\x00*", "TIFF or raw"),
    (b"BM", "BMP"),
)
_OTHER = (
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"SQLite format 3", "a database"),
    (b"\x7fELF", "a program"),
    (b"\x1f\x8b", "a compressed archive"),
    (b"Rar!", "a RAR archive"),
)
DAMAGED = "is damaged, or no clip at all; copy it from the card again, and see if it plays"
"""What is said of a file of which nothing better is known."""


def why_unreadable(path: Path, error: Exception | None = None) -> str:
    """Say why a file that holds something is no clip.

    Parameters
    ----------
    path : Path
        The file.
    error : Exception, optional
        What opening it raised; none where it was opened, and neither picture nor sound was there.

    Returns
    -------
    str
        What is wrong and what to do, without the file's name.
    """
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(_SNIFF_BYTES)
    except OSError as failed:
        return f"could not be read ({reason_of(failed)}); check the drive or card"
    if not head.strip(b"\0"):
        return "begins with nothing but zeros, so the copy or the card failed; copy it again"
    for magic, kind in _STILL:
        if head.startswith(magic):
            return f"holds a still picture ({kind}), not a take; leave it out or correct its name"
    for magic, kind in _OTHER:
        if head.startswith(magic):
            return f"is {kind}, not a take; leave it out or correct its name"
    if head[4:8] in _BOX_TYPES:
        return _why_boxes(path, size)
    if _is_text(head):
        return "holds text, not picture or sound; leave it out or correct its name"
    if isinstance(error, av.error.DecoderNotFoundError):
        return "is in a format that cannot be decoded here; convert it to a usual one first"
    if error is None:
        return "holds neither picture nor sound; leave it out"
    return DAMAGED


def cut_short(announced: int, there: int) -> str:
    """Say that a file is shorter than it says.

    Parameters
    ----------
    announced, there : int
        Bytes that it should have, and has.

    Returns
    -------
    str
        What is wrong and what to do, without the file's name.
    """
    return (
        f"is cut short: {announced:,} bytes were announced and {there:,} are there; copy it from "
        "the card again"
    )


def why_short(path: Path) -> str:
    """Say why an AVI file may lack its end, which then shows in nothing but its own length.

    Parameters
    ----------
    path : Path
        Any file.

    Returns
    -------
    str
        What is wrong and what to do, without the file's name; empty where nothing is, or the file
        is no AVI file.
    """
    there = path.stat().st_size
    end = 0
    with path.open("rb") as file:
        while end + 12 <= there:  # a long one has several (OpenDML AVI File Format Extensions)
            file.seek(end)
            head = file.read(12)
            length = int.from_bytes(head[4:8], "little")
            if head[:4] != b"RIFF" or head[8:] not in (b"AVI ", b"AVIX"):
                break
            if length >= NEVER_STATED:
                return ""
            if not length:
                return (
                    "was never finished: its length was not written, as when power fails while "
                    "filming, and its end may be missing; put the card back into the camera, which "
                    "may finish it"
                )
            end += 8 + length + length % 2
    return cut_short(end, there) if end > there + 1 else ""


def _why_boxes(path: Path, size: int) -> str:
    """Walk the top-level boxes of an ISO base media file (ISO/IEC 14496-12, clause 4.2)."""
    seen: set[bytes] = set()
    at = 0
    with path.open("rb") as file:
        while at + 8 <= size and len(seen) < 64:
            file.seek(at)
            head = file.read(16)
            length, kind = int.from_bytes(head[:4], "big"), head[4:8]
            if length == 1:
                length = int.from_bytes(head[8:16], "big")
            elif length == 0:  # to the end of the file
                length = size - at
            seen.add(kind)
            if at + length > size and kind in (b"mdat", b"moov"):
                return cut_short(at + length, size)
            if length < 8:
                break
            at += length
    if b"moov" not in seen:
        return (
            "was never finished: its index (moov) is missing, as when power fails while filming; "
            "put the card back into the camera, which may finish it, or leave it out"
        )
    return "is damaged: its index cannot be read; copy it from the card again"


def _is_text(head: bytes) -> bool:
    if b"\0" in head:
        return False
    try:
        text = head.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(head) - 4:
            return False
        text = head[: error.start].decode("utf-8")
    return sum(c.isprintable() or c.isspace() for c in text) > 0.95 * len(text)
