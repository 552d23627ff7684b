"""The commands, put together."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Annotated

import typer

from calltag import __version__
from calltag.cli import (
    bed,
    calls,
    demo,
    keep,
    label,
    library,
    log,
    markers,
    rescue,
    score,
    selects,
    sheet,
    sync,
    takes,
    teach,
)
from calltag.cli._help import App
from calltag.cli._settings import load_defaults

app = App(
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)

# Each module holds one command; the order is that of the job, as the README tells it, and of
# the help text.
COMMANDS = (
    log,
    takes,
    rescue,
    bed,
    sync,
    sheet,
    label,
    teach,
    calls,
    markers,
    selects,
    keep,
    library,
    score,
    demo,
)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"calltag {__version__}")
        raise typer.Exit


@app.callback()
def calltag(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Show the version and exit."
        ),
    ] = False,
    debug: Annotated[
        bool,
        typer.Option("--debug", help="Say more about what goes on, for when you report a fault."),
    ] = False,
) -> None:
    """Find the calls in a day's clips, learn your call types, and mark them for the edit.

    Defaults for options may be kept in calltag.toml in the working folder.

    \b
    Examples:
      calltag demo
      calltag log D:/ashmere/card1
      calltag calls --best 10
    """
    del version
    if debug:
        logging.basicConfig(level=logging.WARNING)
        logging.getLogger("calltag").setLevel(logging.DEBUG)
    context.default_map = load_defaults(context, Path.cwd())


for module in COMMANDS:
    module.register(app)
