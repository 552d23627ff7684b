"""Help for people who are no programmers: without names of types, and without formulas."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

_TYPE = re.compile(r" <(?:list\[)?(?:str|path|Path|file|int|float|int range|float range)\]?>$")
_LIST = re.compile(r"<list\[(.*)\]>$")
_RANGE = re.compile(r"(?:; |(?<=\[))[-\d.]*(?:<=?)?x[<>]=?[-\d.]+(?=\])")


class _Plain:
    """A formatter of help that leaves out of its lists what only programmers read."""

    def __init__(self, formatter: Any) -> None:
        self._formatter = formatter

    def __getattr__(self, name: str) -> Any:
        return getattr(self._formatter, name)

    def write_dl(self, rows: Sequence[tuple[str, str]], *more: Any, **options: Any) -> None:
        plain = [(plain_name(name), plain_text(text)) for name, text in rows]
        self._formatter.write_dl(plain, *more, **options)


class PlainCommand(TyperCommand):
    """A command with plain help."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write arguments and options."""
        super().format_options(ctx, _Plain(formatter))  # type: ignore[arg-type]


class PlainGroup(TyperGroup):
    """A group of commands with plain help."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write options and commands."""
        super().format_options(ctx, _Plain(formatter))  # type: ignore[arg-type]


class App(typer.Typer):
    """Commands with plain help."""

    def __init__(self, **options: Any) -> None:
        super().__init__(cls=PlainGroup, no_args_is_help=True, rich_markup_mode=None, **options)

    def command(  # type: ignore[override]
        self, name: str
    ) -> Callable[[Callable[..., None]], Callable[..., None]]:
        """Add a command by this name."""
        return super().command(name, cls=PlainCommand)


def plain_name(name: str) -> str:
    """Leave the type out of the name of an argument or option.

    Examples
    --------
    >>> plain_name("RUSHES <list[Path]>"), plain_name("--log FILE"), plain_name("--by <a|b>")
    ('RUSHES', '--log FILE', '--by <a|b>')
    >>> plain_name("--verdict <list[clean|part]>")
    '--verdict <clean|part>'
    """
    return _LIST.sub(r"<\1>", _TYPE.sub("", name))


def plain_text(text: str) -> str:
    """Leave the formula of a range out of an explanation; the words before it say what is meant.

    Examples
    --------
    >>> plain_text("How sure.  [default: 0.5; 0.0<=x<=1.0]")
    'How sure.  [default: 0.5]'
    >>> plain_text("How many.  [x>=1]"), plain_text("How far north.  [-90<=x<=90]")
    ('How many.', 'How far north.')
    """
    return _RANGE.sub("", text).replace("  []", "")
