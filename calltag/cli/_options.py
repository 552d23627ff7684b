"""Options that several commands have, so that they are called and explained alike."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from calltag.errors import InputError
from calltag.words import parse_position

LOG_NAME = Path("calltag.db")


class As(StrEnum):
    """How a listing is printed."""

    TABLE = "table"
    CSV = "csv"
    JSON = "json"


class Grade(StrEnum):
    """Grades of verdicts."""

    CLEAN = "clean"
    PART = "part"
    PICTURE_ONLY = "picture-only"


class WrongUse(typer.BadParameter):
    """Options or arguments that cannot be used as they were given, whatever the files hold."""

    def format_message(self) -> str:
        """Word it as it is, without a word on a single value before it."""
        return self.message


@contextmanager
def wrong_use() -> Iterator[None]:
    """Take what cannot be used for wrong use; only what was typed may be looked at within."""
    try:
        yield
    except InputError as error:
        raise WrongUse(str(error)) from None


def finite(value: float | None) -> float | None:
    """Refuse what Python takes for a number and nobody means: nan, inf."""
    if value is not None and not math.isfinite(value):
        raise typer.BadParameter(f"{value:g} is no number to go by; write one such as 12")
    return value


def second(value: str | float) -> float:
    """Read a second of a take as lists show it, or as a plain number."""
    return parse_position(str(value))


def typed(context: typer.Context, option: str) -> bool:
    """Whether an option was typed, and is not a default of the settings for every command."""
    source = context.get_parameter_source(option)
    return source is not None and source.name == "COMMANDLINE"


LogFile = Annotated[
    Path, typer.Option("--log", metavar="FILE", help="The log, the file that `calltag log` writes.")
]
ListedAs = Annotated[As, typer.Option("--as", help="How to print the list.")]
Types = Annotated[
    list[str] | None,
    typer.Option(
        "--type",
        metavar="TYPE",
        help="Only calls of this type; `marsh hooter` stands for all its types. May be repeated.",
    ),
]
Takes = Annotated[
    list[str] | None,
    typer.Option(
        "--take",
        metavar="TAKE",
        help="Only this take, or those in this folder; * stands for anything. May be repeated.",
    ),
]
Verdicts = Annotated[
    list[Grade] | None,
    typer.Option("--verdict", help="Only takes with this verdict. May be repeated."),
]
MinConfidence = Annotated[
    float,
    typer.Option(
        "--min-confidence",
        min=0.0,
        max=1.0,
        metavar="0…1",
        help="Only calls that are named at least this surely: 0.8 is 80 %.",
    ),
]
MinSnr = Annotated[
    float | None,
    typer.Option(
        "--min-snr",
        metavar="DB",
        callback=finite,
        help="Only calls at least this far above their background, in dB.",
    ),
]
Noise = Annotated[
    bool | None,
    typer.Option(
        "--noise/--clean",
        help="Only calls with noise at the same time, or only calls without.",
        show_default=False,
    ),
]
ByHand = Annotated[bool, typer.Option("--by-hand", help="Only calls that you labelled yourself.")]
SoundRate = Annotated[
    str | None,
    typer.Option(
        "--fps",
        metavar="FPS",
        help="Frame rate for takes of sound alone, e.g. 25 or 29.97df (drop-frame). Without it,"
        " the rate of most of the rushes.",
        show_default=False,
    ),
]
NewModel = Annotated[
    Path | None,
    typer.Option(
        "--model",
        metavar="FILE",
        help="Where to store the model. Without it, calltag.model beside the log.",
        show_default=False,
    ),
]
Replace = Annotated[bool, typer.Option("--replace", help="Replace files that exist already.")]
OpenBrowser = Annotated[
    bool,
    typer.Option(
        "--open/--no-open", help="Whether to open the browser; the address is printed anyway."
    ),
]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers",
        min=1,
        metavar="N",
        help="Takes to work on at a time. Without it, one for each processor core, at most 4.",
        show_default=False,
    ),
]
