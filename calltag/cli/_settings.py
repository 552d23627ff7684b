"""The user's defaults, checked against the options that there are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import typer

from calltag.cli._help import plain_error
from calltag.settings import EVERY_COMMAND, SETTINGS_NAME, read_settings

Defaults = dict[str, Any]


def load_defaults(context: typer.Context, folder: Path) -> Defaults:
    """Make the defaults of all commands from the settings file of a folder.

    An option that no command has, or a value that cannot be its, is wrong usage. What stands under
    `EVERY_COMMAND` goes to every command that has such an option and can take the value.
    """
    tables = read_settings(folder / SETTINGS_NAME)
    general = tables.pop(EVERY_COMMAND, {})
    defaults = _group_defaults(context, context.command, tables, "")
    for name, value in general.items():
        _spread(context, defaults, name, value)
    return defaults


def _group_defaults(
    context: typer.Context, group: Any, tables: Mapping[str, Any], above: str
) -> Defaults:
    defaults: Defaults = {}
    for name, table in tables.items():
        where = f"{above}{name}"
        if above and not isinstance(table, dict):
            first = f"[{above}{next(iter(group.commands))}]"
            raise typer.BadParameter(
                f"{SETTINGS_NAME}, [{above[:-1]}] {name}: options stand below a command of "
                f"{above[:-1]}, as in {first}"
            )
        if name not in group.commands:
            spaced = tuple(where.replace(".", " ").split())
            if spaced in dict(_commands(group)):
                raise typer.BadParameter(
                    f"{SETTINGS_NAME}, [{where}]: there is no such command; write "
                    f"[{'.'.join(spaced)}]"
                )
            raise _wrong(f"[{where}]", "there is no such command", name, group.commands)
        command = group.commands[name]
        if hasattr(command, "commands"):
            defaults[name] = _group_defaults(context, command, table, f"{where}.")
        else:
            defaults[name] = _command_defaults(context, command, table, where)
    return defaults


def _command_defaults(
    context: typer.Context, command: Any, table: Mapping[str, Any], where: str
) -> Defaults:
    options = _options(command)
    defaults = {}
    for name, value in table.items():
        option = options.get(_plain(name))
        if option is None:
            raise _wrong(f"[{where}]", f"there is no option `{name}`", name, options)
        defaults[option.name] = _value(context, option, name, value, where)
    return defaults


def _spread(context: typer.Context, defaults: Defaults, name: str, value: Any) -> None:
    known: set[str] = set()
    refused: typer.BadParameter | None = None
    taken = False
    for path, command in _commands(context.command):
        options = _options(command)
        known.update(options)
        if option := options.get(_plain(name)):
            try:
                typed = _value(context, option, name, value, EVERY_COMMAND)
            except typer.BadParameter as error:
                refused = error
                continue
            own = defaults
            for part in path:
                own = own.setdefault(part, {})
            own.setdefault(option.name, typed)
            taken = True
    if refused is not None and not taken:
        raise refused
    if not taken:
        raise _wrong(f"[{EVERY_COMMAND}]", f"no command has an option `{name}`", name, known)


def _value(context: typer.Context, option: Any, name: str, value: Any, table: str) -> Any:
    """The default that a value makes which stands under one of the option's names."""
    where = f"{SETTINGS_NAME}, [{table}] {name}"
    if isinstance(value, dict) or (isinstance(value, list) and not option.multiple):
        raise typer.BadParameter(f"{where}: give a single value")
    if option.is_flag != isinstance(value, bool):
        wanted = "true or false" if option.is_flag else "a value, not true or false"
        raise typer.BadParameter(f"{where}: give {wanted}")
    if f"--{_plain(name)}" in option.secondary_opts:  # the `--clean` of `--noise/--clean`
        if not value:
            other = _plain(option.opts[0])
            raise typer.BadParameter(f"{where}: write `{other} = true`, or leave it out")
        return False
    if not option.is_flag:  # as if it had been typed
        value = [str(item) for item in value] if isinstance(value, list) else str(value)
        value = [value] if option.multiple and isinstance(value, str) else value
    try:
        option.process_value(context, value)
    except typer.BadParameter as error:
        raise typer.BadParameter(f"{where}: {plain_error(error.message)}") from None
    return value


def _commands(group: Any, above: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Yield all commands with their names, those of a group's groups too."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from _commands(command, (*above, name))
        else:
            yield (*above, name), command


def _options(command: Any) -> dict[str, Any]:
    """The options of a command by their long names, both names of a switch."""
    return {
        _plain(name): option
        for option in command.params
        if option.param_type_name == "option" and option.name != "help"
        for name in (*option.opts, *option.secondary_opts)
        if name.startswith("--")
    }


def _plain(name: str) -> str:
    return name.lstrip("-").replace("_", "-")


def _wrong(where: str, what: str, name: str, known: Any) -> typer.BadParameter:
    close = get_close_matches(_plain(name), list(known), n=1)
    hint = f"; is `{close[0]}` meant?" if close else ""
    return typer.BadParameter(f"{SETTINGS_NAME}, {where}: {what}{hint}")
