"""The commands, put together."""

from __future__ import annotations

import typer

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Find the calls in a day's clips, learn your call types, and mark them for the edit.",
)

# Each module holds one command; the order is that of the job, and of the help text.
COMMANDS: tuple[object, ...] = ()

for module in COMMANDS:
    module.register(app)  # type: ignore[attr-defined]
