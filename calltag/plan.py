"""What a run has to do with each clip: what the log knows already, what moved, what is new.

Takes are known by the identity of their content, never by their names: cameras use names again.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from calltag.errors import MediaError, says_gone
from calltag.log import Entry, earlier_name
from calltag.media.identity import digest
from calltag.media.rushes import Clip
from calltag.paths import folded, is_one
from calltag.records.take import Problem
from calltag.spelling import name_order

READERS = 8
"""Threads that read files' identities; they wait for the disk, not for the processor."""


@dataclass(frozen=True, slots=True)
class Job:
    """A clip to analyse.

    Attributes
    ----------
    file : Path
        The clip.
    rushes : str
        The folder that `path` starts from.
    path : str
        Its name in the log.
    digest : str
        Identity of its content.
    size_bytes : int
        Its size.
    """

    file: Path
    rushes: str
    path: str
    digest: str
    size_bytes: int


@dataclass(slots=True, kw_only=True)
class Plan:
    """What to do with the clips of a run, and with takes of the log.

    Attributes
    ----------
    moves : dict of str to tuple of two str
        Takes whose file was moved or renamed: name in the log, to its new rushes folder and name.
    replaced : dict of str to tuple of two str
        Takes whose file gave way to that of another take, and is nowhere in the rushes: name in
        the log, to their rushes folder and the name that they are kept under.
    missing : list of str
        Takes whose file is gone from the rushes.
    known : list of str
        Takes that need no work.
    copies : list of tuple of str and Job
        Clips with the content of a take that needs no work, with its name.
    jobs : list of list of Job
        Clips to analyse; those with the same content together.
    problems : list of tuple of str and Problem
        Clips that cannot be read at all, with their rushes folder.
    """

    moves: dict[str, tuple[str, str]] = field(default_factory=dict)
    replaced: dict[str, tuple[str, str]] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    known: list[str] = field(default_factory=list)
    copies: list[tuple[str, Job]] = field(default_factory=list)
    jobs: list[list[Job]] = field(default_factory=list)
    problems: list[tuple[str, Problem]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Identity:
    digest: str
    size_bytes: int


def make_plan(
    clips: Sequence[Clip], entries: Sequence[Entry], *, feature_version: int, force: bool = False
) -> Plan:
    """Decide what has to be done with each clip.

    Parameters
    ----------
    clips : sequence of Clip
        The clips of the rushes.
    entries : sequence of Entry
        What the log knows.
    feature_version : int
        Takes that were measured by another version are analysed again.
    force : bool
        Whether to analyse all takes again.

    Returns
    -------
    Plan
        The clips in their order, each in one of its lists.
    """
    identities = _identities(clips)
    logged = _logged(entries, identities)
    staying = {file: e for file, e in logged.items() if _stays(file, e, identities)}
    moved = _moved(identities, logged, staying)
    settled = {entry.take.path for entry in (*staying.values(), *moved.values())}
    gone = {file: e for file, e in logged.items() if e.take.path not in settled}
    names = _Names(
        [e.take.path for e in staying.values()]
        + [e.take.path for file, e in gone.items() if file not in moved]  # kept, or asked for again
    )
    plan = Plan(missing=_missing({f: e for f, e in gone.items() if f not in identities}, clips))
    originals: dict[str, str] = {}
    jobs: dict[str, list[Job]] = defaultdict(list)
    unknown: list[Job] = []
    for clip in clips:
        file = real_path(clip.path)
        identity = identities[file]
        # A file with other content than before, but in its place, keeps the name it had.
        named = staying.get(file) or (None if file in moved else gone.get(file))
        rushes, name = (named.take.rushes, named.take.path) if named else names.give(clip)
        if isinstance(identity, MediaError):
            plan.problems.append((rushes, Problem(path=name, reason=identity.reason)))
            continue
        job = Job(clip.path, rushes, name, identity.digest, identity.size_bytes)
        entry = staying.get(file) or moved.get(file)
        if entry is None:
            unknown.append(job)
            continue
        if (entry.take.rushes, entry.take.path) != (rushes, name):
            plan.moves[entry.take.path] = (rushes, name)
        if entry.feature_version == feature_version and not force:
            plan.known.append(name)
            originals.setdefault(job.digest, name)
        else:
            jobs[job.digest].append(job)
    for take in (gone[file].take for file in moved if file in gone):
        plan.replaced[take.path] = (take.rushes, names.earlier(take.path))
    for job in unknown:
        if job.digest in originals:
            plan.copies.append((originals[job.digest], job))
        else:
            jobs[job.digest].append(job)
    plan.jobs = list(jobs.values())
    return plan


def _logged(entries: Sequence[Entry], here: Collection[str]) -> dict[str, Entry]:
    """Entries by their files; one that lies in the rushes, by how its path is spelt there."""
    logged = {real_path(entry.take.file): entry for entry in entries}
    new = {folded(file): file for file in here if file not in logged}
    for old in [file for file in logged if file not in here]:
        file = new.get(folded(old))
        if file is not None and file not in logged and is_one(old, file):
            logged[file] = logged.pop(old)
    return logged


def _missing(gone: Mapping[str, Entry], clips: Sequence[Clip]) -> list[str]:
    """Of takes whose files are gone, those that were in the rushes that are logged now."""
    folders = {real_path(clip.rushes) for clip in clips}
    there = (
        entry.take.path
        for file, entry in gone.items()
        if not folders.isdisjoint(map(str, Path(file).parents))
    )
    return sorted(there, key=name_order)


def _identities(clips: Sequence[Clip]) -> dict[str, _Identity | MediaError]:
    with ThreadPoolExecutor(READERS) as threads:
        found = threads.map(_identity, clips)
        return {real_path(clip.path): one for clip, one in zip(clips, found, strict=True)}


def _identity(clip: Clip) -> _Identity | MediaError:
    try:
        return _Identity(digest(clip.path), clip.path.stat().st_size)
    except MediaError as error:
        return error
    except OSError:  # gone between the two
        return MediaError(clip.path, "is gone; check the drive or card")


def _stays(file: str, entry: Entry, identities: Mapping[str, _Identity | MediaError]) -> bool:
    identity = identities.get(file)
    if identity is None:
        return not is_gone(file)
    return isinstance(identity, MediaError) or identity.digest == entry.take.digest


def _moved(
    identities: Mapping[str, _Identity | MediaError],
    logged: Mapping[str, Entry],
    staying: Mapping[str, Entry],
) -> dict[str, Entry]:
    """Find the files that the log knows from another place, where they are no longer."""
    homeless: dict[str, list[tuple[str, Entry]]] = defaultdict(list)
    for file, entry in logged.items():
        if file not in staying:
            homeless[entry.take.digest].append((file, entry))
    moved: dict[str, Entry] = {}
    # Of several with the same content, first those that kept their names.
    for same_name in (True, False):
        for file, identity in identities.items():
            if file in staying or file in moved or isinstance(identity, MediaError):
                continue
            candidates = homeless[identity.digest]
            own = [at for at in candidates if not same_name or Path(at[0]).name == Path(file).name]
            if own:
                candidates.remove(own[0])
                moved[file] = own[0][1]
    return moved


def is_gone(file: str) -> bool:
    """Tell whether a file is no longer there; one that cannot be looked at may be.

    Parameters
    ----------
    file : str
        Its absolute path.

    Returns
    -------
    bool
        Whether there is none; False where the folder may not be entered, or the drive fails.
    """
    try:
        Path(file).stat()
    except OSError as error:
        return says_gone(error)
    return False


def longer_name(file: Path, name: str) -> tuple[str, str] | None:
    """Put one more folder before a clip's name in the log; before the last, the drive of Windows.

    Parameters
    ----------
    file : Path
        The clip; absolute.
    name : str
        Its name, the end of its path.

    Returns
    -------
    tuple of two str, or None
        Its rushes folder, which moves up so that both together still lead to the file, and its
        name; None where there is no folder left to put before it.
    """
    depth = name.count("/") + 2
    if depth >= len(file.parts):
        whole = file.as_posix()
        return (file.anchor, whole) if file.drive and name != whole else None
    return str(file.parents[depth - 1]), "/".join((file.parts[-depth], name))


def real_path(path: Path) -> str:
    """Tell where a file really is, by whatever links it was reached.

    Parameters
    ----------
    path : Path
        Any path of it.

    Returns
    -------
    str
        Its absolute path without links.
    """
    return os.path.realpath(path)


class _Names:
    """Gives each clip a name that no other take of the log has.

    A name that is taken gets the folders above it put before it, as many as tell it apart.
    """

    def __init__(self, taken: Iterable[str]) -> None:
        self._taken = set(taken)

    def give(self, clip: Clip) -> tuple[str, str]:
        name = clip.name
        above = clip.path.parents
        rushes = str(above[min(name.count("/"), len(above) - 1)])  # a name may tell the drive, too
        while name in self._taken and (longer := longer_name(clip.path, name)):
            rushes, name = longer
        self._taken.add(name)
        return rushes, name

    def earlier(self, path: str) -> str:
        return earlier_name(path, self._taken.__contains__)
