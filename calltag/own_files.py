"""What calltag's own files and folders are known by: logs, call libraries, models, sheets."""

from __future__ import annotations

from pathlib import Path

CATALOGUE_NAME, CATALOGUE_ID = "catalogue.db", 0x63746C62
"""The catalogue of a call library, and its mark ("ctlb"), by which its folder is known."""

SHEET_INDEX, SHEET_MARK = "index.html", '<meta name="generator" content="calltag sheet">'
"""The page of a sheet that is a folder, and what tells that calltag wrote it."""

MODEL_CARD = "card.json"
"""What a model file, a zip archive, begins with."""

MODEL_SUFFIX = ".model"
"""What the name of a model file ends with, unless the user names it otherwise."""

WAL_SUFFIX = "-wal"
"""What SQLite adds to a database's name for the file of what was written last."""

BESIDE_DATABASE = (WAL_SUFFIX, "-shm", "-journal")
"""The same for all files that it keeps beside a database."""

_DATABASE = b"SQLite format 3\0"
_ID_AT = 68  # of a database's header (SQLite, "Database File Format", section 1.3)
_NAME_AT = 30  # of a zip archive's first member (APPNOTE.TXT, section 4.3.7)


def is_sheet(folder: Path) -> bool:
    """Tell whether a folder is a sheet that calltag wrote.

    Parameters
    ----------
    folder : Path
        A folder.

    Returns
    -------
    bool
        Whether its page says so; False where it has none, or it cannot be read.
    """
    try:
        with (folder / SHEET_INDEX).open(encoding="utf-8") as file:
            return SHEET_MARK in file.read(2000)
    except (OSError, UnicodeDecodeError):
        return False


def is_library(folder: Path) -> bool:
    """Tell whether a folder is a call library.

    Parameters
    ----------
    folder : Path
        A folder.

    Returns
    -------
    bool
        Whether its catalogue is marked as one; False where it has none, or it cannot be read.
    """
    mark = CATALOGUE_ID.to_bytes(4, "big")
    return _begins_with(folder / CATALOGUE_NAME, _DATABASE, mark, at=_ID_AT)


def is_database(path: Path) -> bool:
    """Tell whether a file is a database, as logs and catalogues are.

    Parameters
    ----------
    path : Path
        Any place.

    Returns
    -------
    bool
        Whether it begins like one.
    """
    return _begins_with(path, _DATABASE)


def is_of_database(path: Path) -> bool:
    """Tell whether a place is that of a database, or of what the database keeps beside it.

    Parameters
    ----------
    path : Path
        Any place, empty or not.

    Returns
    -------
    bool
        Whether there is a database, or one that the place would belong to by its name.
    """
    beside = (
        path.with_name(path.name.removesuffix(suffix))
        for suffix in BESIDE_DATABASE
        if path.name.endswith(suffix) and path.name != suffix
    )
    return is_database(path) or any(map(is_database, beside))


def lies_in_library(path: Path) -> bool:
    """Tell whether a place lies in a call library.

    Parameters
    ----------
    path : Path
        Any place, empty or not.

    Returns
    -------
    bool
        Whether a folder above it has a catalogue.
    """
    return any(is_database(folder / CATALOGUE_NAME) for folder in path.resolve().parents)


def is_model(path: Path) -> bool:
    """Tell whether a file is a taught model.

    Parameters
    ----------
    path : Path
        Any place.

    Returns
    -------
    bool
        Whether a model's card is what it begins with.
    """
    return _begins_with(path, b"PK\3\4", MODEL_CARD.encode(), at=_NAME_AT)


def _begins_with(path: Path, start: bytes, more: bytes = b"", *, at: int = 0) -> bool:
    """Whether a file begins so, and has some more bytes at a place."""
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            head = file.read(max(len(start), at + len(more)))
    except (OSError, ValueError):
        return False
    return head.startswith(start) and head[at : at + len(more)] == more
