"""Options and words that the commands of the call library share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

LIBRARY = Path("~/calltag-library")

CARE = (
    "Please: do not play these calls at wild animals. It disturbs them, most of all near nests and "
    "when they breed, and in many places it is against the law; follow local law and the practice "
    "of those who are licensed. Turn headphones down before you play what you do not know. The "
    "names are tags for the edit, not identification records."
)

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
    return named.expanduser()
