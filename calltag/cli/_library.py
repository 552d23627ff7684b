"""What the commands share that work on the call library: its folder."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._output import say
from calltag.errors import InputError

if TYPE_CHECKING:
    from calltag.library.catalogue.catalogue import Catalogue

LIBRARY = Path("~/calltag-library")

LibraryFolder = Annotated[
    Path,
    typer.Option(
        "--library",
        metavar="FOLDER",
        help='The call library\'s folder. `library = "FOLDER"` below [all] in calltag.toml names '
        "another for good.",
    ),
]


def library_folder(named: Path) -> Path:
    """Return the library's folder, with the user's home put in for ``~``."""
    if named.parts[:1] == ("~",) and os.environ.get("HOME") == "":
        raise _homeless(named)
    try:
        return named.expanduser()
    except RuntimeError:
        raise _homeless(named) from None


def _homeless(named: Path) -> InputError:
    return InputError(f"{named}: your home folder is not known; name the library with --library")


def warn_unfinished(catalogue: Catalogue) -> None:
    """Say so where a rebuild of the catalogue was not finished."""
    if catalogue.unfinished:
        say(
            "A rebuild of this catalogue was not finished, so calls may be missing from it; "
            "`calltag library rebuild` goes through all files again."
        )
