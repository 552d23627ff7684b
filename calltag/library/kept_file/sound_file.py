"""The file of a kept call: sound, cue and story in one, as WAV or as FLAC.

A wave file holds its story three times, for whoever reads it: in words in `bext` (EBU Tech 3285),
as a named region in `cue ` and `adtl`, and whole, as RDF/XML, in `axml` (EBU Tech 3285, supplement
5). A FLAC file holds it in Vorbis comments, the whole in the one named `RDF`, and the call's ends
in its cue sheet. Samples are stored in 24 bits; a wave file whose samples would not fit, since a
recorder with floating point went above full scale, holds floats.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray
from calltag.errors import MediaError, reason_of
from calltag.files import written_whole
from calltag.library.kept_file import flac
from calltag.library.kept_file.rdf import from_rdf, to_rdf
from calltag.library.kept_file.story import Story
from calltag.media.wave_files.bext import Bext, read_bext
from calltag.media.wave_files.wav_file import iter_chunks, read_chunk
from calltag.media.wave_files.wav_writing import Cue, stored_bytes, write_wav

SUFFIXES = (".wav", ".flac")
"""Files that the library holds."""

MOST_FLAC_CHANNELS = 8
"""RFC 9639: a FLAC file has no more."""

_LARGEST_STORY = 1 << 22
_PIECE_BYTES = 1 << 20
_NOT_OURS = "there is no story of a kept call in it"


def sound_files(folder: Path) -> Iterator[Path]:
    """Yield the sound files of a library.

    Parameters
    ----------
    folder : Path
        The library's folder.

    Yields
    ------
    Path
        A file, in order of paths; hidden ones are passed over.
    """
    for file in sorted(folder.rglob("*")):
        hidden = any(part.startswith(".") for part in file.relative_to(folder).parts)
        if file.suffix.lower() in SUFFIXES and not hidden and file.is_file():
            yield file


def subtype_of(samples: npt.NDArray[Any], *, as_flac: bool) -> str:
    """Choose how samples are stored.

    Parameters
    ----------
    samples : np.ndarray, shape (n_channels, n_samples)
        Samples, full scale at ±1.
    as_flac : bool
        Whether they go into a FLAC file, which holds no floats.

    Returns
    -------
    str
        ``"PCM_24"``, or ``"FLOAT"`` where 24 bits would cut samples off.
    """
    over = bool(samples.size) and (samples.max() > 1 or samples.min() < -1)
    return "FLOAT" if over and not as_flac else "PCM_24"


def write_cut(path: Path, samples: npt.NDArray[Any], story: Story, bext: Bext) -> Story:
    """Write the file of a kept call; it appears when it is complete, and not before.

    Parameters
    ----------
    path : Path
        The file; its suffix, one of `SUFFIXES`, tells the format.
    samples : np.ndarray, shape (n_channels, n_samples)
        Samples, full scale at ±1.
    story : Story
        Its story, tidy; the hash of its sound is filled in.
    bext : Bext
        What a wave file states in its broadcast extension; a FLAC file states it in comments.

    Returns
    -------
    Story
        The story as it was written.

    Raises
    ------
    InputError
        If the file cannot be written; nothing is left behind then.
    """
    as_flac = path.suffix.lower() == ".flac"
    subtype = subtype_of(samples, as_flac=as_flac)
    story = replace(story, sound_hash=hashlib.sha256(stored_bytes(samples, subtype)).hexdigest())
    first, end = (round(at_s * story.rate_hz) for at_s in story.call)
    if as_flac:
        with written_whole(path) as partial:
            partial.write_bytes(_flac(samples, story, bext, (first, end)))
        return story
    write_wav(
        path,
        samples,
        story.rate_hz,
        subtype=subtype,
        bext=bext,
        cues=[Cue(first, story.label, end - first)],
        chunks={"axml": to_rdf(story).encode("utf-8")},
    )
    return story


def _flac(samples: npt.NDArray[Any], story: Story, bext: Bext, ends: tuple[int, int]) -> bytes:
    import soundfile

    full = 2**23
    whole = np.clip(np.rint(samples.T * np.float64(full)), -full, full - 1).astype(np.int32)
    encoded = io.BytesIO()
    soundfile.write(encoded, whole << 8, story.rate_hz, subtype="PCM_24", format="FLAC")
    comments = {
        "TITLE": story.label,
        "ARTIST": story.recordist,
        "DATE": bext.date or (story.recorded or "")[:10],
        "TIME": bext.time,
        "LOCATION": story.place,
        "COPYRIGHT": story.rights,
        "DESCRIPTION": bext.description,
        "ENCODED-BY": bext.originator,
        "REFERENCE": bext.originator_reference,
        "TIMEREFERENCE": str(bext.time_reference),
        "CODINGHISTORY": bext.history,
        "RDF": to_rdf(story),
    }
    return flac.with_metadata(encoded.getvalue(), comments, ends, story.n_samples)


def read_story(path: Path) -> tuple[Story, bool]:
    """Read the story of a kept call from its file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    story : Story
        Its story.
    whole : bool
        Whether the story is as it was written: False where it was damaged, or changed by hand.

    Raises
    ------
    MediaError
        If the file cannot be read, or holds no story.
    """
    try:
        with _reading(path):
            text = _story_text(path)
        if text is None:
            raise MediaError(path, _NOT_OURS)
        return from_rdf(text.rstrip("\0"))
    except ValueError as error:  # no UTF-8 is one, too
        raise MediaError(path, f"{_NOT_OURS}, or it is damaged") from error


def _story_text(path: Path) -> str | None:
    if path.suffix.lower() == ".flac":
        return flac.read_comments(path).get("RDF")
    content = read_chunk(path, "axml")
    if content is None or len(content) >= _LARGEST_STORY:
        return None
    return content.decode("utf-8")


def read_samples(path: Path) -> DoubleArray:
    """Read the sound of a kept call.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    np.ndarray, shape (n_channels, n_samples), float64
        Samples, full scale at ±1, exactly as they are stored.

    Raises
    ------
    MediaError
        If the sound cannot be read.
    """
    import soundfile

    with _reading(path), _decoding(path):
        samples, _ = soundfile.read(path, dtype="float64", always_2d=True)
    return np.ascontiguousarray(samples.T)


def read_cut_bext(path: Path) -> Bext:
    """Read what a kept call's file states of its start and of how it came to be.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Bext
        Of a wave file its broadcast extension, of a FLAC file the same from its comments.

    Raises
    ------
    MediaError
        If the file cannot be read.
    """
    with _reading(path):
        if path.suffix.lower() != ".flac":
            return read_bext(path) or Bext()
        comments = flac.read_comments(path)
    date, time = comments.get("DATE", ""), comments.get("TIME", "")
    reference = comments.get("TIMEREFERENCE", "")
    return Bext(
        description=comments.get("DESCRIPTION", ""),
        originator=comments.get("ENCODED-BY", ""),
        originator_reference=comments.get("REFERENCE", ""),
        date=date,
        time=time,
        time_reference=int(reference) if reference.isdigit() else 0,
        history=comments.get("CODINGHISTORY", ""),
    )


def sound_hash(path: Path) -> str:
    """Hash the sound of a file, whatever else is in it.

    Parameters
    ----------
    path : Path
        A file of the library.

    Returns
    -------
    str
        SHA-256 of the samples as `Story.sound_hash` has it: the same for WAV and FLAC.

    Raises
    ------
    MediaError
        If the sound cannot be read to its end.
    """
    hashed = hashlib.sha256()
    with _reading(path):
        for piece in _sound_bytes(path):
            hashed.update(piece)
    return hashed.hexdigest()


def _sound_bytes(path: Path) -> Iterator[bytes]:
    if path.suffix.lower() == ".flac":
        import soundfile

        with _decoding(path), soundfile.SoundFile(path) as file:
            for block in file.blocks(1 << 16, dtype="int32", always_2d=True):
                yield stored_bytes(block.T, "PCM_24")
        return
    chunk = next((one for one in iter_chunks(path) if one.name == "data"), None)
    if chunk is None:
        raise MediaError(path, f"it has no sound; {flac.FROM_COPY}")
    with path.open("rb") as reading:
        reading.seek(chunk.offset)
        left = chunk.size
        while left:
            piece = reading.read(min(left, _PIECE_BYTES))
            if not piece:
                raise MediaError(path, f"its sound is cut off; {flac.FROM_COPY}")
            yield piece
            left -= len(piece)


def file_hash(path: Path) -> str:
    """Hash a file as it is.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        SHA-256 in hexadecimal digits.

    Raises
    ------
    MediaError
        If it cannot be read.
    """
    with _reading(path), path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    """Tell of a file that the drive does not give."""
    try:
        yield
    except MediaError:
        raise
    except OSError as error:
        reason = reason_of(error)
        raise MediaError(path, f"could not be read ({reason}); check the drive") from error


@contextmanager
def _decoding(path: Path) -> Iterator[None]:
    """Tell of sound that soundfile cannot make out."""
    import soundfile

    path.stat()  # of a file that is gone, soundfile says no more than of a damaged one
    try:
        yield
    except soundfile.LibsndfileError as error:
        raise MediaError(path, f"its sound is damaged; {flac.FROM_COPY}") from error
