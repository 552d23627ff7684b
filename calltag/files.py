"""Writing files: whole or not at all, and nothing overwritten that is not to be."""

from __future__ import annotations

import os
import shutil
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from types import MappingProxyType

from calltag.errors import (
    CalltagError,
    ExistsError,
    InputError,
    WriteError,
    may_be_open,
    reason_of,
)
from calltag.own_files import MODEL_SUFFIX, is_database, is_model, is_of_database, lies_in_library
from calltag.partials import partial_path, sweep_once
from calltag.words import one_spelling


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Write a file under a name beside it, and give it its own name when it is complete.

    Parameters
    ----------
    path : Path
        The file to write; its folder is made where there is none. An existing file is replaced.

    Yields
    ------
    Path
        Where to write. If the block ends by an error, nothing is left there.

    Raises
    ------
    WriteError
        If the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "calls.csv"
    ...     with written_whole(path) as partial:
    ...         _ = partial.write_text("take,start_s")
    ...     path.read_text()
    'take,start_s'
    """
    with partial_of(path) as partial:
        yield partial
        _move(partial, path, path)


@contextmanager
def partial_of(path: Path) -> Iterator[Path]:
    """Write a file under a name beside it, and leave it to others to give it its own.

    Parameters
    ----------
    path : Path
        The file; its folder is made where there is none.

    Yields
    ------
    Path
        Where to write. What is there still when the block ends is removed.

    Raises
    ------
    WriteError
        If the file cannot be written.
    """
    partial = partial_path(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        sweep_once(path.parent)
        yield partial
    except CalltagError:
        raise
    except OSError as error:
        raise WriteError(path, reason_of(error)) from error
    finally:
        with suppress(OSError):
            partial.unlink()


@contextmanager
def written_together(
    paths: Sequence[Path], beside: Mapping[Path, Path] = MappingProxyType({})
) -> Iterator[list[Path]]:
    """Write files that belong together: none gets its own name before all are complete.

    Parameters
    ----------
    paths : sequence of Path
        The files to write, as by `written_whole`.
    beside : mapping of Path to Path
        Further ones that belong to these: where each was written, and its own place.

    Yields
    ------
    list of Path
        Where to write each. If the block ends by an error, or one cannot be put in place, all
        files are as they were.

    Raises
    ------
    WriteError
        If one cannot be written.
    """
    with ExitStack() as stack:
        partials = [stack.enter_context(partial_of(path)) for path in paths]
        yield partials
        put_all_in_place({**beside, **dict(zip(partials, paths, strict=True))})


def put_all_in_place(files: Mapping[Path, Path]) -> None:
    """Give files that are complete their own names: all of them or, if one cannot have it, none.

    Parameters
    ----------
    files : mapping of Path to Path
        Where each was written, and its own place; existing files are replaced.

    Raises
    ------
    WriteError
        If one cannot be put in place; then all that was there is there again.
    """
    begun: list[tuple[Path, Path, Path | None]] = []
    try:
        for partial, path in files.items():
            try:
                before = partial_path(path) if is_there(path) else None
                begun.append((partial, path, before))
                if before is not None:
                    _lay_aside(path, before)
                _move(partial, path, path)
            except OSError as error:
                raise WriteError(path, reason_of(error)) from error
    except BaseException:
        for partial, path, before in reversed(begun):
            if is_there(partial):
                continue  # the last of them, which was not moved
            with suppress(OSError):  # what was laid aside is gone: rather the new file than none
                if before is None:
                    path.unlink()
                else:
                    before.replace(path)
        raise
    finally:
        for _, _, before in begun:
            if before is not None:
                with suppress(OSError):
                    before.unlink()


def _lay_aside(path: Path, before: Path) -> None:
    """Give a file a second name; it keeps its own, so that a killed run does not take it away."""
    try:
        os.link(path, before)
    except OSError:  # a disk without links
        shutil.copy2(path, before)


def _move(source: Path, target: Path, path: Path) -> None:
    """Move a file, in place of another; `path` is the one to name where that is refused."""
    try:
        source.replace(target)
    except PermissionError as error:
        if not may_be_open(error):
            raise
        reason = f"{reason_of(error)}: another program may have it open, so close it there"
        raise WriteError(path, reason) from error


def is_there(path: Path) -> bool:
    """Tell whether there is a file or folder; none can be where the name is too long.

    Parameters
    ----------
    path : Path
        Any path.

    Returns
    -------
    bool
        Whether there is one.
    """
    try:
        return path.exists()
    except OSError:
        return False


def is_file(path: Path) -> bool:
    """Tell whether there is a file; none can be where the name is too long.

    Parameters
    ----------
    path : Path
        Any path.

    Returns
    -------
    bool
        Whether there is one; False where the folder may not be entered, too.
    """
    try:
        return path.is_file()
    except OSError:
        return False


def is_folder(path: Path) -> bool:
    """Tell whether there is a folder; none can be where the name is too long.

    Parameters
    ----------
    path : Path
        Any path.

    Returns
    -------
    bool
        Whether there is one.
    """
    try:
        return path.is_dir()
    except OSError:
        return False


def folded(path: str | Path) -> str:
    """Spell a path so that two that may be one file read alike.

    Most disks of Macs and Windows take ``A.MP4`` and ``a.mp4`` for one name, and those of Macs take
    ``é`` for the same however it is stored.

    Parameters
    ----------
    path : str or Path
        Any path.

    Returns
    -------
    str
        Its small letters, every accent with its letter.

    Examples
    --------
    >>> folded("Card/Cafe\u0301.MP4") == folded("card/caf\u00e9.mp4")
    True
    """
    return one_spelling(str(path).casefold())


def is_one(path: str | Path, other: str | Path) -> bool:
    """Tell whether two paths are of one file or folder, as its disk has it.

    Parameters
    ----------
    path, other : str or Path
        Absolute paths without links.

    Returns
    -------
    bool
        Whether they are spelt alike, or differ in what `folded` leaves out and lead to the same.
    """
    if str(path) == str(other):
        return True
    try:
        return folded(path) == folded(other) and Path(path).samefile(other)
    except OSError:
        return False


def printable(text: str) -> str:
    r"""Make of a file's name a text that can be stored and printed.

    Parameters
    ----------
    text : str
        The name; on some systems it need be no valid Unicode.

    Returns
    -------
    str
        The same, with U+FFFD for each byte that is no text; so it differs where there is one.

    Examples
    --------
    >>> printable(os.fsdecode(b"pond\xff.mov")) == "pond\N{REPLACEMENT CHARACTER}.mov"
    True
    """
    return os.fsencode(text).decode("utf-8", "replace")


def check_place(path: Path) -> None:
    """Make sure that a file or folder can be written, before the work that goes into it.

    Parameters
    ----------
    path : Path
        The file or folder; nothing is left there.

    Raises
    ------
    WriteError
        If it cannot be written.
    """
    folder = next(folder for folder in path.absolute().parents if is_folder(folder))
    sweep_once(folder)
    trial = partial_path(folder / path.name)
    try:
        with suppress(FileNotFoundError):
            path.lstat()  # tells of a name that is too long
        trial.touch()
        trial.unlink()
    except OSError as error:
        raise WriteError(path, reason_of(error)) from error


def refuse_own(paths: Collection[Path]) -> None:
    """Make sure that nothing is overwritten that calltag keeps what it knows in.

    Parameters
    ----------
    paths : collection of Path
        Files or folders that are about to be written.

    Raises
    ------
    InputError
        If one is a log, a catalogue, a file beside one of these that belongs to it, or a taught
        model, or lies in a call library.
    """
    for path in paths:
        if is_of_database(path):
            raise InputError(
                f"{path}: this is a log, or the catalogue of a call library, or belongs to one, and"
                " is never overwritten; name another file"
            )
        if is_model(path):
            raise InputError(
                f"{path}: this is a taught model, which is never overwritten; name another file"
            )
        if lies_in_library(path):
            raise InputError(f"{path}: this lies in a call library; name a place outside it")


def refuse_footage(paths: Collection[Path], sources: Collection[Path]) -> None:
    """Make sure that no take is overwritten.

    Parameters
    ----------
    paths : collection of Path
        Files that are about to be written.
    sources : collection of Path
        The takes.

    Raises
    ------
    InputError
        If one is a take, or may be, as `folded` has it.
    """
    footage = {folded(source.resolve()) for source in sources}
    for path in paths:
        if folded(path.resolve()) in footage:
            raise InputError(
                f"{path}: this is a take, which is never written to; name one outside the rushes"
            )


def refuse_other_than_model(path: Path) -> None:
    """Make sure that a model overwrites nothing but a model.

    Parameters
    ----------
    path : Path
        Where a model is about to be stored.

    Raises
    ------
    InputError
        If there is something that neither is a model nor has a model's suffix, as a damaged one
        may, or if it is a log.
    """
    replaceable = is_model(path) or (path.suffix == MODEL_SUFFIX and not is_database(path))
    if is_there(path) and not replaceable:
        raise InputError(
            f"{path}: exists already and is no taught model, so it is not overwritten; name another"
            " file"
        )


def refuse_existing(paths: Collection[Path], *, replace: bool, named: str = "file") -> None:
    """Make sure that nothing is overwritten by mistake.

    Parameters
    ----------
    paths : collection of Path
        Files that are about to be written.
    replace : bool
        Whether existing ones may be replaced.
    named : str
        What the user named: the file, or the folder that they go into.

    Raises
    ------
    InputError
        If one exists and may not be (`ExistsError`), is a folder, is calltag's own (`refuse_own`),
        or is named twice.
    """
    refuse_own(paths)
    seen: set[str] = set()
    for path in paths:
        name = folded(path.resolve())
        if name in seen:
            raise InputError(f"{path}: two files would have this name; name them differently")
        seen.add(name)
        if is_folder(path):
            raise InputError(f"{path}: there is a folder of this name; name another {named}")
        if is_there(path) and not replace:
            raise ExistsError(path, f"exists already; name another {named}, or add --replace")


def write_texts(
    texts: Mapping[Path, str],
    *,
    replace: bool,
    beside: Mapping[Path, Path] = MappingProxyType({}),
) -> list[Path]:
    """Write text files that belong together: all of them or, if one cannot be written, none.

    Parameters
    ----------
    texts : mapping of Path to str
        What to write where; line ends are kept as they are.
    replace : bool
        Whether existing files may be replaced.
    beside : mapping of Path to Path
        Further files that belong to these, as for `written_together`.

    Returns
    -------
    list of Path
        The files of the texts.

    Raises
    ------
    InputError
        If one may not be replaced or cannot be written.
    """
    refuse_existing(texts, replace=replace)
    with written_together(list(texts), beside) as partials:
        for partial, text in zip(partials, texts.values(), strict=True):
            partial.write_bytes(text.encode("utf-8"))
    return list(texts)
