"""`calltag demo`: the whole job on the clips that come with calltag."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli import STOPPED
from calltag.cli._options import LOG_NAME
from calltag.cli._output import say
from calltag.cli._shells import as_typed
from calltag.errors import CalltagError, InputError, reason_of
from calltag.files import write_texts, written_whole
from calltag.paths import is_there
from calltag.shipped import shipped

if TYPE_CHECKING:
    from calltag.edit.formats import Format

OUT = Path("calltag-demo")

WRITTEN = (
    "labels.csv",
    str(LOG_NAME),
    "calltag.model",
    "markers",
    "best.otio",
    "best.wav",
    "sheet.html",
    "rescued.wav",
    "bed.wav",
    "summary.txt",
)
"""What the demo writes into its folder."""

OPENING = (
    "Ashmere, a flooded gravel pit at first light. The place and its animals are invented, picture "
    "and sound are computed."
)
CLOSING = (
    "Now your own clips: `calltag log` with the folder that holds them. Your editing program reads "
    "one or more of the files in {markers}; try which. Turn your headphones down before you play "
    "anything, and do not play calls to wild animals."
)


@dataclass(frozen=True, slots=True)
class Step:
    """A part of the job.

    Attributes
    ----------
    why : str
        What it is for.
    commands : sequence of tuple of str
        What one would type after `calltag`, each.
    """

    why: str
    commands: Sequence[tuple[str, ...]]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("demo")(demo_command)


def demo_command(
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Folder to write to.")] = OUT,
) -> None:
    """Do the whole job on the clips that come with calltag.

    They are an invented morning at an invented place, with computed picture and sound. Every step
    is shown with the command that you would type for it.

    \b
    Example:
      calltag demo
    """
    from calltag.cli.app import app

    clips = demo_clips()
    try:
        out.mkdir(parents=True, exist_ok=True)
        _refuse_own(out, clips)
        with written_whole(out / "labels.csv") as partial:
            shutil.copyfile(clips / "labels.csv", partial)
    except OSError as error:
        raise InputError(
            f"{out}: cannot be written to ({reason_of(error)}); name another with --out"
        ) from None
    typer.echo(OPENING)
    told = [OPENING]
    for number, step in enumerate(steps(clips, out), 1):
        head = f"\n{number}. {step.why}"
        typer.echo(head)
        told.append(head)
        for command in step.commands:
            line = f"   $ {as_typed(('calltag', *command))}"
            typer.echo(line)
            told.append(line)
            status = app(list(command), prog_name="calltag", standalone_mode=False)
            if status == STOPPED:
                say("Stopped; `calltag demo` goes through it again.")
                raise typer.Exit(STOPPED)
            if status:
                raise CalltagError(f"step {number} of the demo did not end well; see above")
    told += ["", *summary(clips, out), "", CLOSING.format(markers=out / "markers")]
    write_texts({out / "summary.txt": "\n".join(told) + "\n"}, replace=True)
    typer.echo(f"\nAll of it is in {out}; summary.txt says what is what.")
    typer.echo(told[-1])


def _refuse_own(out: Path, clips: Path) -> None:
    """Refuse to replace what is not the demo's; a folder of the demo has its labels in it."""
    labels = out / "labels.csv"
    if labels.is_file() and labels.read_bytes() == (clips / "labels.csv").read_bytes():
        return
    if own := next((name for name in WRITTEN if is_there(out / name)), None):
        raise InputError(
            f"{out}: holds {own}, which may be yours and would be replaced; name another folder "
            "with --out"
        )


def demo_clips() -> Path:
    """Find the demo's clips: in the installed package, or beside it in a checkout."""
    labels = shipped("demo_audio", "labels.csv")
    if labels is None:
        raise InputError(
            "the demo's clips are missing from the installation; install calltag again"
        )
    return labels.parent


