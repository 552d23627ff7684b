"""`calltag library`: one module per command that works on the call library."""

from __future__ import annotations

import typer

from calltag.cli._help import App
from calltag.cli.library import browse, check, find, like, out, rebuild, teach

# The order is that of the help text.
COMMANDS = (find, browse, out, like, teach, rebuild, check)


group = App()


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(group, name="library")


@group.callback()
def library() -> None:
    """Search your call library, hand out from it, and look after it.

    The library is a folder of sound files, each with its own story, and a catalogue to find them
    by. `calltag keep` puts calls into it.

    \b
    Examples:
      calltag library find --type "marsh hooter" --month May
      calltag library browse
      calltag library out D:/edit/calls --type "marsh hooter: boom" --best 5
    """


for module in COMMANDS:
    module.register(group)
