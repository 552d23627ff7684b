"""Where files lie that pages show: below the folder that they belong to, and nowhere else.

By itself, so that the workers of the sheet need not load what learns.
"""

from __future__ import annotations

import os
from pathlib import Path

from calltag.errors import MediaError
from calltag.records.take import Take


def take_file(take: Take) -> Path:
    """Tell where a take's file or its copy lies, and make sure it is below its rushes folder.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    MediaError
        If the log's path leads out of the rushes folder, as no log of ours does.
    """
    source = take.found_at or take
    return inside(Path(source.rushes), source.path, mend="log the rushes again")


def inside(folder: Path, path: str, *, mend: str) -> Path:
    """Tell where a file of a folder lies, and make sure that it lies below it.

    Parameters
    ----------
    folder : Path
        The folder; links in it are followed.
    path : str
        Path below it.
    mend : str
        What to do where it does not.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    MediaError
        If the path leads out of the folder.
    """
    top = os.path.abspath(folder)  # noqa: PTH100 - a link may be part of the rushes
    file = Path(os.path.abspath(os.path.join(top, path)))  # noqa: PTH100, PTH118
    if not file.is_relative_to(top) or file == Path(top):
        raise MediaError(file, f"lies outside {folder}; {mend}")
    return file
