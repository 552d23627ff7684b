"""`calltag bed`: clean natural background to lay under a picture whose sound is lost."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._log import read_shoot
from calltag.cli._options import LOG_NAME, LogFile, Replace, wrong_use
from calltag.cli._output import Column, print_table, say
from calltag.cli._sound_out import check_wave_name, one_take, sound_target
from calltag.errors import InputError
from calltag.words import counted, position, take_length

if TYPE_CHECKING:
    from calltag.records.take import Take
    from calltag.takes.bed.clean_stretches import Stretch
    from calltag.takes.bed.making import Bed

_CAUTION = "Turn your headphones down before you play it."
_NO_PLAYBACK = (
    "There are calls in it: do not play it to wild animals, least of all where they breed."
)

COLUMNS = (
    Column("take", folds=True),
    Column("from", right=True),
    Column("to", right=True),
    Column("length", right=True),
)


class Calls(StrEnum):
    """What to do with calls in a bed."""

    AVOID = "avoid"
    KEEP = "keep"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("bed")(bed_command)


def bed_command(
    log: LogFile = LOG_NAME,
    seconds: Annotated[
        float, typer.Option("--seconds", metavar="SECONDS", help="Length of the bed.")
    ] = 60.0,
    take: Annotated[
        str | None,
        typer.Option(
            "--for",
            metavar="TAKE",
            help="The take that needs it: background of its folder and time of day is preferred.",
            show_default=False,
        ),
    ] = None,
    calls: Annotated[
        Calls, typer.Option("--calls", help="Whether animals' calls may sound in it.")
    ] = Calls.AVOID,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="FILE.wav",
            help="The file to write. Without it, bed.wav in the working folder.",
            show_default=False,
        ),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="List the clean stretches, and write nothing.")
    ] = False,
    replace: Replace = False,
) -> None:
    """Find clean natural background, or build it from pieces.

    The longest clean stretch is taken whole if it is long enough; otherwise several are crossfaded.
    The bed loops without a seam. It is 24 bit at 48 kHz, and says within what it is made of and how
    loud it is; its level is that of the takes. Your footage is only read, never changed.

    \b
    Example:
      calltag bed --seconds 60 --for card1/A007.MOV --out a007-bed.wav
    """
    from calltag.takes.bed.clean_stretches import clean_stretches, why_none
    from calltag.takes.bed.making import check_length, make_bed

    with wrong_use():
        check_length(seconds)
        if out is not None:
            check_wave_name(out)
    shoot = read_shoot(log)
    like = one_take(shoot.every, take, shoot.unread).take if take else None
    keep = calls is Calls.KEEP
    if dry_run:
        stretches = clean_stretches(shoot.every, like=like, keep_calls=keep)
        if not stretches:
            raise InputError(why_none(shoot.every, keep_calls=keep))
        print_table(COLUMNS, [_cells(stretch) for stretch in stretches])
        whole_s = sum(stretch.span.length_s for stretch in stretches)
        say(
            f"{counted(len(stretches), 'clean stretch', 'clean stretches')} of "
            f"{take_length(whole_s)} in all; nothing was written."
        )
        return
    target = sound_target(out, "bed.wav", shoot.every, replace=replace)
    _tell(make_bed(shoot.every, target, seconds=seconds, like=like, keep_calls=keep), like, keep)


def _cells(stretch: Stretch) -> list[str]:
    start_s, end_s = stretch.span
    return [
        stretch.take.path,
        position(start_s),
        position(end_s),
        f"{stretch.span.length_s:.1f} s",
    ]


def _tell(bed: Bed, like: Take | None, keep_calls: bool) -> None:
    made_of = counted(len(bed.parts), "clean stretch", "clean stretches")
    say(f"{bed.path}: {bed.length_s:.0f} s from {made_of}")
    for part in bed.parts:
        say(f"  {part}")
    if bed.repeats:
        say("The clean background is shorter than that in all, so some of it comes again.")
    if like is not None and not any(
        Path(part.take.path).parent == Path(like.path).parent for part in bed.parts
    ):
        say(f"There was none in the folder of {like.path}; it is from another place.")
    say(
        f"{bed.loudness_lufs:.1f} LUFS, loudness range {bed.range_lu:.1f} LU, true peak "
        f"{bed.true_peak_dbtp:.1f} dBTP (BS.1770, EBU R 128)"
    )
    say(_CAUTION)
    if keep_calls:
        say(_NO_PLAYBACK)
