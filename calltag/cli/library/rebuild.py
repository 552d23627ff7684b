"""`calltag library rebuild`: the catalogue made anew from the files."""

from __future__ import annotations

import typer

from calltag.cli._library import LIBRARY, LibraryFolder, library_folder
from calltag.cli._output import say
from calltag.cli._progress import bar
from calltag.words import counted, first_few


def register(group: typer.Typer) -> None:
    """Add the command."""
    group.command("rebuild")(rebuild_command)


def rebuild_command(library: LibraryFolder = LIBRARY) -> None:
    """Make the catalogue anew from the files alone.

    For when the catalogue is lost or damaged, or you put files into the library's folder, moved
    them there or took some out. The files are only read.

    \b
    Example:
      calltag library rebuild
    """
    from calltag.library.rebuild import rebuild

    with bar("reading") as told:
        report = rebuild(library_folder(library), told=told)
    if report.laid_aside is not None:
        say(f"The catalogue was damaged; it is now called {report.laid_aside.name}.")
    say(f"{counted(report.taken, 'kept call')} in the catalogue.")
    if report.gone:
        say(f"No longer in it: {first_few(report.gone, 3)}.")
    for path in report.doubtful:
        say(f"{path}: its story is damaged, or was changed by another program; taken as it is")
    for problem in report.strangers:
        say(f"{problem.path}: {problem.reason}; not taken in")
