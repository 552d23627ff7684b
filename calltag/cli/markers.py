"""`calltag markers`: markers for the edit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._choose import choose_takes
from calltag.cli._log import read_shoot
from calltag.cli._markers_report import tell_conformed, tell_markers, tell_slowed
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
    typed,
    wrong_use,
)
from calltag.cli._output import end, say
from calltag.edit.sound_delay import TEMPERATURE_C
from calltag.errors import InputError
from calltag.paths import is_one
from calltag.records.label import LIKELY
from calltag.records.take import Problem

if TYPE_CHECKING:
    from calltag.edit.call_filter import CallFilter
    from calltag.edit.formats import Format


_WHAT_IS_THERE = "`calltag calls` lists what was found"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("markers")(markers_command)


def markers_command(
    context: typer.Context,
    out: Annotated[
        Path,
        typer.Argument(
            metavar="OUT",
            help="File to write: .otio (OpenTimelineIO), .edl (edit list) or .csv. A folder gets a"
            " WebVTT file for each take.",
            show_default=False,
        ),
    ],
    log: LogFile = LOG_NAME,
    types: Types = None,
    takes: Takes = None,
    min_confidence: MinConfidence = LIKELY,
    min_snr: MinSnr = None,
    handles: Annotated[
        float,
        typer.Option(
            "--handles",
            min=0.0,
            callback=finite,
            metavar="SECONDS",
            help="Mark this much before and after each call too.",
        ),
    ] = 0.0,
    usable: Annotated[
        bool,
        typer.Option("--mark-usable", help="Mark usable stretches of sound too."),
    ] = False,
    noise: Annotated[bool, typer.Option("--mark-noise", help="Mark noise too.")] = False,
    every_camera: Annotated[
        bool,
        typer.Option(
            "--every-camera",
            help="Mark a call on all takes that ran, also where only another heard it, and say"
            " which has the better sound. Takes are lined up by `calltag sync`.",
        ),
    ] = False,
    speed: Annotated[
        str | None,
        typer.Option(
            "--speed",
            metavar="PERCENT|FILE",
            help="Takes are slowed in the edit, e.g. 40%: markers land on the slowed clip. Or a CSV"
            " file with the columns take and speed.",
            show_default=False,
        ),
    ] = None,
    conform: Annotated[
        str | None,
        typer.Option(
            "--conform",
            metavar="FPS|FILE",
            help="The edit plays each frame of a take at this rate, e.g. 25 for a take filmed at"
            " 100. That holds for all takes marked; where only some are slowed, name these in a CSV"
            " file with the columns take and fps.",
            show_default=False,
        ),
    ] = None,
    distance: Annotated[
        str | None,
        typer.Option(
            "--distance",
            metavar="METRES|FILE",
            help="How far the animals were: markers move ahead of the sound, to where the picture"
            " shows the call. Or a CSV file with the columns take, distance_m and, if you like,"
            " temperature_c.",
            show_default=False,
        ),
    ] = None,
    temperature: Annotated[
        float,
        typer.Option(
            "--temperature",
            metavar="CELSIUS",
            help="Temperature of the air, for --distance.",
        ),
    ] = TEMPERATURE_C,
    fps: SoundRate = None,
    as_format: Annotated[
        str | None,
        typer.Option(
            "--as",
            metavar="FORMAT",
            help="otio, edl, csv, webvtt, wav (copies of the sound with cues) or chapters (copies"
            " of the takes as Matroska, with chapters). Without it, the name of OUT tells.",
            show_default=False,
        ),
    ] = None,
    start_tc: Annotated[
        str,
        typer.Option(
            "--start-tc",
            metavar="TIMECODE",
            help="Where the timeline or edit list begins.",
        ),
    ] = "01:00:00:00",
    replace: Replace = False,
) -> None:
    """Write markers for the edit: every call on its frame.

    They count in the takes' own timecode. Your footage is only read, never changed.

    \b
    Examples:
      calltag markers ashmere.otio --type "marsh hooter" --min-confidence 0.8
      calltag markers ashmere.edl --speed 40% --distance 100 --temperature 8
    """
    from calltag.edit.call_filter import CallFilter, check_types
    from calltag.edit.every_camera import carry_over, name_better_sound
    from calltag.edit.formats import WriteOptions, choose_format
    from calltag.edit.marking import MarkerSettings, mark_takes
    from calltag.edit.retime import parse_speed
    from calltag.edit.take_files import per_take_paths
    from calltag.edit.take_settings import is_table, per_take
    from calltag.media.timing.clock import common_rate
    from calltag.media.timing.timecode import check_timecode, parse_rate
    from calltag.overwriting import refuse_footage

    with wrong_use():
        chosen = choose_format(out, as_format)
        check_timecode(start_tc)
        rate = parse_rate(fps) if fps is not None else None
        _check_values(speed, conform, distance, temperature)
    _refuse_idle(context, chosen, has_distance=distance is not None)
    # without alignments, each take has its own calls alone
    shoot = read_shoot(log, alignments=every_camera)
    every, alignments = shoot.every, shoot.alignments
    check_types(every, types or ())
    heard = carry_over(
        every, alignments, min_confidence=min_confidence, min_snr_db=min_snr, labels=shoot.labels
    )
    take_logs = list(choose_takes(heard, takes or (), shoot.unread))
    paths = [take_log.take.path for take_log in take_logs]
    # a table may be of the whole shoot
    known = {one.take.path for one in every}
    told = partial(
        per_take, takes=paths, beside=[*known, *(problem.path for _, problem in shoot.unread)]
    )
    settings = MarkerSettings(
        calls=CallFilter(types=types or (), min_confidence=min_confidence, min_snr_db=min_snr),
        handles_s=handles,
        usable=usable,
        noise=noise,
        rate=rate or common_rate(one.take for one in every),
        speeds=told(speed, "speed", parse_speed) if speed is not None else {},
        conform_to=told(conform, "fps", parse_rate) if conform is not None else {},
        distances_m=told(distance, "distance_m", _metres()) if distance is not None else {},
        temperatures_c=_temperatures(distance, dict.fromkeys(paths, temperature), told),
    )
    tables = (settings.speeds, settings.conform_to, settings.distances_m, settings.temperatures_c)
    for _, problem in shoot.unread:
        if problem.path not in known and any(problem.path in table for table in tables):
            say(f"{problem.unread}; its line in the table is passed over.")
    if every_camera and not any(not pair.is_join for pair in alignments):
        say("No takes are lined up yet, so each has its own calls; `calltag sync` lines them up.")
    marked = name_better_sound(mark_takes(take_logs, settings), every, alignments)
    if not any(one.markers for one in marked):
        has_calls = any(one.calls for one in take_logs)
        hint = _how_to_mark_more(settings.calls) if has_calls else _WHAT_IS_THERE
        raise InputError(f"{out.name}: nothing to mark, so nothing was written; {hint}")
    targets = per_take_paths(marked, out, chosen.SUFFIX) if chosen.PER_TAKE else [out]
    refuse_footage([out, *targets], [one.take.file for one in every])
    if as_format is None and chosen.PER_TAKE:
        _refuse_beside(out, targets, [one.take.file for one in every])
    problems: list[Problem] = []
    notes: list[str] = []
    options = WriteOptions(
        record_start=start_tc,
        replace=replace,
        on_problem=problems.append,
        on_note=notes.append,
    )
    written = chosen.write(marked, out, options)
    tell_markers(marked, written, problems, notes)
    if written and conform is not None and not is_table(conform):
        tell_conformed(marked, conform)
    if written and speed is not None and not is_table(speed):
        tell_slowed(marked, speed)
    end(problems, done=bool(written))


def _how_to_mark_more(calls: CallFilter) -> str:
    """Which options of those that were given leave calls out."""
    looser = ["without --min-snr"] * (calls.min_snr_db is not None)
    looser += ["with --min-confidence 0"] * (calls.min_confidence > 0)
    return f"{', '.join(looser)} more is marked" if looser else _WHAT_IS_THERE


def _refuse_idle(context: typer.Context, chosen: Format, *, has_distance: bool) -> None:
    """Refuse options that what is asked for has no use for."""
    if not has_distance and typed(context, "temperature"):
        raise WrongUse("--temperature goes with --distance: it says how fast the sound came")
    if not chosen.OWN_START and typed(context, "start_tc"):
        raise WrongUse(
            f"--start-tc is where a timeline or an edit list begins; {chosen.NAME} has none, so "
            "leave it out"
        )


def _refuse_beside(out: Path, targets: Sequence[Path], footage: Sequence[Path]) -> None:
    """Refuse to write beside the clips, where nothing but the name of their folder asks for it."""
    folders, theirs = ({file.resolve().parent for file in files} for files in (targets, footage))
    if any(is_one(folder, its) for folder in folders for its in theirs):
        raise InputError(
            f"{out}: your clips are in there; name the file to write, such as ashmere.otio, or"
            " another folder (--as webvtt puts markers beside the clips)"
        )


def _check_values(
    speed: str | None, conform: str | None, distance: str | None, temperature_c: float
) -> None:
    """Refuse values that cannot be, where they do not stand in a table."""
    from calltag.edit.retime import parse_speed
    from calltag.edit.sound_delay import travel_time
    from calltag.edit.take_settings import is_table
    from calltag.media.timing.timecode import parse_rate

    if speed is not None and not is_table(speed):
        parse_speed(speed)
    if conform is not None and not is_table(conform):
        parse_rate(conform)
    if distance is not None:
        travel_time(0.0 if is_table(distance) else _metres()(distance), temperature_c)


def _metres() -> Callable[[str], float]:
    from calltag.edit.take_settings import parse_number

    return parse_number("distance", "metres")


def _temperatures(
    text: str | None, same: dict[str, float], told: Callable[..., dict[str, float]]
) -> dict[str, float]:
    from calltag.edit.take_settings import is_table, parse_number

    if text is None or not is_table(text):
        return same
    degrees = parse_number("temperature", "degrees Celsius")
    return same | told(text, "temperature_c", degrees, optional=True)
