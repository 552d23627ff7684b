"""Standard output and error as commands find them: what cannot be written is told in a sentence.

What goes into files or other programs is UTF-8, with the line ends that were written. A reader that
leaves early is no error: the command goes on to its end, and what it still writes there is let go.
"""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from calltag.errors import OutputError, reason_of

_ON_WINDOWS = os.name == "nt"


class _Guarded(io.FileIO):
    """A file that is told of in a sentence where it cannot be written."""

    def write(self, data: Any) -> int:
        try:
            return super().write(data)
        except OSError as error:
            # What a reader that left looks like, there and elsewhere.
            if (_ON_WINDOWS and error.errno == errno.EINVAL) or isinstance(error, BrokenPipeError):
                _let_go(self)
                return len(data)
            raise OutputError(reason_of(error)) from error


class _Closed(io.RawIOBase):
    """In place of an output that was closed before the program began."""

    def writable(self) -> bool:
        return True

    def write(self, _data: Any) -> int:
        raise OutputError("it is closed")


class _Nowhere(io.RawIOBase):
    """In place of messages that nobody wants."""

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        return len(data)


def prepare_streams() -> None:
    """Make standard output and error ready for a command."""
    sys.stdout = _prepared(sys.stdout, sys.__stdout__, _Closed)
    sys.stderr = _prepared(sys.stderr, sys.__stderr__, _Nowhere)


def _prepared(stream: Any, own: Any, if_closed: Callable[[], io.RawIOBase]) -> Any:
    if stream is None:
        os.open(os.devnull, os.O_WRONLY)  # so that no file gets the number that it had
        return _text(if_closed())
    if not isinstance(stream, io.TextIOWrapper):
        return stream
    if stream is own and not stream.isatty():
        raw = _Guarded(stream.fileno(), "wb", closefd=False)
        return _text(raw, line_buffering=stream.line_buffering)
    encoding = None if stream.isatty() else "utf-8"
    stream.reconfigure(encoding=encoding, errors="backslashreplace", newline="")
    return stream


def _text(raw: io.RawIOBase, *, line_buffering: bool = False) -> io.TextIOWrapper:
    return io.TextIOWrapper(
        io.BufferedWriter(raw),
        encoding="utf-8",
        errors="backslashreplace",
        newline="",
        line_buffering=line_buffering,
    )


def _let_go(raw: _Guarded) -> None:
    """Make all that is still written to a file go nowhere."""
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), raw.fileno())


def give_up_output() -> None:
    """Let go what is still to be written, so that the program can end."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        try:
            stream.flush()
        except (OSError, OutputError, ValueError):
            raw = stream.buffer.raw if isinstance(stream, io.TextIOWrapper) else None
            if isinstance(raw, _Guarded):
                _let_go(raw)
            else:
                setattr(sys, name, io.StringIO())
