"""The catalogue made anew from the files alone.

Files are taken in a few at a time, each in place of what was known of it, and what has no file any
more is taken out at the end: so the library can be used meanwhile, by this process or another, and
a rebuild that is killed leaves a catalogue that is true, though it may lack files; it remembers
that. A catalogue that is damaged is laid aside first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from calltag.database import is_damage
from calltag.errors import LibraryError, MediaError, reason_of
from calltag.library.catalogue.catalogue import NAME, Catalogue
from calltag.library.kept_file.sound_file import file_hash, read_story, sound_files
from calltag.library.kept_file.story import Story
from calltag.library.search.like import prepare
from calltag.own_files import BESIDE_DATABASE
from calltag.partials import sweep
from calltag.paths import is_folder, is_one, is_there, printable
from calltag.records.take import Problem
from calltag.spelling import one_spelling

LAID_ASIDE = f"{NAME}.damaged"
"""What a damaged catalogue is called from then on."""

_AT_ONCE = 200

_Entry = tuple[str, Story, int, str]
"""What `Catalogue.put` takes in of a file."""


@dataclass(slots=True)
class RebuildReport:
    """What came of a rebuild.

    Attributes
    ----------
    taken : int
        Files that the catalogue knows now.
    gone : list of str
        Paths that it knew, and that are no more.
    strangers : list of Problem
        Sound files without a story, or with one that cannot be read.
    doubtful : list of str
        Files whose story was damaged, or changed by hand.
    laid_aside : Path or None
        Where the old catalogue is, if it was damaged.
    """

    taken: int = 0
    gone: list[str] = field(default_factory=list)
    strangers: list[Problem] = field(default_factory=list)
    doubtful: list[str] = field(default_factory=list)
    laid_aside: Path | None = None


def rebuild(folder: Path, *, told: Callable[[int, int], None] = lambda *_: None) -> RebuildReport:
    """Make a library's catalogue anew from its files.

    Parameters
    ----------
    folder : Path
        The library's folder.
    told : callable
        Told now and then how many files of how many are done.

    Returns
    -------
    RebuildReport
        What came of it.

    Raises
    ------
    LibraryError
        If there is no such folder, nothing of a library is in it, or its catalogue cannot be
        written.
    ModelError
        If what is known of call types beforehand is missing or damaged.
    """
    if not is_folder(folder):
        raise LibraryError(f"{folder}: there is no such folder; name the library with --library")
    if not is_there(folder / NAME) and next(sound_files(folder), None) is None:
        raise LibraryError(
            f"{folder}: there is neither a catalogue nor a sound file here; name the library with "
            "--library"
        )
    report = RebuildReport()
    with _opened(folder, report) as catalogue:
        sweep(folder, below=True)
        catalogue.set_unfinished(True)
        files = list(sound_files(folder))
        entries: list[_Entry] = []
        for number, file in enumerate(files, 1):
            entries += _entries_of(folder, file, report)
            if len(entries) == _AT_ONCE or number == len(files):
                catalogue.put(entries)
                entries = []
                told(number, len(files))
        strangers = {problem.path for problem in report.strangers}
        report.gone = [
            path for path in catalogue.paths() if path in strangers or not (folder / path).is_file()
        ]
        catalogue.remove(report.gone)
        prepare(catalogue)
        catalogue.set_unfinished(False)
    return report


def _entries_of(folder: Path, file: Path, report: RebuildReport) -> list[_Entry]:
    """What the catalogue is to have of a file; nothing of one that cannot be read."""
    named = path_below(folder, file)
    path = printable(named)
    try:
        if path != named:
            raise MediaError(file, "its name is no valid text; rename it")
        story, whole = read_story(file)
        entry = path, story, file.stat().st_size, file_hash(file)
    except (MediaError, FileNotFoundError) as error:
        if isinstance(error, MediaError) and file.exists():  # not moved away meanwhile
            report.strangers.append(Problem(path=path, reason=error.reason))
        return []
    report.taken += 1
    if not whole:
        report.doubtful.append(path)
    return [entry]


def refuse_lost_catalogue(folder: Path) -> None:
    """Make sure that no library is begun where one lies that has lost its catalogue.

    Its files would be cut anew, without what was said of them.

    Parameters
    ----------
    folder : Path
        The library's folder; nothing is asked of one that has a catalogue.

    Raises
    ------
    LibraryError
        If there are kept calls in it, and no catalogue.
    """
    lost = is_folder(folder) and not is_there(folder / NAME)
    if lost and any(map(_has_story, sound_files(folder))):
        raise LibraryError(
            f"{folder}: there are kept calls here, but no catalogue; `calltag library rebuild` "
            "makes one from the files"
        )


def _has_story(file: Path) -> bool:
    try:
        read_story(file)
    except MediaError:
        return False
    return True


def path_below(folder: Path, file: Path) -> str:
    """Tell the path of a kept call's file as the catalogue has it.

    Macs list names on many disks with accents apart from their letters, however they were written.

    Parameters
    ----------
    folder : Path
        The library's folder.
    file : Path
        A file in it, as the disk lists it.

    Returns
    -------
    str
        Its path below the folder, ``/`` between its parts; every accent with its letter, where
        that leads to the same file.
    """
    listed = file.relative_to(folder).as_posix()
    spelt = one_spelling(listed)
    return spelt if is_one(folder / spelt, file) else listed


def _opened(folder: Path, report: RebuildReport) -> Catalogue:
    """Open the catalogue; one that is damaged is laid aside, and a new one begun."""
    try:
        catalogue = Catalogue(folder, create=True)
        try:
            if catalogue.read("PRAGMA quick_check") == [("ok",)]:
                return catalogue
        except LibraryError as error:
            if not is_damage(error):
                raise
        catalogue.close()
    except LibraryError as error:
        if not is_damage(error):
            raise
    report.laid_aside = folder / LAID_ASIDE
    try:
        # What lies beside it goes first: a new catalogue would take it for its own.
        for suffix in BESIDE_DATABASE:
            (folder / f"{NAME}{suffix}").unlink(missing_ok=True)
        (folder / NAME).replace(report.laid_aside)
    except OSError as error:
        raise LibraryError(
            f"{folder / NAME}: this catalogue is damaged and cannot be laid aside "
            f"({reason_of(error)}); close what has the library open, and rebuild it again"
        ) from error
    return Catalogue(folder, create=True)
