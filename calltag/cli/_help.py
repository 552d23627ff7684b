"""Help for people who are no programmers: without names of types, and without formulas."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, get_args

import typer
from typer.core import TyperCommand, TyperGroup

from calltag.paths import is_there

_TYPE = re.compile(r" <(?:list\[)?(?:str|path|Path|file|int|float|int range|float range)\]?>$")
_LIST = re.compile(r"<list\[(.*)\]>$")
_RANGE = re.compile(r"(?:; |(?<=\[))[-\d.]*(?:<=?)?x[<>]=?[-\d.]+(?=\])")
_ERRORS = tuple(
    (re.compile(pattern), words)
    for pattern, words in (
        (r"^Input should be greater than or equal to (.*)$", r"write \1 or more"),
        (r"^Input should be less than or equal to (.*)$", r"write \1 or less"),
        (r"^Input should be a valid integer.*$", "write a whole number"),
        (r"^Input should be a valid number.*$", "write a number"),
        (r"^Value error, ", ""),
    )
)


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
    """A command with plain help, and plain words for values that it cannot take."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        parameters: list[Any] = list(self.params)
        for parameter in parameters:
            annotation = parameter.type_descriptor.annotation
            if annotation is Path or Path in get_args(annotation):
                refuse_empty(parameter)

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the arguments."""
        ctx.allow_extra_args = True  # they are refused below, with what to type
        try:
            extra = super().parse_args(ctx, list(args))
        except typer.BadParameter as error:
            error.message = plain_error(error.message)
            if hasattr(error, "param_type"):  # something is missing; the class has no public name
                error.message = self._example()
            raise
        except typer.Exit:
            raise
        except Exception as error:
            if option := getattr(error, "option_name", None):  # the class has no public name
                _name_file(error, [name for name in args if name.startswith(option)])
            raise
        if extra:
            ctx.fail(f"{_typed(extra)} is too much. {self._meant(ctx, extra, args)}")
        return extra

    def _meant(self, ctx: Any, extra: Sequence[str], args: Sequence[str]) -> str:
        """Tell what may be meant by words that there is no place for."""
        options = {name for one in self.params for name in one.opts} | set(ctx.help_option_names)
        if f"--{extra[0]}" in options:
            return f"Did you mean --{_typed(extra)}?"
        before = args[: _place_of(extra, args)]
        if before and (split := _split_name([*before, " ".join(extra)])):
            return f"Put a name that has spaces in quotes: {split}"
        if "--from" in options and extra[0].lower().endswith(".csv"):
            return f"Did you mean --from {_typed([' '.join(extra)])}?"
        if "--take" in options:
            takes = extra if all(map(_ends_as_file, extra)) else [" ".join(extra)]
            return "Did you mean " + " ".join(f'--take "{take}"' for take in takes) + "?"
        return self._example()

    def _example(self) -> str:
        """Repeat the first example of the help."""
        lines = (line.strip() for line in (self.help or "").partition("Example")[2].splitlines())
        example = next((line for line in lines if line.startswith("calltag ")), None)
        return f"For example: {example}" if example else ""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write arguments and options."""
        super().format_options(ctx, _Plain(formatter))  # type: ignore[arg-type]


class PlainGroup(TyperGroup):
    """A group of commands with plain help."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Find the command that is typed."""
        if args[0] == "help":
            of = (
                args[1] if len(args) > 1 and args[1] in self.commands else next(iter(self.commands))
            )
            ctx.fail(
                f"help is no command: `{ctx.command_path} -h` lists the commands, "
                f"`{ctx.command_path} {of} -h` tells of one."
            )
        return super().resolve_command(ctx, args)

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


def _place_of(extra: Sequence[str], args: Sequence[str]) -> int:
    """Where among all words the first of those is that there is no place for: they come last."""
    at = len(args)
    for word in reversed(extra):
        at = max(i for i in range(at) if args[i] == word)
    return at


def _split_name(words: Sequence[str]) -> str:
    """Put the last two words together, in quotes, where they may be one name that was split."""
    option, is_given, value = words[-2].rpartition("=") if words[-2][:2] == "--" else ("",) * 3
    start = value if is_given else words[-2]
    is_number = start.replace(".", "", 1).isdigit() and words[-3:-2] and words[-3][:1] == "-"
    if start.startswith("-") or _ends_as_file(start) or is_number:
        return ""
    return f'{option}{is_given}"{start} {words[-1]}"'


def _ends_as_file(word: str) -> bool:
    """Whether a word has the suffix of a file, and so is a whole name."""
    suffix = Path(word).suffix[1:]
    return suffix.isalnum() and not suffix.isdigit()


def _typed(words: Sequence[str]) -> str:
    """Write words as one would type them."""
    return " ".join(f'"{word}"' if " " in word or not word else word for word in words)


def _name_file(error: Any, names: Sequence[str]) -> None:
    """Add to the error of an option that there is a file of that name, if there is."""
    for name in names:
        if is_there(Path(name)):
            error.message += f"; if the file is meant, write ./{name}"
            return


def refuse_empty(parameter: Any) -> None:
    """Make a parameter refuse an empty name, which would stand for the working folder."""
    process = parameter.process_value

    def process_value(ctx: Any, value: Any) -> Any:
        if "" in (list(value) if isinstance(value, (list, tuple)) else [value]):
            raise typer.BadParameter("the name is empty; write one", ctx=ctx, param=parameter)
        return process(ctx, value)

    parameter.process_value = process_value


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


def plain_error(text: str) -> str:
    """Say in plain words why a value cannot be taken; words that are not known stay.

    Examples
    --------
    >>> plain_error("Input should be greater than or equal to 1")
    'write 1 or more'
    >>> plain_error("Input should be a valid integer, unable to parse string as an integer")
    'write a whole number'
    >>> plain_error("Value error, 'a' is not one of 'b', 'c'.")
    "'a' is not one of 'b', 'c'."
    """
    for pattern, words in _ERRORS:
        text = pattern.sub(words, text)
    return text
