"""Where a sheet is written: one file that holds all, or a folder with pictures and sounds in it."""

from __future__ import annotations

import base64
import hashlib
import re
import shutil
from collections.abc import Callable, Collection
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from calltag.errors import InputError, WriteError, reason_of
from calltag.files import check_place, written_whole
from calltag.overwriting import refuse_existing, refuse_own
from calltag.own_files import SHEET_INDEX, is_sheet
from calltag.partials import partial_path
from calltag.paths import is_there

_SHOWN = re.compile(r"(take|call)\d+(-[0-9a-f]{8})?\.(jpg|png|mp3)")
_OF_SYSTEMS = re.compile(r"\.DS_Store|\._.+|Thumbs\.db|desktop\.ini")  # what they leave anywhere

_TYPES = {"mp3": "audio/mpeg", "png": "image/png", "jpg": "image/jpeg"}


class Store(Protocol):
    """Where pictures and sounds go, and what they are fetched from there with."""

    sources: str

    def put(self, name: str, data: bytes) -> str:
        """Store a picture or a sound.

        Parameters
        ----------
        name : str
            A name for its file.
        data : bytes
            Its content.

        Returns
        -------
        str
            Its address, as the page names it.
        """
        ...


class _InPage:
    """Inside the page."""

    sources = "data:"

    def put(self, name: str, data: bytes) -> str:
        kind = _TYPES[name.rpartition(".")[2]]
        return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


class _FolderStore:
    """In files beside it, whose names tell the content: no other sheet's has the name of one."""

    sources = "'self' file: data:"

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def put(self, name: str, data: bytes) -> str:
        stem, suffix = name.rsplit(".", 1)
        named = f"{stem}-{hashlib.sha256(data).hexdigest()[:8]}.{suffix}"
        (self._folder / named).write_bytes(data)
        return named


def refuse_place(out: Path, *, folder: bool, replace: bool) -> None:
    """Make sure that a sheet may be written to a place.

    Parameters
    ----------
    out : Path
        The file, or the folder.
    folder : bool
        Whether it is to be a folder.
    replace : bool
        Whether an existing sheet may be replaced.

    Raises
    ------
    InputError
        If something else is there, a sheet that is not to be replaced, or it cannot be written.
    """
    if not folder:
        refuse_name(out)
        refuse_existing([out], replace=replace)
    else:
        _refuse_folder(out, replace=replace)
    check_place(out.resolve() if folder else out)


def refuse_name(out: Path) -> None:
    """Make sure that a sheet of one file has the name of a web page.

    Parameters
    ----------
    out : Path
        The file.

    Raises
    ------
    InputError
        If its name does not end in .html or .htm.
    """
    if out.suffix.lower() not in (".html", ".htm"):
        name = out.stem if out.suffix[1:].isalpha() else out.name
        raise InputError(f"{out}: a sheet is a web page; name it {name}.html, or add --folder")


def _refuse_folder(out: Path, *, replace: bool) -> None:
    refuse_own([out])
    if not is_there(out):
        return
    if not replace:
        raise InputError(f"{out}: exists already; name another folder, or add --replace")
    if not is_sheet(out):
        raise InputError(f"{out}: holds no sheet of calltag, so it is left alone; name another")
    others = sorted(one.name for one in out.iterdir())
    if other := next((name for name in others if not _is_part(name)), None):
        raise InputError(
            f"{out}: holds {other}, which is no part of a sheet; move it elsewhere, or name"
            " another folder"
        )


def _is_part(name: str) -> bool:
    return name == SHEET_INDEX or bool(_SHOWN.fullmatch(name) or _OF_SYSTEMS.fullmatch(name))


def write_file(out: Path, page: Callable[[Store], str]) -> int:
    """Write a sheet that is one file.

    Parameters
    ----------
    out : Path
        The file.
    page : callable
        Makes the page, and puts what it shows into the store that it is given.

    Returns
    -------
    int
        Its size in bytes.

    Raises
    ------
    WriteError
        If it cannot be written.
    """
    encoded = page(_InPage()).encode("utf-8")
    with written_whole(out) as file:
        file.write_bytes(encoded)
    return len(encoded)


def write_folder(out: Path, page: Callable[[Store], str]) -> int:
    """Write a sheet that is a folder; it appears, or replaces another, when it is complete.

    Parameters
    ----------
    out : Path
        The folder.
    page : callable
        Makes the page, and puts what it shows into the store that it is given.

    Returns
    -------
    int
        Size of all that is in it, in bytes.

    Raises
    ------
    WriteError
        If it cannot be written.
    """
    place = out.resolve()  # a link may lead to another disk, to which nothing is moved whole
    partial = partial_path(place)
    try:
        _make_folder(partial, place)
        (partial / SHEET_INDEX).write_text(page(_FolderStore(partial)), "utf-8")
        size_bytes = sum(file.stat().st_size for file in partial.rglob("*") if file.is_file())
        _put_in_place(partial, place)
    except OSError as error:
        raise WriteError(out, reason_of(error)) from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return size_bytes


def _make_folder(partial: Path, out: Path) -> None:
    out.parent.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(partial, ignore_errors=True)
    partial.mkdir()


def _put_in_place(partial: Path, out: Path) -> None:
    if not out.exists():
        partial.rename(out)
        return
    before, shown = _shown_in(out), _shown_in(partial)
    page = partial / SHEET_INDEX
    try:
        for name in shown:
            (partial / name).replace(out / name)
        page.replace(out / SHEET_INDEX)  # what both pages show is there, before and after
    except BaseException:
        if page.exists():
            _remove(out, shown - before)
        raise
    _remove(out, before - shown)


def _shown_in(folder: Path) -> set[str]:
    return {file.name for file in folder.iterdir() if _SHOWN.fullmatch(file.name)}


def _remove(folder: Path, names: Collection[str]) -> None:
    for name in names:
        with suppress(OSError):  # one that is open; the next sheet there removes it
            (folder / name).unlink()
