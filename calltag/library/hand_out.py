"""Kept calls handed out to an edit: copies in a folder, with markers and credits.

A copy is a wave file with the same sound, start time, cue and story. If asked for, all are brought
to one loudness by EBU R 128, measured on the whole file; none is turned up beyond a true peak of
`PEAK_DBTP`, nothing is limited or compressed. R 128 knows no loudness of less than 0.4 s: files as
short as that are aligned by the same weighting without its gates, and that is said.
"""

from __future__ import annotations

import math
import re
import shutil
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path, PurePosixPath
from typing import NamedTuple

from calltag import __version__
from calltag.arrays import DoubleArray
from calltag.edit.formats import WriteOptions
from calltag.edit.formats import otio as otio_format
from calltag.edit.markers import TakeMarkers, describe_call
from calltag.edit.tables import csv_text
from calltag.errors import CalltagError, InputError, MediaError, WriteError, reason_of
from calltag.files import put_all_in_place, write_texts, written_whole
from calltag.library.catalogue.catalogue import Kept
from calltag.library.kept_file.sound_file import (
    read_cut_bext,
    read_samples,
    read_story,
    sound_hash,
    write_cut,
)
from calltag.library.kept_file.story import Story, call_of
from calltag.library.tables import CREDIT_COLUMNS, credit_row
from calltag.media.timing.timecode import Rate
from calltag.media.wave_files.bext import history_line
from calltag.overwriting import refuse_existing
from calltag.partials import partial_path, sweep_once
from calltag.paths import folded, is_there
from calltag.records.marker import Marker
from calltag.records.take import Problem, Take
from calltag.sound.loudness.meters import GATING_BLOCK_S, integrated_lufs, ungated_lufs
from calltag.sound.loudness.true_peak import true_peak_dbtp
from calltag.words import counted

PEAK_DBTP = -1.0
"""True peak that no copy exceeds that was brought to a loudness (EBU R 128)."""

MARKERS_NAME = "calls.otio"
CREDITS_NAME = "credits.csv"

