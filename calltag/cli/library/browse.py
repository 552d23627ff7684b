"""`calltag library browse`: the library page in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calltag.cli._library import LIBRARY, LibraryFolder, library_folder
from calltag.cli._options import OpenBrowser


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("browse")(browse_command)


def browse_command(
    library: LibraryFolder = LIBRARY,
    to: Annotated[
        Path,
        typer.Option(metavar="FOLDER", help="The folder that the page proposes to hand out to."),
    ] = Path("handed-out"),
    browser: OpenBrowser = True,
) -> None:
    """Look, listen and pick in your browser, and hand out.

    The page is for this computer alone. Ctrl-C ends it.

    \b
    Example:
      calltag library browse --to D:/edit/calls
    """
    from calltag.cli._pages import serve_page
    from calltag.pages.library_page import library_app

    folder = library_folder(library)
    serve_page(library_app(folder, target=to), "The library page", browser=browser)
