"""`calltag selects`: the timeline of the best calls."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._log import read_shoot
from calltag.cli._options import (
    LOG_NAME,
    LogFile,
    MinConfidence,
    MinSnr,
    Replace,
    SoundRate,
    Takes,
    Types,
    WrongUse,
    finite,
    wrong_use,
)
from calltag.cli._output import say, tell_files
from calltag.cli._sound_out import check_wave_name
from calltag.records.label import LIKELY
from calltag.words import counted

if TYPE_CHECKING:
    from calltag.edit.selects import Select
    from calltag.edit.selects_sound import SelectsSound

_CAUTION = (
    "Turn your headphones down before you play it. Do not play calls to wild animals: it disturbs"
    " them, most of all when they breed."
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("selects")(selects_command)


def selects_command(
    out: Annotated[
        Path,
        typer.Argument(
            metavar="OUT",
            help="File to write: .otio (OpenTimelineIO) or .edl (edit list).",
            show_default=False,
        ),
    ],
    log: LogFile = LOG_NAME,
    types: Types = None,
    takes: Takes = None,
    best: Annotated[
        int, typer.Option("--best", min=1, metavar="N", help="How many calls, at most.")
    ] = 10,
    min_confidence: MinConfidence = LIKELY,
    min_snr: MinSnr = None,
    once: Annotated[
        bool,
        typer.Option(
            "--once",
            help="Of a call that several cameras heard, only the one that is worth most, picture "
            "and sound. Takes are lined up by `calltag sync`.",
        ),
    ] = False,
    handles: Annotated[
        float,
        typer.Option(
            "--handles",
            min=0.0,
            callback=finite,
            metavar="SECONDS",
            help="Picture and sound kept before and after each.",
        ),
    ] = 1.5,
    gap: Annotated[
        float,
        typer.Option(
            "--gap",
            min=0.0,
            callback=finite,
            metavar="SECONDS",
            help="Black and silence between calls.",
        ),
    ] = 0.0,
    sound: Annotated[
        Path | None,
        typer.Option(
            "--sound",
            metavar="FILE.wav",
            help="Write the sound of the timeline too: 48 kHz, 24 bit, with a cue on each call."
            " Stretches that would be loud on headphones are turned down. Where takes of several"
            " frame rates make several edit lists, each gets its own file.",
            show_default=False,
        ),
    ] = None,
    match_levels: Annotated[
        bool,
        typer.Option("--match-levels", help="In --sound, bring all calls to one level."),
    ] = False,
    fps: SoundRate = None,
    start_tc: Annotated[
        str, typer.Option("--start-tc", metavar="TIMECODE", help="Where the timeline begins.")
    ] = "01:00:00:00",
    replace: Replace = False,
) -> None:
    """Put the best calls on a timeline, one after another.

    Best are calls that stand far above their background, whose name is sure, with a picture, and
    without noise or clipping. Your footage is only read, never changed.

    \b
    Example:
      calltag selects best.otio --type "marsh hooter" --best 10 --sound best.wav
    """
    from calltag.edit.call_filter import CallFilter
    from calltag.edit.formats import WriteOptions
    from calltag.edit.heard_twice import each_call_once
    from calltag.edit.over_joins import Joins
    from calltag.edit.selects import check_name, choose, selects_paths, sounds_of, write_selects
    from calltag.edit.selects_sound import measure_gains, rendering
    from calltag.media.timing.clock import common_rate
    from calltag.media.timing.timecode import check_timecode, parse_rate
    from calltag.overwriting import refuse_existing, refuse_footage

    if match_levels and sound is None:
        raise WrongUse("--match-levels changes the sound that --sound writes; give both")
    with wrong_use():
        check_name(out)
        if sound is not None:
            check_wave_name(sound)
        check_timecode(start_tc)
        sound_rate = parse_rate(fps) if fps is not None else None
    shoot = read_shoot(log, alignments=True)
    wanted = CallFilter(types=types or (), min_confidence=min_confidence, min_snr_db=min_snr)
    take_logs = list(map(wanted.left_of, shoot.choose(takes, types)))
    if once:
        take_logs = each_call_once(take_logs, shoot.alignments)
    rate = sound_rate or common_rate(one.take for one in shoot.every)
    chosen = choose(take_logs, best=best, handles_s=handles, rate=rate)
    footage = [one.take.file for one in shoot.every]
    paths = selects_paths(chosen, out)
    sounds = sounds_of(chosen, out, sound) if sound is not None else {}
    targets = [*paths, *sounds]
    refuse_footage([*targets, sound or out], footage)
    refuse_existing(targets, replace=replace)
    notes: list[str] = []
    options = WriteOptions(record_start=start_tc, replace=replace, on_note=notes.append)
    # Before anything is written, so that a take that is gone leaves nothing half done.
    gains = {
        path: measure_gains(heard, match_levels=match_levels) for path, heard in sounds.items()
    }
    with rendering(
        sounds, gains, gap_s=gap, record_start=start_tc, replace_existing=replace
    ) as rendered:
        beside = {made.place: made.path for made in rendered}
        written = write_selects(chosen, out, options, gap_s=gap, beside=beside)
    say(f"{tell_files(written)}: {counted(len(chosen), 'call')}, the best first")
    for made in rendered:
        _tell_sound(made, sounds[made.path])
    if len(sounds) > 1:
        say("Each edit list has its own sound: the file whose name ends as that of the list.")
    if sounds:
        say(_CAUTION)
    taken = [(one.source.take, one.call) for one in chosen]
    for line in Joins(shoot.alignments).told(taken, handles):
        say(line)
    notes = [*(note for select in chosen for note in select.source.notes), *notes]
    for note in dict.fromkeys(notes):
        say(note)


def _tell_sound(made: SelectsSound, chosen: Sequence[Select]) -> None:
    changed = [(s, gain) for s, gain in zip(chosen, made.gains_db, strict=True) if gain]
    levels = f"{len(changed)} not at its own level" if changed else "each at its own level"
    say(f"{made.path}: {counted(len(chosen), 'call')}, {levels}")
    for select, gain_db in changed:
        say(f"  {select.source.take.path} at {select.call.start_s:.1f} s: {gain_db:+z.1f} dB")
