"""What a user may say of the calls that `calltag keep` cuts: the options of their story."""

from __future__ import annotations

from typing import Annotated

import typer

from calltag.errors import InputError

Species = Annotated[
    str,
    typer.Option(
        metavar="NAME",
        help="The animal, as you write it. Without it, what stands before the colon of the "
        "call type.",
        show_default=False,
    ),
]
Behaviour = Annotated[str, typer.Option(metavar="TEXT", help="What it did.", show_default=False)]
Sex = Annotated[str, typer.Option(metavar="TEXT", help="Its sex.", show_default=False)]
LifeStage = Annotated[
    str, typer.Option(metavar="TEXT", help="Its age: adult, juvenile.", show_default=False)
]
Place = Annotated[str, typer.Option(metavar="TEXT", help="Where it was.", show_default=False)]
Latitude = Annotated[
    float | None,
    typer.Option(
        min=-90,
        max=90,
        metavar="DEGREES",
        help="Where it was, in degrees north of the equator, below zero south of it (WGS 84).",
        show_default=False,
    ),
]
Longitude = Annotated[
    float | None,
    typer.Option(
        min=-180,
        max=180,
        metavar="DEGREES",
        help="Where it was, in degrees east of Greenwich, below zero west of it.",
        show_default=False,
    ),
]
Day = Annotated[
    str | None,
    typer.Option(
        metavar="DAY",
        help="Day of the recording, e.g. 2026-04-18, for takes that do not state it.",
        show_default=False,
    ),
]
Recordist = Annotated[
    str, typer.Option(metavar="NAME", help="Who recorded it.", show_default=False)
]
Equipment = Annotated[
    str, typer.Option(metavar="TEXT", help="Camera and microphone.", show_default=False)
]
Rights = Annotated[
    str,
    typer.Option(metavar="TEXT", help="Whose it is, and how it may be used.", show_default=False),
]


def day_of(text: str | None) -> str | None:
    """Read the day of the recording."""
    from datetime import date

    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputError(f"--date {text}: write the day as 2026-04-18") from None
