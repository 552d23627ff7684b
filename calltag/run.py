"""Rushes to log: which takes are new, the work on them, and call types from a model.

The parent process alone writes the log, a take at a time, as results come from the workers. So a
run may be stopped at any moment: the next one goes on where it ended.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from calltag.analysis import DIED, analyse_take, outcome
from calltag.errors import InputError, ModelError
from calltag.intake import Intake, Progress
from calltag.log import Entry, Log
from calltag.media.rushes import Clip, Rushes, find_clips
from calltag.naming import MODEL_NAME, measure_labels, name_finds
from calltag.paths import printable
from calltag.plan import Job, Plan, is_gone, make_plan, real_path
from calltag.records.found import TakeLog
from calltag.records.take import Problem
from calltag.spelling import name_order
from calltag.workers import work_through


@dataclass(frozen=True, slots=True, kw_only=True)
class RunReport:
    """What a run did.

    Attributes
    ----------
    takes : int
        Clips in the rushes.
    own : int
        Files, and call libraries, passed over in the rushes because calltag made them itself.
    analysed : int
        Takes that were analysed now.
    known : int
        Takes that were in the log already.
    moved : tuple of tuple of str
        Old and new name of takes whose files were moved or renamed, with their folders where only
        those differ.
    copied : int
        Files with the same content as another take; they share its finds.
    silent : tuple of str
        Takes analysed now that have no sound.
    problems : tuple of Problem
        Takes that could not be read.
    missing : tuple of str
        Takes in the log whose files are not in the given rushes any more.
    replaced : tuple of tuple of str
        Takes whose files gave way to other recordings of the same names: that name, and the one
        that what was found in them is kept under.
    sound_s : float
        Sound that was analysed.
    elapsed_s : float
        How long the run took.
    model : str or None
        Name of the model that the takes' call types are from.
    notes : tuple of str
        What else the user should know, one sentence each.
    """

    takes: int
    own: int
    analysed: int
    known: int
    moved: tuple[tuple[str, str], ...]
    copied: int
    silent: tuple[str, ...]
    problems: tuple[Problem, ...]
    missing: tuple[str, ...]
    replaced: tuple[tuple[str, str], ...]
    sound_s: float
    elapsed_s: float
    model: str | None
    notes: tuple[str, ...]


def log_rushes(
    folders: Sequence[Path],
    log_path: Path,
    *,
    model: Path | None = None,
    workers: int | None = None,
    force: bool = False,
    drop_missing: bool = False,
    listener: Callable[[Progress], None] | None = None,
    dask: str | None = None,
    analyse: Callable[[Job], TakeLog] = analyse_take,
) -> RunReport:
    """Find calls and noise in every take of the rushes that the log does not know yet.

    A take is known by its content: a file that was moved or renamed is not analysed again. Takes
    that could not be read before are tried again. Then calls get their types, where a model was
    taught.

    Parameters
    ----------
    folders : sequence of Path
        The rushes; single clips are taken too.
    log_path : Path
        The log; begun where there is none.
    model : Path, optional
        A taught model; `MODEL_NAME` beside the log, if there is one, unless given.
    workers : int, optional
        Processes to work in; `calltag.workers.default_workers` unless given.
    force : bool
        Whether to analyse known takes again.
    drop_missing : bool
        Whether to take out of the log, with their labels, the takes whose files are gone.
    listener : callable, optional
        Is told how far the run is, at its start and after every take.
    dask : str, optional
        Address of a Dask scheduler, to use a cluster that sees the rushes under the same paths.
    analyse : callable
        What is done with each clip, in the workers.

    Returns
    -------
    RunReport
        What was done.

    Raises
    ------
    InputError
        If a folder does not exist, or there is no clip in any.
    LogError
        If the log cannot be used.
    ModelError
        If the model given, or the one that finds calls, cannot be used.
    """
    from calltag.sound.features import FEATURE_VERSION

    begun = time.monotonic()
    found = _clips_in(folders)
    clips = found.clips
    if model is not None:
        from calltag.learn.call_types.model_file import load_model

        load_model(model)  # told now, and not after an hour's work
    with Log(log_path) as log:
        entries = log.entries()
        plan = make_plan(clips, entries, feature_version=FEATURE_VERSION, force=force)
        _settle(log, plan, clips)
        intake = Intake(plan, log, FEATURE_VERSION, listener)
        intake.tell()
        work = work_through(
            partial(outcome, analyse),
            [same[0] for same in plan.jobs],
            workers=workers,
            dask=dask,
        )
        with closing(work):  # so that no worker is left when an error or Ctrl-C ends this loop
            for end in work:
                intake.take(plan.jobs[end.index], DIED if end.result is None else end.result)
        intake.copies()
        if drop_missing:
            log.forget([*plan.missing, *(name for _, name in intake.replaced)])
        named, notes = _types_of_a_run(log, model)
        if log.labels():
            notes += measure_labels(log)
        notes += _nameless(clips)
    return RunReport(
        takes=len(clips),
        own=found.own,
        analysed=intake.analysed,
        known=len(plan.known),
        moved=tuple(_moved(entries, plan)),
        copied=intake.copied,
        silent=tuple(intake.silent),
        problems=tuple(sorted(intake.problems, key=lambda problem: name_order(problem.path))),
        missing=tuple(plan.missing),
        replaced=tuple(intake.replaced),
        sound_s=intake.sound_s,
        elapsed_s=time.monotonic() - begun,
        model=named,
        notes=tuple(notes),
    )


def _clips_in(folders: Sequence[Path]) -> Rushes:
    found = find_clips(folders)
    if not found.clips:
        names = ", ".join(str(folder) for folder in folders)
        raise InputError(f"{names}: no clips in there; name the folder that holds the day's clips")
    return found


def _nameless(clips: Sequence[Clip]) -> list[str]:
    """A sentence on each clip that the log cannot lead back to."""
    return [
        f"{clip.name}: its name is no valid text, so no other command finds the file; rename it, "
        "and log the rushes again"
        for clip in clips
        if printable(str(clip.path)) != str(clip.path)
    ]


def _settle(log: Log, plan: Plan, clips: Sequence[Clip]) -> None:
    """Write into the log what is known before any clip is analysed."""
    if plan.jobs:
        log.check_writable()  # told now, and not after the first take
    log.move(plan.moves | plan.replaced)
    log.clear_problems(_looked_at_again(log, clips))
    for rushes, problem in plan.problems:
        log.put_problem(rushes, problem)


def _looked_at_again(log: Log, clips: Sequence[Clip]) -> list[tuple[str, str]]:
    """Places of the problems that are looked at again, or whose file is gone."""
    here = {real_path(clip.path) for clip in clips}
    return [
        (rushes, problem.path)
        for rushes, problem in log.problems()
        if (file := real_path(Path(rushes, problem.path))) in here or is_gone(file)
    ]


def _moved(entries: Sequence[Entry], plan: Plan) -> Iterator[tuple[str, str]]:
    """Old and new names of what was moved, with the folder where the name is the same."""
    before = {entry.take.path: entry.take.rushes for entry in entries}
    for old, (rushes, new) in plan.moves.items():
        if old == new:
            yield str(Path(before[old], old)), str(Path(rushes, new))
        else:
            yield old, new


def _types_of_a_run(log: Log, model: Path | None) -> tuple[str | None, list[str]]:
    if model is not None:
        return name_finds(log, model)
    beside = log.path.with_name(MODEL_NAME)
    if not beside.exists():
        return None, []
    try:
        return name_finds(log, beside)
    except ModelError as error:  # nobody asked for it by name, so the finds shall not wait for it
        return None, [str(error)]