def steps(clips: Path, out: Path) -> Iterator[Step]:
    """Yield the parts of the job, in order."""
    log = ("--log", str(out / LOG_NAME))
    yield Step("Find the calls and the noise in every take.", [("log", str(clips), *log)])
    yield Step("What is the sound of each take good for?", [("takes", *log)])
    yield Step(
        "Say of some calls what they are. Here that is done already; you would fill in a table.",
        [("label", "--from", str(out / "labels.csv"), *log)],
    )
    yield Step("Let calltag learn from that, and name all the other calls.", [("teach", *log)])
    yield Step("Look at the best ten.", [("calls", "--best", "10", *log)])
    yield Step(
        "How well does it do? The demo knows what is really there.",
        [("score", str(clips / "truth.csv"), "--every-take", *log)],
    )
    yield from _two_cameras(clips, log)
    yield from _help_for_takes(out, log)
    yield Step("Write markers for the edit, in every format.", list(_markers(out, log)))
    yield Step(
        "Put the best ten on a timeline, with their sound.",
        [("selects", str(out / "best.otio"), "--sound", str(out / "best.wav"), "--replace", *log)],
    )
    yield Step(
        "See and hear the whole shoot on one page; open it in your browser.",
        [("sheet", str(out / "sheet.html"), "--replace", *log)],
    )


def _two_cameras(clips: Path, log: tuple[str, ...]) -> Iterator[Step]:
    stated = clips / "sync.csv"
    if stated.is_file():
        with stated.open(newline="", encoding="utf-8") as file:
            first = next(csv.DictReader(file))
        yield Step(
            "Two cameras ran at the same moment: line them up by what both heard. A call is then "
            "listed once, from the camera that has it better.",
            [
                ("sync", first["take_a"], first["take_b"], *log),
                ("calls", "--once", "--take", first["take_a"], "--take", first["take_b"], *log),
            ],
        )


def _help_for_takes(out: Path, log: tuple[str, ...]) -> Iterator[Step]:
    from calltag.cli._log import read_takes
    from calltag.log import Log

    with Log(out / LOG_NAME, create=False) as opened:
        take_logs = list(read_takes(opened))
    for one in take_logs:
        if any(noise.kind.startswith("machine") for noise in one.noise):
            rescued = ("--out", str(out / "rescued.wav"), "--replace")
            yield Step(
                "What would rescue a take with a machine in it?",
                [("rescue", one.take.path, *rescued, *log)],
            )
            break
    for one in take_logs:
        if not one.take.has_sound:
            bed = ("--seconds", "10", "--calls", "keep", "--out", str(out / "bed.wav"), "--replace")
            yield Step(
                "A take at high speed has no sound: background of the same morning goes under it. "
                "The animals call all the time, so their calls may be in it.",
                [("bed", "--for", one.take.path, *bed, *log)],
            )
            break


def _markers(out: Path, log: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    from calltag.edit.formats import all_formats

    for name, one in all_formats().items():
        yield ("markers", str(out / _target(one)), "--as", name, "--replace", *log)


def _target(one: Format) -> Path:
    return Path("markers", one.NAME if one.PER_TAKE else f"markers{one.SUFFIX}")


def _found(target: Path, out: Path) -> str:
    """The name of a file or folder of markers; takes of several frame rates make several lists."""
    if is_there(out / target):
        return str(target)
    return str(target.with_name(f"{target.stem}_*{target.suffix}"))


def summary(clips: Path, out: Path) -> Iterator[str]:
    """Yield what came of it, and what lies where."""
    from calltag.cli._log import read_takes
    from calltag.cli._summary import find_lines
    from calltag.edit.formats import all_formats
    from calltag.log import Log
    from calltag.takes.verdict import judge
    from calltag.takes.verdict import summary as verdicts

    with Log(out / LOG_NAME, create=False) as log:
        take_logs = list(read_takes(log))
    yield verdicts(judge(one) for one in take_logs)
    yield from find_lines(take_logs)
    yield ""
    yield f"The clips, which were only read: {clips}"
    files = [
        (str(LOG_NAME), "the log: all that was found"),
        ("labels.csv", "the labels that were learnt from"),
        ("calltag.model", "what was learnt"),
        *((_found(_target(one), out), f"markers as {name}") for name, one in all_formats().items()),
        ("best.otio, best.wav", "the timeline of the best calls, and its sound"),
        ("sheet.html", "the whole shoot on one page, for your browser"),
        ("rescued.wav", "the treated sound of a spoilt take, if anything helps"),
        ("bed.wav", "background without noise, ten seconds that loop"),
    ]
    width = max(len(name) for name, _ in files)
    for name, what in files:
        yield f"  {name:<{width}}  {what}"
