"""Keeping calls: cut from their takes into the library, each a file first and then a row.

A file appears under its name when it is complete; its row is written after it, in a transaction of
its own. So a run that is stopped at any moment leaves no half file, and no new row without one; at
worst a file without a row, which the next run, or `calltag.library.rebuild`, takes in. A cut that
is replaced goes before its row does: a row of no file is found by whoever looks for the call, a
file of no row by nobody.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from pathlib import Path

from calltag.edit.heard_twice import moments_elsewhere
from calltag.errors import MediaError, reason_of
from calltag.learn.labels.sameness import ENOUGH, common_s, ends_apart_s, in_one_band
from calltag.learn.labels.vocabulary import species_of
from calltag.library.catalogue.catalogue import Catalogue, Kept
from calltag.library.cuts import HANDLES_S, Cut, cut_bext, cut_call, tell_story
from calltag.library.kept_file.sound_file import (
    MOST_FLAC_CHANNELS,
    file_hash,
    subtype_of,
    write_cut,
)
from calltag.library.kept_file.story import Facts, Heard, Story
from calltag.library.search.doubles import kept_before
from calltag.media.timing.clock import DEFAULT_RATE, take_clock
from calltag.media.timing.timecode import Rate
from calltag.partials import sweep
from calltag.paths import is_one
from calltag.records.alignment import Alignment
from calltag.records.found import Call, TakeLog
from calltag.records.span import Span
from calltag.records.take import Problem, Take
from calltag.spelling import one_spelling

_LONGEST_NAME = 60
_DEVICES = frozenset(
    ["con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in "123456789¹²³")]
)
"""What Windows takes for a device, whatever follows after a full stop: no file may be called so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A call that is to be kept.

    Attributes
    ----------
    take : Take
        Its take.
    call : Call
        The call, with its measurements where there are some.
    model : str or None
        What named it, where the user did not.
    feature_version : int
        Version of its measurements.
    also_heard : tuple of Heard
        The same moment in takes of other cameras.
    """

    take: Take
    call: Call
    model: str | None = None
    feature_version: int = 0
    also_heard: tuple[Heard, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepOptions:
    """How calls are kept.

    Attributes
    ----------
    handles_s : float
        Seconds kept before and after each call.
    as_flac : bool
        Whether to write FLAC in place of WAV.
    facts : Facts
        What the user adds to the stories.
    rate : Rate
        How to count timecode of takes that have no rate of their own.
    replace : bool
        Whether a call that is kept already is cut anew; its old cut goes.
    """

    handles_s: float = HANDLES_S
    as_flac: bool = False
    facts: Facts = field(default_factory=Facts)
    rate: Rate = DEFAULT_RATE
    replace: bool = False


@dataclass(slots=True)
class KeepReport:
    """What came of keeping.

    Attributes
    ----------
    kept : list of Kept
        What was cut now.
    known : list of tuple of Wanted and Kept
        Calls that were kept already, and were left as they were.
    problems : list of Problem
        Takes that could not be read.
    notes : list of str
        What else the user should know.
    """

    kept: list[Kept] = field(default_factory=list)
    known: list[tuple[Wanted, Kept]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def keep_calls(
    catalogue: Catalogue,
    wanted: Iterable[Wanted],
    options: KeepOptions,
    *,
    told: Callable[[int], None] = lambda _: None,
) -> KeepReport:
    """Cut calls from their takes into the library.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    wanted : iterable of Wanted
        The calls.
    options : KeepOptions
        How.
    told : callable
        Told after each call how many are done.

    Returns
    -------
    KeepReport
        What came of it.

    Raises
    ------
    InputError
        If an option makes no sense, or a file cannot be written.
    LibraryError
        If the catalogue cannot be written.
    """
    sweep(catalogue.folder, below=True)
    report = KeepReport()
    unreadable: set[str] = set()
    for number, (one, before) in enumerate(with_cuts(catalogue, wanted), 1):
        if before and not options.replace:
            there = next((kept for kept in before if kept.file.is_file()), before[0])
            report.known.append((one, there))
        elif one.take.path not in unreadable:
            try:
                report.kept.append(_keep(catalogue, one, options, before, report.notes))
            except MediaError as error:
                unreadable.add(one.take.path)
                report.problems.append(Problem(path=one.take.path, reason=error.reason))
        told(number)
    return report


def with_cuts(
    catalogue: Catalogue, wanted: Iterable[Wanted]
) -> Iterator[tuple[Wanted, list[Kept]]]:
    """Pair calls with their cuts that are in the library already.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    wanted : iterable of Wanted
        All calls that are to be kept: a cut that is another's is not this one's.

    Yields
    ------
    tuple of Wanted and list of Kept
        Each call, in order; and its cuts by the time that it is its turn: those of which half of
        the longer is in both, the nearest first; mostly none or one. A short call that lies in a
        long one is a call of its own.

    Raises
    ------
    LibraryError
        If the catalogue cannot be read.
    """
    every = list(wanted)
    of_take: dict[str, list[Call]] = defaultdict(list)
    for one in every:
        of_take[one.take.digest].append(one.call)
    for one in every:
        before = kept_before(catalogue, one.take.digest, one.call)
        calls = of_take[one.take.digest]
        yield one, [kept for kept in before if _is_of(one.call, kept.story, calls)]


def _is_of(call: Call, story: Story, wanted: Iterable[Call]) -> bool:
    longer_s = max(call.span.length_s, story.source.length_s)
    if common_s(call.span, story.source) < ENOUGH * longer_s:
        return False
    apart_s = ends_apart_s(call.span, story.source)
    return not any(
        ends_apart_s(other.span, story.source) < apart_s
        for other in wanted
        if in_one_band(other.low_hz, other.high_hz, story.low_hz, story.high_hz)
    )


def _keep(
    catalogue: Catalogue,
    one: Wanted,
    options: KeepOptions,
    replaced: list[Kept],
    notes: list[str],
) -> Kept:
    take = one.take
    cut = cut_call(take.file, one.call.span, handles_s=options.handles_s)
    facts = _remembered(options.facts, replaced[0].story) if replaced else options.facts
    story = tell_story(
        take,
        one.call,
        cut,
        facts=facts,
        model=one.model,
        feature_version=one.feature_version,
        also_heard=one.also_heard,
        rate=options.rate,
    )
    as_flac = options.as_flac and story.channels <= MOST_FLAC_CHANNELS
    notes += _how_kept(one, cut, options, as_flac=as_flac)
    subtype = subtype_of(cut.samples, as_flac=as_flac)
    path = cut_path(story, ".flac" if as_flac else ".wav")
    file = catalogue.folder / path
    bext = cut_bext(take, cut, story, take_clock(take, options.rate), subtype=subtype)
    story = write_cut(file, cut.samples, story, bext)
    _settle(file)
    size_bytes, whole_hash = file.stat().st_size, file_hash(file)
    catalogue.put([(path, story, size_bytes, whole_hash)])
    notes += _put_away(catalogue, [old for old in replaced if old.path != path], file)
    return catalogue.kept_where("cuts.path = ?", [path])[0]


def _put_away(catalogue: Catalogue, replaced: Iterable[Kept], by: Path) -> Iterator[str]:
    """Remove cuts that another replaces, and say which file cannot be removed."""
    for old in replaced:
        try:
            if not is_one(old.file.absolute(), by.absolute()):
                old.file.unlink(missing_ok=True)
        except OSError as error:
            yield (
                f"{old.path}: is replaced, but cannot be removed ({reason_of(error)}); close what"
                " has it open, and keep the call once more with --replace"
            )
        else:
            catalogue.remove([old.path])


def _how_kept(one: Wanted, cut: Cut, options: KeepOptions, *, as_flac: bool) -> Iterator[str]:
    """What the user would not expect of the form that a call is kept in."""
    name = one.take.path
    if options.as_flac and not as_flac:
        yield f"{name}: has {len(cut.samples)} channels, more than FLAC holds; kept as WAV"
    if subtype_of(cut.samples, as_flac=False) != "FLOAT":
        return
    above = f"{name} at {one.call.start_s:.1f} s: goes above full scale,"
    if as_flac:
        yield f"{above} which FLAC cuts off; keep it as WAV, which does not"
    else:
        yield f"{above} so its samples are kept as 32-bit floats"


def _remembered(facts: Facts, story: Story) -> Facts:
    """What the user adds now, and where that is nothing, what was added before."""
    before = Facts(
        species="" if story.species == species_of(story.label) else story.species,
        date=story.recorded,
        **{
            each.name: getattr(story, each.name)
            for each in fields(Facts)
            if each.name not in ("species", "date")
        },
    )
    values = {each.name: getattr(facts, each.name) for each in fields(Facts)}
    return replace(before, **{k: v for k, v in values.items() if v not in ("", None)})


def _settle(file: Path) -> None:
    """Have the disk hold the file before the catalogue says that it is there."""
    with suppress(OSError), file.open("rb+") as opened:
        os.fsync(opened.fileno())


def cut_path(story: Story, suffix: str) -> str:
    """Name the file of a kept call, below the library's folder.

    Parameters
    ----------
    story : Story
        Its story.
    suffix : str
        One of `calltag.library.kept_file.sound_file.SUFFIXES`.

    Returns
    -------
    str
        A folder for the species, and in it a name of call type, take, second and id: no two cuts
        have the same, and the same cut has it always.
    """
    folder = _plain(story.species) or "calls"
    take = _plain(Path(story.take).stem, lower=False)
    name = f"{_plain(story.label)}_{take}_{story.source_start_s:.2f}s_{story.id[:8]}"
    return f"{folder}/{name}{suffix}"


def _plain(text: str, *, lower: bool = True) -> str:
    """Letters, digits and hyphens: what every disk takes for a name."""
    text = one_spelling(text.casefold() if lower else text)
    kept = "".join(c if c.isalnum() or c in "-_." else "-" for c in text)
    name = "-".join(part for part in kept.split("-") if part)[:_LONGEST_NAME].strip("._")
    first, stop, rest = name.partition(".")
    return f"{first}-{stop}{rest}" if first.casefold() in _DEVICES else name


def heard_elsewhere(
    take_logs: Iterable[TakeLog], alignments: Iterable[Alignment]
) -> Mapping[tuple[str, Span], tuple[Heard, ...]]:
    """Find the calls that several cameras heard.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes.
    alignments : iterable of Alignment
        How takes lie against each other.

    Returns
    -------
    mapping of tuple of str and Span to tuple of Heard
        By path of the take and span of the call, the same moment in other takes.
    """
    return {
        (own.take_log.take.path, own.call.span): tuple(
            Heard(take.digest, take.path, *span) for take, span in others
        )
        for own, others in moments_elsewhere(take_logs, alignments)
    }
