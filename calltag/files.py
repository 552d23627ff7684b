"""Writing files: whole or not at all, and of those that belong together all or none."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from types import MappingProxyType

from calltag.errors import CalltagError, WriteError, may_be_open, reason_of
from calltag.overwriting import refuse_existing
from calltag.partials import partial_path, sweep_once
from calltag.paths import is_folder, is_there


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