_GAIN = re.compile(r": ([+-][0-9.]+) dB for [0-9.+-]+ LUFS$", re.MULTILINE)
"""How the history of a copy ends that was brought to a loudness."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandedOut:
    """A copy that was handed out.

    Attributes
    ----------
    kept : Kept
        What it is a copy of.
    file : Path
        The copy: named as its file, and by its id too where two files have one name.
    story : Story
        Its story.
    gain_db : float
        By how much it was turned up; 0 where it was left at its level.
    held : bool
        Whether it stays below the loudness asked for, since its peak would go too high.
    short : bool
        Whether it is too short for a loudness by EBU R 128.
    """

    kept: Kept
    file: Path
    story: Story
    gain_db: float = 0.0
    held: bool = False
    short: bool = False


@dataclass(frozen=True, slots=True)
class OutReport:
    """What was handed out.

    Attributes
    ----------
    copies : tuple of HandedOut
        The copies, in order.
    problems : tuple of Problem
        Kept calls that could not be read, or whose sound is damaged.
    markers, credits : Path or None
        The timeline with a marker on each call, and the table of credits; None without copies.
    """

    copies: tuple[HandedOut, ...]
    problems: tuple[Problem, ...]
    markers: Path | None
    credits: Path | None


def hand_out(
    kept: Sequence[Kept],
    folder: Path,
    *,
    library: Path,
    loudness_lufs: float | None = None,
    rate: Rate | None = None,
    replace_existing: bool = False,
    told: Callable[[int], None] = lambda _: None,
) -> OutReport:
    """Copy kept calls to a folder for the edit.

    Parameters
    ----------
    kept : sequence of Kept
        The calls; of two of one id, the first is taken.
    folder : Path
        Where to; made if there is none. It may not lie in the library.
    library : Path
        The library's folder.
    loudness_lufs : float or None
        Loudness to bring all to; None leaves them at their levels.
    rate : Rate or None
        How the markers count frames; that of most of the takes unless given.
    replace_existing : bool
        Whether existing files may be replaced; the new lists name earlier copies of the folder too.
    told : callable
        Told after each copy how many are done.

    Returns
    -------
    OutReport
        What was handed out.

    Raises
    ------
    InputError
        If there is nothing to hand out, the folder lies in the library, or a file exists already or
        cannot be written.
    """
    calls = list({one.story.id: one for one in reversed(kept)}.values())[::-1]
    if not calls:
        raise InputError("no kept call was chosen; `calltag library find` lists them")
    if folder.resolve().is_relative_to(library.resolve()):
        raise InputError(f"{folder}: this lies in the library; name a folder outside it")
    if loudness_lufs is not None and not -70 <= loudness_lufs <= 0:
        raise InputError(f"loudness {loudness_lufs:g}: give LUFS, such as -23")
    names = _names(calls)
    made = [folder / name for name in (*names, MARKERS_NAME, CREDITS_NAME)]
    refuse_existing(made, replace=replace_existing, named="folder")
    with _appearing_together(folder) as place:
        copies, problems = [], []
        for number, (one, name) in enumerate(zip(calls, names, strict=True), 1):
            try:
                copies.append(_copy(one, place / name, loudness_lufs))
            except MediaError as error:
                problems.append(Problem(path=one.path, reason=error.reason))
            told(number)
        if not copies:
            return OutReport((), tuple(problems), None, None)
        listed = [_Listed(copy.file, copy.story, copy.gain_db) for copy in copies]
        listed += _there_before(folder, {copy.file.name for copy in copies})
        otio_format.write(
            [_marked(copy, folder, rate or _common_frame_rate(calls)) for copy in listed],
            place / MARKERS_NAME,
            WriteOptions(title=folder.name),
        )
        credit_list = csv_text(CREDIT_COLUMNS, [credit_row(*copy) for copy in listed])
        write_texts({place / CREDITS_NAME: credit_list}, replace=False)
    copies = [replace(copy, file=folder / copy.file.name) for copy in copies]
    return OutReport(tuple(copies), tuple(problems), folder / MARKERS_NAME, folder / CREDITS_NAME)


@contextmanager
def _appearing_together(folder: Path) -> Iterator[Path]:
    """Yield a hidden place for files, which come into a folder once all are whole."""
    made = not is_there(folder)
    place = partial_path(folder / MARKERS_NAME)
    try:
        place.mkdir(parents=True)
        sweep_once(folder)
        yield place
        # The lists come last, so that a killed run leaves none that names copies not there yet.
        files = sorted(place.iterdir(), key=lambda file: (file.suffix != ".wav", file.name))
        put_all_in_place({file: folder / file.name for file in files})
    except WriteError as error:
        raise WriteError(folder / error.path.name, error.reason) from error
    except CalltagError:
        raise
    except OSError as error:
        raise WriteError(folder, reason_of(error)) from error
    finally:
        shutil.rmtree(place, ignore_errors=True)
        if made:
            with suppress(OSError):  # there is something in it
                folder.rmdir()


def report_lines(
    report: OutReport, folder: Path, loudness_lufs: float | None = None
) -> Iterator[str]:
    """Say what was handed out.

    Parameters
    ----------
    report : OutReport
        What was handed out.
    folder : Path
        Where to.
    loudness_lufs : float or None
        The loudness that was asked for.

    Yields
    ------
    str
        A sentence, or a line about a copy.
    """
    for problem in report.problems:
        yield f"{problem.path}: {problem.reason}"
    if not report.copies or report.markers is None or report.credits is None:
        return
    level = "at its own level" if len(report.copies) == 1 else "each at its own level"
    if loudness_lufs is not None:
        level = f"brought to {loudness_lufs:g} LUFS"
    yield f"{counted(len(report.copies), 'call')} copied to {folder}, {level}."
    yield f"With them: {report.markers.name}, a timeline with markers, and {report.credits.name}."
    if loudness_lufs is None:
        return
    for copy in report.copies:
        remarks = []
        if copy.held:
            remarks.append(f"no more, since its true peak is at {PEAK_DBTP:g} dBTP")
        if copy.short:
            remarks.append(
                f"shorter than {GATING_BLOCK_S:g} s, of which R 128 knows no loudness: set by its"
                " level"
            )
        told = f": {'; '.join(remarks)}" if remarks else ""
        yield f"  {copy.file.name} {copy.gain_db:+z.1f} dB{told}"


def _common_frame_rate(kept: Sequence[Kept]) -> Rate:
    """The rate that most of the takes were filmed at."""
    rates = Counter((one.story.frame_rate, ";" in one.story.start_tc) for one in kept)
    (frame_rate, drop), _ = rates.most_common(1)[0]
    return Rate(Fraction(frame_rate), drop)


def _names(calls: Sequence[Kept]) -> list[str]:
    """Name the copies as the files, and by their ids where a disk may take two names for one."""
    stems = [PurePosixPath(one.path).stem for one in calls]
    alike = [folded(stem) for stem in stems]
    count = Counter(alike)
    return [
        f"{stem}.wav" if count[key] == 1 else f"{stem}_{one.short_id}.wav"
        for one, stem, key in zip(calls, stems, alike, strict=True)
    ]


def _copy(kept: Kept, target: Path, loudness_lufs: float | None) -> HandedOut:
    if sound_hash(kept.file) != kept.story.sound_hash:
        raise MediaError(
            kept.file, "its sound is damaged, so it was not handed out; take it from a copy"
        )
    if loudness_lufs is None and kept.file.suffix.lower() == ".wav":
        with written_whole(target) as partial:
            shutil.copyfile(kept.file, partial)
        return HandedOut(kept=kept, file=target, story=kept.story)
    if loudness_lufs is not None:
        return _copy_at(kept, target, loudness_lufs)
    story = write_cut(target, read_samples(kept.file), kept.story, read_cut_bext(kept.file))
    return HandedOut(kept=kept, file=target, story=story)


def _copy_at(kept: Kept, target: Path, loudness_lufs: float) -> HandedOut:
    """Copy a call, brought to a loudness; its history says by how much."""
    samples = read_samples(kept.file)
    bext = read_cut_bext(kept.file)
    rate_hz = kept.story.rate_hz
    short = samples.shape[1] < round(GATING_BLOCK_S * rate_hz)
    gain_db, held = _gain_db(samples, rate_hz, loudness_lufs, short=short)
    samples = samples * 10 ** (gain_db / 20)
    level_dbfs = kept.story.level_dbfs
    loudness = integrated_lufs(samples, rate_hz)
    story = replace(
        kept.story,
        loudness_lufs=loudness if math.isfinite(loudness) else None,
        true_peak_dbtp=true_peak_dbtp(samples),
        level_dbfs=None if level_dbfs is None else level_dbfs + gain_db,
    )
    why = f"{gain_db:+z.2f} dB for {loudness_lufs:g} LUFS"
    line = history_line(rate_hz, f"calltag {__version__}: {why}")
    bext = replace(
        bext,
        history=f"{bext.history}\n{line}".strip(),
        loudness_lufs=story.loudness_lufs,
        true_peak_dbtp=story.true_peak_dbtp,
    )
    story = write_cut(target, samples, story, bext)
    return HandedOut(kept=kept, file=target, story=story, gain_db=gain_db, held=held, short=short)


def _gain_db(
    samples: DoubleArray, rate_hz: int, target_lufs: float, *, short: bool
) -> tuple[float, bool]:
    """By how much to turn a sound up, and whether its peak allows no more."""
    measured = (ungated_lufs if short else integrated_lufs)(samples, rate_hz)
    peak_dbtp = true_peak_dbtp(samples)
    if not math.isfinite(measured) or not math.isfinite(peak_dbtp):
        return 0.0, False  # silence, or below what R 128 measures
    wanted_db, most_db = target_lufs - measured, PEAK_DBTP - peak_dbtp
    return min(wanted_db, most_db), wanted_db > most_db


class _Listed(NamedTuple):
    """A copy as the lists beside it name it."""

    file: Path
    story: Story
    gain_db: float


def _there_before(folder: Path, now: Collection[str]) -> Iterator[_Listed]:
    """Yield the copies of a folder that were handed out before, by what their files say."""
    for file in sorted(folder.glob("*.wav")):
        if file.name in now:
            continue
        try:
            story, _ = read_story(file)
            gains = _GAIN.findall(read_cut_bext(file).history)
        except MediaError:  # any other sound
            continue
        yield _Listed(file, story, float(gains[-1]) if gains else 0.0)


def _marked(copy: _Listed, folder: Path, rate: Rate) -> TakeMarkers:
    story = copy.story
    call = call_of(story)
    bext = read_cut_bext(copy.file)
    take = Take(
        path=copy.file.name,
        rushes=str(folder.resolve()),
        digest=story.sound_hash[:32],
        size_bytes=copy.file.stat().st_size,
        duration_s=story.duration_s,
        time_reference=bext.time_reference,
        recorded=story.recorded,
        sample_rate_hz=story.rate_hz,
        channels=story.channels,
    )
    words = [describe_call(call), story.place, story.rights]
    marker = Marker(
        start_s=call.start_s,
        end_s=call.end_s,
        name=story.label,
        comment="; ".join(part for part in words if part),
        confidence=story.confidence,
        snr_db=story.snr_db,
        call=call,
    )
    return TakeMarkers(take=take, markers=(marker,), rate=rate)
