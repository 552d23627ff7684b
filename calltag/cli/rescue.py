"""`calltag rescue`: what would help a spoilt take, and the treated sound."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._log import read_shoot
from calltag.cli._options import LOG_NAME, LogFile, Replace, wrong_use
from calltag.cli._output import say
from calltag.cli._sound_out import check_wave_name, one_take, sound_target
from calltag.errors import InputError

if TYPE_CHECKING:
    from calltag.media.wave_files.bext import Bext
    from calltag.records.take import Take
    from calltag.takes.rescue.examining import Rescue
    from calltag.takes.rescue.treatment import Treatment

_CAUTION = "Turn your headphones down before you play it: what was loud in the take still is."


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("rescue")(rescue_command)


def rescue_command(
    take: Annotated[
        str,
        typer.Argument(metavar="TAKE", help="The take, as `calltag takes` lists it."),
    ],
    log: LogFile = LOG_NAME,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="FILE.wav",
            help="The file to write. Without it, the take's name with `-treated.wav`, in the"
            " working folder.",
            show_default=False,
        ),
    ] = None,
    low_cut: Annotated[
        float | None,
        typer.Option(
            "--low-cut",
            metavar="HZ",
            help="Cut what lies below this frequency, in place of what calltag would choose.",
            show_default=False,
        ),
    ] = None,
    high_cut: Annotated[
        float | None,
        typer.Option(
            "--high-cut",
            metavar="HZ",
            help="Cut what lies above this frequency, in place of what calltag would choose.",
            show_default=False,
        ),
    ] = None,
    channel: Annotated[
        int | None,
        typer.Option(
            "--channel",
            min=1,
            metavar="NUMBER",
            help="Use this channel for all tracks, in place of what calltag would choose.",
            show_default=False,
        ),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would help, and write nothing.")
    ] = False,
    replace: Replace = False,
) -> None:
    """Say what would help a spoilt take, and write its treated sound.

    A better channel, cuts that keep the calls and notches for mains hum are tried on the sound
    itself; another camera that ran at the same time is named. The new file has the take's
    length and start time, 24 bit; the take is only read, never changed. A call that stands 6 dB or
    more above all else is heard clearly, one below it is hard to hear.

    \b
    Examples:
      calltag rescue card1/A007.MOV
      calltag rescue card1/A007.MOV --low-cut 300 --out a007-thin.wav
    """
    from calltag.edit.sync.camera_clocks import places_by_clocks
    from calltag.takes.companions import companions
    from calltag.takes.rescue.examining import examine, is_mute
    from calltag.takes.rescue.treated_file import write_treated
    from calltag.takes.verdict import judge

    with wrong_use():
        wanted = _wanted(low_cut, high_cut, channel)
        if out is not None:
            check_wave_name(out)
    shoot = read_shoot(log, alignments=True)
    chosen = one_take(shoot.every, take, shoot.unread)
    own = chosen.take
    name = f"{Path(own.path).stem}-treated.wav"
    target = None if dry_run else sound_target(out, name, shoot.every, replace=replace)
    verdict = judge(chosen)
    typer.echo(f"{own.path}: {verdict.grade}")
    for reason in verdict.reasons:
        typer.echo(f"  {reason}")
    places = places_by_clocks(own, [one.take for one in shoot.every], shoot.alignments)
    by_clocks = {path: (place.begins_s, place.off_s) for path, place in places.items()}
    others = companions(chosen, shoot.every, shoot.alignments, by_clocks)
    for companion in others[:3]:
        typer.echo(f"  {companion.sentence(own)}")
    if is_mute(own):
        return
    path = own.file
    rescue = examine(path, chosen, wanted)
    _say_figures(rescue)
    if not rescue.treatment:
        return
    if target is None:
        typer.echo(f"Would be done: {rescue.treatment}. After: {rescue.expected}")
        return
    bext = _bext(own, rescue.treatment)
    made = write_treated(path, target, chosen, rescue.treatment, bext, rescue.was)
    typer.echo(f"After:  {made.after}")
    if made.turned_down_db:
        say(f"The whole is turned down by {made.turned_down_db:.1f} dB to stay below full scale.")
    say(f"{target}: {rescue.treatment}; same length and start as the take")
    say(_CAUTION)


def _wanted(
    low_cut_hz: float | None, high_cut_hz: float | None, channel: int | None
) -> Treatment | None:
    """What the user wants to be done; None for what calltag would choose."""
    from calltag.takes.filter_cuts import Band
    from calltag.takes.rescue.treatment import Treatment

    for option, cut_hz in (("--low-cut", low_cut_hz), ("--high-cut", high_cut_hz)):
        if cut_hz is not None and not 0 < cut_hz < math.inf:
            raise InputError(
                f"{option} {cut_hz:g}: a cut needs a frequency above 0 Hz; leave the "
                "option out for none"
            )
    if low_cut_hz and high_cut_hz and low_cut_hz >= high_cut_hz:
        raise InputError(
            f"--low-cut {low_cut_hz:g} and --high-cut {high_cut_hz:g} leave nothing between them;"
            " set the low cut below the high cut"
        )
    band = Band(low_cut_hz or 0.0, high_cut_hz or math.inf)
    return Treatment(channel=channel, band=band) if band or channel else None


def _say_figures(rescue: Rescue) -> None:
    typer.echo(f"Before: {rescue.before}")
    for line in rescue.advice:
        typer.echo(f"  {line}")


def _bext(take: Take, treatment: Treatment) -> Bext:
    from calltag.media.timing.clock import take_clock
    from calltag.media.timing.when import take_bext
    from calltag.media.wave_files.bext import history_line

    rate_hz = take.sample_rate_hz or 0
    return take_bext(
        take,
        take_clock(take),
        rate_hz,
        description=f"{take.path}, treated: {treatment}",
        history=history_line(rate_hz, f"calltag rescue: {treatment}"),
    )
