"""The command line: one module per command, which parses, calls one function and prints."""

from __future__ import annotations

import io
import logging
import sys

from calltag.errors import CalltagError

DONE = 0
FAILED = 1
WRONG_USAGE = 2
SOME_UNREADABLE = 3
STOPPED = 130


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and end the process with its exit status.

    Parameters
    ----------
    arguments : list of str, optional
        The arguments without the program's name; those of the process unless given.
    """
    from calltag.cli.app import app

    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # What goes into files is read again as UTF-8, with the line ends that were written.
            encoding = None if stream.isatty() else "utf-8"
            stream.reconfigure(encoding=encoding, errors="backslashreplace", newline="")
    try:
        app(arguments, prog_name="calltag")
    except CalltagError as error:
        logging.getLogger("calltag").debug("traceback", exc_info=True)
        print(f"calltag: {error}", file=sys.stderr)
        sys.exit(FAILED)
