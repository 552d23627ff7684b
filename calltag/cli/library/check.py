"""`calltag library check`: every kept call held against its checksums."""

from __future__ import annotations

import typer

from calltag.cli import FAILED
from calltag.cli._library import LIBRARY, LibraryFolder, library_folder
from calltag.cli._progress import bar
from calltag.words import counted


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("check")(check_command)


def check_command(
    library: LibraryFolder = LIBRARY,
) -> None:
    """Look whether every kept call is still what it was.

    Each file holds checksums of its own sound and story. What is damaged is named; take it from a
    copy of the library, which you should have.

    \b
    Example:
      calltag library check
    """
    from calltag.library.catalogue.catalogue import Catalogue
    from calltag.library.check import check

    with Catalogue(library_folder(library)) as catalogue, bar("checking") as told:
        report = check(catalogue, told=told)
    for one in report.findings:
        typer.echo(f"{one.path}: {one.trouble}{f' ({one.detail})' if one.detail else ''}")
    typer.echo(
        f"{counted(report.checked, 'file')} checked: "
        + (f"{report.damaged} damaged or gone." if report.damaged else "none is damaged.")
    )
    if report.damaged:
        raise typer.Exit(FAILED)
