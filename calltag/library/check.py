"""Looking for rot: is every kept call still what it was when it was kept?

Each file holds the hash of its own sound and a checksum of its own story, so that damage is found
by the file alone, also after the catalogue was made anew. What neither covers, such as the words in
`bext`, is covered by the hash of the whole file in the catalogue.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from calltag.errors import MediaError
from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.kept_file.sound_file import file_hash, read_story, sound_files, sound_hash
from calltag.library.kept_file.story import Story
from calltag.library.rebuild import path_below
from calltag.library.search.doubles import Sameness, doubles_of
from calltag.paths import printable


class Trouble(StrEnum):
    """What may be wrong with a kept call, the worst first, in the user's words."""

    GONE = "its file is gone"
    UNREADABLE = "its file cannot be read"
    SOUND = "its sound is damaged"
    STORY = "its story is damaged, or was changed by another program; its sound is whole"
    REPLACED = (
        "its file is gone, but another has the same call, as where `calltag keep --replace` was "
        "stopped; `calltag library rebuild` takes it out of the catalogue"
    )
    CHANGED = (
        "is not as the catalogue has it, since another program changed it or `calltag keep` was "
        "stopped; its sound and its story are whole, and `calltag library rebuild` takes it in"
    )
    UNKNOWN = "is not in the catalogue; `calltag library rebuild` takes it in"

    @property
    def is_damage(self) -> bool:
        """Whether something is lost, unless there is a copy."""
        return self in (Trouble.GONE, Trouble.UNREADABLE, Trouble.SOUND, Trouble.STORY)


@dataclass(frozen=True, slots=True)
class Finding:
    """What is wrong with one file.

    Attributes
    ----------
    path : str
        Its path below the library's folder.
    trouble : Trouble
        What it is.
    detail : str
        More about it; may be empty.
    """

    path: str
    trouble: Trouble
    detail: str = ""


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check found.

    Attributes
    ----------
    checked : int
        Files that were looked at.
    findings : tuple of Finding
        What is wrong, in order of paths.
    """

    checked: int
    findings: tuple[Finding, ...]

    @property
    def damaged(self) -> int:
        """How many kept calls are lost or damaged."""
        return sum(one.trouble.is_damage for one in self.findings)


def check(
    catalogue: Catalogue, *, told: Callable[[int, int], None] = lambda *_: None
) -> CheckReport:
    """Check every file of a library.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    told : callable
        Told after each file how many of how many are done.

    Returns
    -------
    CheckReport
        What was found.

    Raises
    ------
    LibraryError
        If the catalogue cannot be read.
    """
    folder = catalogue.folder
    rows = catalogue.read(
        "SELECT id, path, file_hash FROM cuts JOIN stories ON stories.cut = cuts.id"
    )
    keys = {path: key for key, path, _ in rows}
    hashes = {path: known_hash for _, path, known_hash in rows}
    files = {path_below(folder, file): file for file in sound_files(folder)}
    there = {path: file for path, file in files.items() if printable(path) == path}
    paths = sorted({*keys, *there})
    findings = []
    for number, path in enumerate(paths, 1):
        if path not in there:
            findings.append(_gone(catalogue, keys[path], path, there))
        elif (finding := _check(path, there[path], hashes.get(path))) is not None:
            findings.append(finding)
        told(number, len(paths))
    return CheckReport(len(paths), tuple(findings))


def _gone(catalogue: Catalogue, key: int, path: str, there: Collection[str]) -> Finding:
    """Whether the call of a file that is gone is lost: `keep` removes what it has replaced."""
    for other in doubles_of(catalogue, [key]).get(key, ()):
        if other.why in (Sameness.SOUND, Sameness.CALL) and other.path in there:
            return Finding(path, Trouble.REPLACED, other.path)
    return Finding(path, Trouble.GONE)


def _check(path: str, file: Path, known_hash: str | None) -> Finding | None:
    try:
        story, whole = read_story(file)
    except MediaError as error:
        if known_hash is None:
            return None  # a sound file that is none of ours
        return Finding(path, Trouble.UNREADABLE, error.reason)
    try:
        if sound_hash(file) != story.sound_hash:
            return Finding(path, Trouble.SOUND)
        if (told := _told_wrongly(file, story)) is not None:
            return Finding(path, Trouble.SOUND, told)
        if not whole:
            return Finding(path, Trouble.STORY)
        if known_hash is None:
            return Finding(path, Trouble.UNKNOWN)
        if file_hash(file) != known_hash:
            return Finding(path, Trouble.CHANGED)
    except MediaError as error:
        return Finding(path, Trouble.SOUND, error.reason)
    return None


def _told_wrongly(file: Path, story: Story) -> str | None:
    """Whether the file's own header says what the story says of the sound."""
    import soundfile

    try:
        header = soundfile.info(file)
    except soundfile.LibsndfileError:
        return "its header cannot be read"
    stated = (header.samplerate, header.channels, header.frames)
    if stated != (story.rate_hz, story.channels, story.n_samples):
        return "its header states another rate, number of channels or length"
    return None
