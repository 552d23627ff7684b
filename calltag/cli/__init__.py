"""The command line: one module per command, which parses, calls one function and prints."""

from __future__ import annotations

import logging
import sys

import click

from calltag.errors import CalltagError

DONE = 0
FAILED = 1
WRONG_USAGE = 2
SOME_UNREADABLE = 3


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and end the process with its exit status.

    Parameters
    ----------
    arguments : list of str, optional
        The arguments without the program's name; those of the process unless given.
    """
    from calltag.cli.app import app

    try:
        status = app(arguments, prog_name="calltag", standalone_mode=False)
    except click.ClickException as error:  # wrong usage, told in the library's own words
        error.show()
        sys.exit(WRONG_USAGE if isinstance(error, click.UsageError) else FAILED)
    except (click.Abort, KeyboardInterrupt):
        print("calltag: stopped; what was finished is kept", file=sys.stderr)
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(DONE)
    except CalltagError as error:
        logging.getLogger("calltag").debug("traceback", exc_info=True)
        print(f"calltag: {error}", file=sys.stderr)
        sys.exit(FAILED)
    sys.exit(status if isinstance(status, int) else DONE)
