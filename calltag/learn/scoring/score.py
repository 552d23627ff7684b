"""How well what was found agrees with a reference annotation: figures, their intervals, and words.

What is counted, and how, says `calltag.learn.scoring.counting`. Figures that nothing was counted
for are ``nan``.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from calltag.errors import InputError
from calltag.learn.labels.label_file import read_labels
from calltag.learn.labels.sameness import OFFSET_SHARE, ONSET_COLLAR_S
from calltag.learn.labels.vocabulary import is_call, is_call_type
from calltag.learn.scoring.counting import (
    Counts,
    Names,
    Overlap,
    Pair,
    count_events,
    count_names,
    count_overlaps,
    f1_by_overlap,
    f1_of_all,
    mean_f1,
    ratio,
)
from calltag.learn.scoring.intervals import Interval, bootstrap
from calltag.records.found import TakeLog
from calltag.records.label import Label
from calltag.words import counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """What a comparison came to.

    Attributes
    ----------
    takes : int
        Takes that were compared.
    left_out : int
        Takes with finds that the reference says nothing of; they count for nothing.
    overlap : Overlap
        Any call, by overlap.
    overlap_f1_interval : Interval
        Interval of its F1.
    names : Names
        What the finds are named that are calls by overlap.
    events : Counts
        Any call, by events.
    events_f1_interval : Interval
        Interval of its F1.
    by_label : mapping of str to Counts
        By events, each label by itself.
    micro : Counts
        By events, all call types together: a find is right only with the right type. One without
        a type says none, so that it is not a wrong one; the call counts as missed.
    micro_f1_interval : Interval
        Interval of its F1.
    macro_f1 : float
        Mean F1 of the call types; one that only the reference or only the finds have counts as 0.
        Where no type is named, this and `micro` are of `CALL`.
    macro_f1_interval : Interval
        Its interval.
    false_per_minute : float
        Finds by overlap that are not right, per minute of the takes compared; ``nan`` where their
        lengths are not known.
    collar_s : float
        Seconds that a start may be off, by events.
    """

    takes: int
    left_out: int
    overlap: Overlap
    overlap_f1_interval: Interval
    names: Names
    events: Counts
    events_f1_interval: Interval
    by_label: Mapping[str, Counts]
    micro: Counts
    micro_f1_interval: Interval
    macro_f1: float
    macro_f1_interval: Interval
    false_per_minute: float = math.nan
    collar_s: float = ONSET_COLLAR_S

    def text(self) -> str:
        """Say it in plain words.

        Returns
        -------
        str
            A few lines, without a line break at the end.
        """
        lines = [*self._any_call(), *self._types()]
        if self.left_out:
            left_out = counted(self.left_out, "take")
            lines.append(f"Left out: {left_out} that the reference does not name.")
        return "\n".join(lines)

    def _any_call(self) -> list[str]:
        """How well calls are found, whatever type they are given."""
        overlap = self.overlap
        are = "is a call" if overlap.right == 1 else "are calls"
        lines = [
            f"{counted(self.takes, 'take')} compared: {counted(overlap.truth, 'call')} in the"
            f" reference, {overlap.found} found.",
            f"Found {overlap.hit} of the {counted(overlap.truth, 'call')}"
            f" ({_percent(overlap.recall)}); {overlap.right} of the"
            f" {counted(overlap.found, 'find')} {are} ({_percent(overlap.precision)}).",
            f"Both in one figure, F1: {_figure(overlap.f1, self.overlap_f1_interval)}.",
        ]
        lines += self._names()
        if not math.isnan(overlap.onset_error_s):
            lines.append(f"Starts are off by {1000 * overlap.onset_error_s:.0f} ms (median).")
        if not math.isnan(self.false_per_minute):
            lines.append(f"False finds: {self.false_per_minute:.2f} a minute.")
        lines.append(
            f"With start and end right as well (within {1000 * self.collar_s:.0f} ms), F1:"
            f" {_figure(self.events.f1, self.events_f1_interval)}."
        )
        return lines

    def _names(self) -> list[str]:
        """How the finds that are calls are named; nothing where there is nothing to name."""
        names = self.names
        of = names.right + names.other + names.none
        if not names.right + names.other:
            return []
        return [
            f"Names of {counted(of, 'find that is a call', 'finds that are calls')}:"
            f" {names.right} right, {names.other} wrong, {names.none} without a type."
        ]

    def _types(self) -> list[str]:
        """How well they are named; nothing where the reference and the finds name no type."""
        types = {label: one for label, one in self.by_label.items() if is_call_type(label)}
        if not types:
            return []
        if not any(counts.found for counts in types.values()):
            return [
                "Call types are not compared: no find has one yet; `calltag teach` learns them from"
                " your labels."
            ]
        width = max(len(label) for label in self.by_label)
        return [
            f"With the call type right too, F1: {_figure(self.micro.f1, self.micro_f1_interval)};"
            f" mean over the types: {_figure(self.macro_f1, self.macro_f1_interval)}. Of each type,"
            " right where start, end and name are:",
            *(
                f"  {label:<{width}}  {counts.right:>4} right,"
                f" {counts.truth - counts.right} missed, {counts.found - counts.right} false"
                f"{'' if counts.found else '; no find has this name'}"
                for label, counts in self.by_label.items()
            ),
            *self._never_named(),
        ]

    def _never_named(self) -> list[str]:
        """What types mean for the figures that only the reference has."""
        if all(counts.found for counts in self.by_label.values()):
            return []
        return [
            "A type that no find has counts as 0 in the mean. What was not taught cannot be named:"
            " `calltag teach` lists what was."
        ]


def read_truth(path: Path) -> tuple[Label, ...]:
    """Read a reference annotation.

    Parameters
    ----------
    path : Path
        A CSV file as `calltag.learn.labels.label_file.read_labels` takes it.

    Returns
    -------
    tuple of Label
        What it says, noise included.

    Raises
    ------
    InputError
        If it cannot be read, or holds nothing.
    """
    truth = read_labels(path)
    if not truth:
        raise InputError(f"{path.name}: holds no call; a reference needs one line for each call")
    return truth


def finds(logs: Iterable[TakeLog]) -> tuple[Label, ...]:
    """Take what is to be compared out of the log.

    Parameters
    ----------
    logs : iterable of TakeLog
        The log of each take.

    Returns
    -------
    tuple of Label
        Every find that the log lists as a call.
    """
    return tuple(
        Label(take=log.take.path, start_s=call.start_s, end_s=call.end_s, label=call.label)
        for log in logs
        for call in log.calls
        if is_call(call.label)
    )


def score(
    truth: Sequence[Label],
    found: Sequence[Label],
    *,
    takes: Collection[str] | None = None,
    durations_s: Mapping[str, float] | None = None,
    collar_s: float = ONSET_COLLAR_S,
    offset_share: float = OFFSET_SHARE,
) -> Score:
    """Compare what was found with a reference annotation.

    Parameters
    ----------
    truth : sequence of Label
        The reference. What it labels as noise or `no call` is no call.
    found : sequence of Label
        The finds.
    takes : collection of str, optional
        Takes that the reference covers, those without a call in it included; by default those that
        it names.
    durations_s : mapping of str to float, optional
        Length of each take.
    collar_s : float
        Seconds that a start may be off, and an end at least.
    offset_share : float
        Share of a reference's length that its end may be off.

    Returns
    -------
    Score
        The figures.

    Raises
    ------
    InputError
        If there is no take to compare, or the collar is no length.

    Examples
    --------
    >>> boom = Label(take="A.MOV", start_s=1.0, end_s=2.0, label="marsh hooter: boom")
    >>> late = Label(take="A.MOV", start_s=1.15, end_s=2.1, label="marsh hooter: boom")
    >>> score([boom], [late]).micro
    Counts(truth=1, found=1, right=1)
    """
    covered = sorted({event.take for event in truth} if takes is None else set(takes))
    if not covered:
        raise InputError("the reference names no take; it needs one line for each call")
    if not 0 <= collar_s < math.inf:
        raise InputError(f"collar {collar_s:g}: give seconds, zero or more")
    truth_of, found_of = _by_take(truth), _by_take(found)
    left_out = len(found_of.keys() - set(covered))
    pairs = [(truth_of.get(take, []), found_of.get(take, [])) for take in covered]
    labels = _compared_labels(pairs)
    events = count_events([[pair] for pair in pairs], collar_s, offset_share)
    named = count_events(
        [[_only(pair, label) for label in labels] for pair in pairs], collar_s, offset_share
    )
    overlap, overlap_rows = count_overlaps(pairs)
    by_label = {
        label: Counts(*(int(n) for n in row))
        for label, row in zip(labels, named.sum(axis=0), strict=True)
    }
    return Score(
        takes=len(covered),
        left_out=left_out,
        overlap=overlap,
        overlap_f1_interval=bootstrap(overlap_rows, f1_by_overlap),
        names=count_names(pairs),
        events=Counts(*(int(n) for n in events.sum(axis=(0, 1)))),
        events_f1_interval=bootstrap(events, f1_of_all),
        by_label=by_label,
        micro=Counts(*(int(n) for n in named.sum(axis=(0, 1)))),
        micro_f1_interval=bootstrap(named, f1_of_all),
        macro_f1=mean_f1(named.sum(axis=0)),
        macro_f1_interval=bootstrap(named, mean_f1),
        false_per_minute=ratio(overlap.found - overlap.right, _minutes(covered, durations_s)),
        collar_s=collar_s,
    )


def _by_take(events: Iterable[Label]) -> dict[str, list[Label]]:
    by_take = defaultdict(list)
    for event in events:
        if is_call(event.label):
            by_take[event.take].append(event)
    return by_take


def _compared_labels(pairs: Sequence[Pair]) -> list[str]:
    """The call types that there are; where no type is named, `CALL`."""
    labels = sorted({event.label for pair in pairs for side in pair for event in side})
    return [label for label in labels if is_call_type(label)] or labels


def _only(pair: Pair, label: str) -> Pair:
    truth, found = pair
    return [e for e in truth if e.label == label], [e for e in found if e.label == label]


def _minutes(takes: Collection[str], durations_s: Mapping[str, float] | None) -> float:
    """How long takes are together; ``nan`` where that is not known of all."""
    if durations_s is None or not durations_s.keys() >= set(takes):
        return math.nan
    return sum(durations_s[take] for take in takes) / 60


def _percent(value: float) -> str:
    return "none to count" if math.isnan(value) else f"{100 * value:.0f} %"


def _figure(value: float, interval: Interval) -> str:
    if math.isnan(value):
        return "nothing to count"
    if math.isnan(interval.low):
        return f"{value:.2f}"
    return f"{value:.2f} (between {interval.low:.2f} and {interval.high:.2f})"
