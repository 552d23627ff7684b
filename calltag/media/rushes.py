"""Finding the clips in the rushes.

What is a clip is told by its name, so that a card with thousands of files is walked in a moment;
whether it can be read is found out when it is logged. Only files of the kinds that calltag makes of
takes are looked into: those that it made are none of the rushes.
"""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePath

from calltag.errors import InputError, reason_of
from calltag.media.own import is_own
from calltag.own_files import is_library, is_sheet
from calltag.paths import printable
from calltag.spelling import name_order

PICTURE_SUFFIXES = frozenset(
    f".{suffix}"
    for suffix in (
        *("3g2", "3gp", "asf", "avi", "dv", "f4v", "flv", "m2t", "m2ts", "m2v", "m4v", "mkv"),
        *("mod", "mov", "mp4", "mpeg", "mpg", "mts", "mxf", "ogm", "ogv", "qt", "tod", "ts", "vob"),
        *("webm", "wmv"),
    )
)
SOUND_SUFFIXES = frozenset(
    f".{suffix}"
    for suffix in (
        *("aac", "ac3", "aif", "aifc", "aiff", "amr", "au", "bwf", "caf", "flac", "m4a", "mka"),
        *("mp2", "mp3", "oga", "ogg", "opus", "rf64", "w64", "wav", "wave", "wma", "wv"),
    )
)

_PROXY_FOLDERS = frozenset(("proxies", "proxy"))
_PROXY_FILE = re.compile(r".[ _-](proxy|lowres|lores|lrf)$", re.IGNORECASE)
_SUB_FILE = re.compile(r"s\d\d$", re.IGNORECASE)
_SYSTEM_FOLDERS = frozenset(("$recycle.bin", "system volume information", "lost+found"))


@dataclass(frozen=True, slots=True)
class Clip:
    """One clip file of the rushes.

    Attributes
    ----------
    path : Path
        Where it is; absolute.
    rushes : Path
        The folder that it was found below; absolute.
    name : str
        Path below the rushes, with ``/`` between its parts. Where clips of several rushes would
        have the same name, the end of the folder's path stands before it, as short as tells them
        apart; of several drives of Windows, it is the whole path.
    """

    path: Path
    rushes: Path
    name: str


@dataclass(frozen=True, slots=True)
class Rushes:
    """What is in the rushes.

    Attributes
    ----------
    clips : list of Clip
        The clips of all folders.
    own : int
        Files passed over that calltag made itself, and folders that hold a call library or a sheet.
    """

    clips: list[Clip]
    own: int = 0


def find_clips(folders: Sequence[Path]) -> Rushes:
    """Find every clip below the given folders, sorted as people count: clip 2 before clip 10.

    Sidecars, thumbnails, documents, proxies and hidden files are passed over, and what calltag made
    of takes: beds, treated sound, copies with markers, sheets, call libraries. Links to folders are
    followed, each folder once. A clip that is reached twice is listed once. A folder below them
    that cannot be read is listed as if it were a clip, so that it is told like one.

    Parameters
    ----------
    folders : sequence of Path
        The rushes; a path of a single file stands for that clip, whatever its name.

    Returns
    -------
    Rushes
        The clips of all folders; none if there are none.

    Raises
    ------
    InputError
        If one of the folders does not exist or may not be read.
    """
    found: dict[str, Clip] = {}
    own: set[str] = set()
    for given in folders:
        folder = _whole_path(given)
        try:
            is_file, is_folder = folder.is_file(), folder.is_dir()
        except OSError as error:
            raise _unreadable(given, error) from None
        if is_file:
            clips = iter([Clip(folder, folder.parent, printable(folder.name))])
        elif is_folder:
            clips = _below(folder, own)
        else:
            raise InputError(
                f"{given}: there is no such folder or clip; check its name, and that the drive or"
                " card is connected"
            )
        for clip in clips:
            found.setdefault(os.path.realpath(clip.path), clip)
    clips_of_all = sorted(_distinct(list(found.values())), key=lambda clip: name_order(clip.name))
    return Rushes(clips_of_all, len(own - found.keys()))


def _below(folder: Path, own: set[str]) -> Iterator[Clip]:
    try:
        os.scandir(folder).close()
    except OSError as error:
        raise _unreadable(folder, error) from None
    seen: set[tuple[int, int] | str] = set()
    refused: list[OSError] = []
    for here, below, files in os.walk(folder, followlinks=True, onerror=refused.append):
        status = Path(here).stat()
        # Some drives of networks number no folder on Windows: all would have the number 0.
        folder_id = (status.st_dev, status.st_ino) if status.st_ino else os.path.realpath(here)
        if folder_id in seen:
            below.clear()
            continue
        seen.add(folder_id)
        if is_library(Path(here)) or is_sheet(Path(here)):
            below.clear()
            own.add(os.path.realpath(here))
            continue
        below[:] = sorted(name for name in below if not _passed_folder(name))
        for name in sorted(files):
            path = Path(here, name)
            if not (_is_clip(path) and _is_file(path)):
                continue
            if is_own(path):
                own.add(os.path.realpath(path))
            else:
                yield Clip(path, folder, printable(path.relative_to(folder).as_posix()))
    for path in (Path(error.filename) for error in refused):
        yield Clip(path, folder, printable(path.relative_to(folder).as_posix()))


def _whole_path(given: Path) -> Path:
    try:
        folder = given.expanduser().absolute()
    except RuntimeError:  # there is no such user: it is a name that begins so
        folder = given.absolute()
    try:
        str(folder).encode("utf-8")
    except UnicodeEncodeError:
        name = printable(str(folder))
        raise InputError(f"{name}: the folder's name is no valid text; rename it") from None
    return folder


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:
        return True  # one that may not be looked at is told like one that cannot be read


def _unreadable(folder: Path, error: OSError) -> InputError:
    return InputError(
        f"{folder}: the folder cannot be read ({reason_of(error)}); check that you may read it, and"
        " the drive or card"
    )


def _passed_folder(name: str) -> bool:
    lower = name.lower()
    return lower.startswith(".") or lower in _PROXY_FOLDERS or lower in _SYSTEM_FOLDERS


def _is_clip(path: PurePath) -> bool:
    if path.name.startswith("."):
        return False
    if path.suffix.lower() not in PICTURE_SUFFIXES | SOUND_SUFFIXES:
        return False
    # Some cameras put small copies in a folder Sub, named as the clip with S03 behind it.
    in_sub = path.parent.name.lower() == "sub" and _SUB_FILE.search(path.stem)
    return not (in_sub or _PROXY_FILE.search(path.stem))


def _distinct(clips: list[Clip]) -> list[Clip]:
    """Put the end of the folder's path before names that occur in several rushes."""
    counts = Counter(clip.name for clip in clips)
    depths = {name: int(n > 1) for name, n in counts.items()}
    deepest = max((len(clip.rushes.parts) for clip in clips), default=0)
    while True:
        names = [_longer_name(clip, depths[clip.name]) for clip in clips]
        counts = Counter(names)
        again = {clip.name for clip, name in zip(clips, names, strict=True) if counts[name] > 1}
        if all(depths[name] >= deepest for name in again):
            return [replace(clip, name=name) for clip, name in zip(clips, names, strict=True)]
        for name in again:
            depths[name] += 1


def _longer_name(clip: Clip, depth: int) -> str:
    """A clip's name with so many parts of the folder's path before it."""
    if depth >= len(clip.rushes.parts):  # two drives or shares of Windows
        return printable(clip.path.as_posix())
    above = clip.rushes.parts[-depth:] if depth else ()
    return "/".join((*(printable(part.strip("/\\")) for part in above), clip.name))
