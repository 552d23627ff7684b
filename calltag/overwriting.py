"""What is never overwritten: footage, what calltag keeps, and what exists, unless so asked."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from calltag.errors import ExistsError, InputError
from calltag.own_files import MODEL_SUFFIX, is_database, is_model, is_of_database, lies_in_library
from calltag.paths import folded, is_folder, is_there


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
