"""`calltag.toml`: the user's own defaults for options, kept in the working folder.

A table for each command holds its options by their long names; `[all]` speaks to every command that
has such an option. What is given on the command line wins.

    [all]
    log = "ashmere.db"

    [calls]
    min-confidence = 0.7
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from calltag.errors import InputError, reason_of

SETTINGS_NAME = "calltag.toml"
"""The file's name."""

EVERY_COMMAND = "all"
"""The table whose options hold for every command that has them."""

_SLASHES = 'TOML takes \\ for a sign of its own, so write paths as "D:/calls"'


def read_settings(path: Path) -> dict[str, dict[str, Any]]:
    """Read the user's defaults.

    Parameters
    ----------
    path : Path
        The file; it need not be there.

    Returns
    -------
    dict of str to dict
        By command, or `EVERY_COMMAND`, its options with their values; empty without a file.

    Raises
    ------
    InputError
        If the file cannot be read, is no TOML, or has an option outside a table or a path whose
        backslashes made something else of it.
    """
    try:
        text = path.read_text("utf-8-sig")
    except FileNotFoundError:
        return {}
    except UnicodeDecodeError:
        raise InputError(f"{path.name}: is not text in UTF-8; save it as UTF-8") from None
    except OSError as error:
        reason = reason_of(error)
        raise InputError(f"{path.name}: cannot be read ({reason}); mend or remove it") from None
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        hint = f"; {_SLASHES}" if "\\" in _line_of(error, text) else ""
        raise InputError(f"{path.name}: is no valid TOML ({error}); mend that line{hint}") from None
    if "\\" in text and (option := _unprintable(tables)):
        raise InputError(f"{path.name}: `{option}` is not what you wrote; {_SLASHES}")
    for name, table in tables.items():
        if not isinstance(table, dict):
            raise InputError(
                f"{path.name}: `{name}` stands outside a table; put it below [{EVERY_COMMAND}] or "
                "the name of a command in brackets"
            )
    return tables


def _line_of(error: tomllib.TOMLDecodeError, text: str) -> str:
    """The line that an error speaks of; empty where it is the end of the text."""
    found = re.search(r"at line (\d+)", str(error))
    return text.split("\n")[int(found[1]) - 1] if found else ""


def _unprintable(table: Mapping[str, Any]) -> str | None:
    """Name an option whose text holds a control character, as the tab of `D:\\temp`."""
    for name, value in table.items():
        if isinstance(value, Mapping):
            if option := _unprintable(value):
                return option
        else:
            values = value if isinstance(value, list) else [value]
            if any(
                ord(sign) < ord(" ") for text in values if isinstance(text, str) for sign in text
            ):
                return name
    return None
