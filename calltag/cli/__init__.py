"""The command line: one module per command, which parses, calls one function and prints."""

from __future__ import annotations

import sys

# Nothing else is imported up here: what is imported in `main` may be stopped by Ctrl-C.

# Exit statuses, beside 0 for done and 2 for wrong usage, which typer gives by itself.
FAILED = 1
SOME_UNREADABLE = 3
STOPPED = 130


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and end the process with its exit status.

    Parameters
    ----------
    arguments : list of str, optional
        The arguments without the program's name; those of the process unless given.
    """
    try:
        _run(arguments)
    except KeyboardInterrupt:
        sys.exit(STOPPED)


def _run(arguments: list[str] | None) -> None:
    import logging
    from contextlib import suppress

    from calltag.cli._streams import give_up_output, prepare_streams
    from calltag.errors import CalltagError, OutputError

    prepare_streams()
    try:
        from calltag.cli.app import app

        try:
            # No option's pattern is taken for names of files, on Windows as elsewhere.
            app(arguments, prog_name="calltag", windows_expand_args=False)
        finally:
            sys.stdout.flush()
    except CalltagError as error:
        logging.getLogger("calltag").debug("traceback", exc_info=True)
        with suppress(OSError, OutputError):  # there may be nobody to tell
            print(f"calltag: {error}", file=sys.stderr, flush=True)
        give_up_output()
        sys.exit(FAILED)
    except ImportError as error:
        if "DLL load failed" not in str(error):
            raise
        print(
            f"calltag: a library cannot be loaded ({error}); install the C++ runtime of"
            " Windows (vc_redist.x64.exe) and try again",
            file=sys.stderr,
        )
        sys.exit(FAILED)
