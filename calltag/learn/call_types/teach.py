"""Teaching: from labelled sounds to a tagger, and a report of what it learnt."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
from threadpoolctl import threadpool_limits

from calltag.errors import InputError
from calltag.learn.call_types.examples import Example, Sound
from calltag.learn.call_types.kinship import MOST_COMPANY
from calltag.learn.call_types.next_to_label import is_scrap, next_to_label
from calltag.learn.call_types.out_of_fold import OutOfFold, Strangers, out_of_fold, strangers
from calltag.learn.call_types.panel import Panel
from calltag.learn.call_types.tagger import Tagger
from calltag.learn.call_types.validate import Doubt, Validation, validate
from calltag.learn.labels.vocabulary import is_call, probably_meant
from calltag.learn.scoring.intervals import Interval
from calltag.records.span import Span
from calltag.words import counted, position, sure

LEAST = 2
"""Examples that a label must have to be taught at all."""

SURELY_WRONG = 0.97
"""A label is not learnt from where another one is at least this sure."""

NEXT = 10
"""Sounds that are proposed for labelling."""

_SHOWN = 5
_NEARLY_ALL = 0.9  # of finds are of taught types where trials are right of all
_ASKED = 2000  # finds that tell how common the taught types are, at most


class LookAgain(NamedTuple):
    """A label that is probably wrong.

    Attributes
    ----------
    take : str
        The take.
    span : Span
        Where in it.
    label : str
        What the user said.
    suggestion : str
        What it sounds like.
    confidence : float
        How sure that is.
    learnt : bool
        Whether it was learnt from all the same.
    """

    take: str
    span: Span
    label: str
    suggestion: str
    confidence: float
    learnt: bool


class LabelNext(NamedTuple):
    """A sound whose label would teach much.

    Attributes
    ----------
    take : str
        The take.
    span : Span
        Where in it.
    """

    take: str
    span: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What was learnt.

    Attributes
    ----------
    validation : Validation
        Figures of examples judged without their takes.
    threshold : float
        Confidence below which no call type is given.
    noise_threshold : float
        That below which no noise is named, nor `no call`.
    left_out : tuple of str
        Labels with too few examples to be taught.
    look_again : tuple of LookAgain
        Labels that are probably wrong, the most doubtful first.
    not_known : tuple of Example
        Labelled sounds that were not known again, others than those to look at again.
    label_next : tuple of LabelNext
        Sounds to label, the most telling first.
    share_of_types : float or None
        Share of the sounds without a label that names reckon with as being of the call types; None
        where there are no such sounds, or no call types.
    """

    validation: Validation
    threshold: float
    noise_threshold: float
    left_out: tuple[str, ...]
    look_again: tuple[LookAgain, ...]
    not_known: tuple[Example, ...]
    label_next: tuple[LabelNext, ...]
    share_of_types: float | None

    def text(self) -> str:
        """Say it in plain words.

        Returns
        -------
        str
            Some lines, without a line break at the end.
        """
        return "\n\n".join(
            "\n".join(lines)
            for lines in (
                self._learnt(),
                self._how_sure(),
                self._confused(),
                self._places_to_look(),
                self._mind(),
            )
            if lines
        )

    def _learnt(self) -> list[str]:
        figures = self.validation
        width = max(len(each.label) for each in figures.by_label)
        lines = [
            f"Learnt {counted(len(figures.by_label), 'label')} from {counted(figures.n, 'sound')}:"
        ]
        for each in figures.by_label:
            known = f"{each.right} of {each.checked} known" if each.checked else "not checked"
            lines.append(f"  {each.label:<{width}}  {counted(each.n, 'sound')}, {known}")
        return lines

    def _how_sure(self) -> list[str]:
        figures = self.validation
        if not figures.checked:
            return ["How well it does could not be checked."]
        return [
            f"Checked on takes left out of the teaching: {figures.right} of {figures.checked} right"
            f" ({100 * figures.accuracy:.0f} %"
            f"{_between(figures.accuracy_interval)}).",
            f"{self._given_from()}; the rest stay `call`. That named {figures.named} of"
            f" {figures.checked}, {figures.named_right} of them rightly.",
            "How sure it says it is, and how often it is right, differ by"
            f" {100 * figures.calibration_error:.0f} % on average.",
            *self._strangers(),
            *self._how_common(),
        ]

    def _given_from(self) -> str:
        types, noise = (f"{100 * each:.0f} %" for each in (self.threshold, self.noise_threshold))
        if types == noise or all(is_call(each.label) for each in self.validation.by_label):
            return f"A label is given from {types} sure upwards"
        return f"A call type is given from {types} sure upwards, noise and `no call` from {noise}"

    def _strangers(self) -> list[str]:
        figures = self.validation
        if not figures.strangers:
            return ["What it does with sounds of a type that you did not label, three labels show."]
        share = figures.strangers_named / figures.strangers
        return [
            "Sounds of a type that it was not taught: about"
            f" {100 * share:.0f} % would get a name all the same (each label left out in turn,"
            f" {figures.strangers_named} of {figures.strangers})."
        ]

    def _how_common(self) -> list[str]:
        if self.share_of_types is None or self.share_of_types > _NEARLY_ALL:
            return []
        return [
            "Of the sounds without a label many seem to be of other types: names reckon with"
            f" {100 * self.share_of_types:.0f} % being of these, and are less sure for it."
        ]

    def _confused(self) -> list[str]:
        pairs = self.validation.confused
        lines = [
            f"Taken for each other: {pair.one} and {pair.other} ({pair.times} of {pair.of})."
            for pair in pairs[:_SHOWN]
        ]
        if len(pairs) > _SHOWN:
            more = counted(len(pairs) - _SHOWN, "more pair")
            lines.append(f"Taken for each other, too: {more} of labels.")
        return lines

    def _places_to_look(self) -> list[str]:
        lines = []
        if self.look_again:
            lines += self._doubtful()
        if self.not_known:
            lines.append(
                f"Not known again{_the_first(len(self.not_known))}; where such a sound is faint or"
                " something covers it, a label on a clearer one teaches more:"
            )
            lines += [
                f"  {one.take} at {position(one.span.start_s)}: {one.label}"
                for one in self.not_known[:_SHOWN]
            ]
        if self.label_next:
            lines.append("Label these next, they would teach most:")
            lines += [
                f"  {sound.take} at {position(sound.span.start_s)}"
                for sound in self.label_next[:_SHOWN]
            ]
        return lines

    def _doubtful(self) -> list[str]:
        return [
            f"Labels to look at again{_the_first(len(self.look_again))}:",
            *(
                f"  {doubt.take} at {position(doubt.span.start_s)}: labelled {doubt.label}, sounds"
                f" like {doubt.suggestion} ({sure(doubt.confidence)} sure"
                f"{'' if doubt.learnt else ', so it was not learnt from'})"
                for doubt in self.look_again[:_SHOWN]
            ),
        ]

    def _too_few(self, label: str) -> str:
        """Why a label was left out; and which is meant by it, if it may be a slip of the pen."""
        learnt = (figures.label for figures in self.validation.by_label)
        meant = probably_meant(label, learnt)
        hint = f" Should it be `{meant}`? Then give it that label." if meant else ""
        return f"`{label}` has one example only; it was left out.{hint}"

    def _mind(self) -> list[str]:
        return [
            *(self._too_few(label) for label in self.left_out),
            *self.validation.warnings,
        ]


@dataclass(frozen=True, slots=True)
class Taught:
    """A tagger, and what is known of it.

    Attributes
    ----------
    tagger : Tagger
        The tagger.
    report : Report
        What it learnt.
    """

    tagger: Tagger
    report: Report


def teach(
    examples: Sequence[Example],
    *,
    unlabelled: Sequence[Sound] = (),
    company: Sequence[Sound] = (),
) -> Taught:
    """Teach a tagger, and find out how well it learnt; the same examples give the same tagger.

    Parameters
    ----------
    examples : sequence of Example
        Labelled sounds.
    unlabelled : sequence of Sound
        Sounds that nobody labelled. Those of takes in which others were labelled show what else
        there is, and what to label next is chosen from all of them.
    company : sequence of Sound
        More sounds that show what else there is, of places that the log does not hold.

    Returns
    -------
    Taught
        The tagger and its report.

    Raises
    ------
    InputError
        If there are fewer than two labels with two examples each, or rows of features differ in
        length or are not finite.
    ModelError
        If what is known of call types beforehand is missing or damaged.
    """
    used, left_out = _usable(examples)
    features = np.stack([example.features for example in used])
    labels = np.array([example.label for example in used])
    groups = np.array([example.group for example in used])
    alike, others = _rows_like(unlabelled, features)
    beside = np.concatenate(
        [others[_shows_what_else_there_is(examples, alike)], _rows_like(company, features)[1]]
    )
    beside = _some(beside[np.isfinite(beside).all(axis=1)], MOST_COMPANY)
    counts = np.array([example.counts for example in used])
    tried = partial(_tried, features, labels, groups, beside, counts)
    with threadpool_limits(limits=1):  # tables this small are slowed down by sharing them out
        believed = np.ones(len(labels), bool)
        known, unknown = tried(believed)
        doubts = validate(known, unknown, groups).doubts
        believed[_not_to_learn_from(doubts, labels)] = False
        if not believed.all():
            known, unknown = tried(believed)
        panel = Panel.fit(features[believed], labels[believed], beside)
        tagger = Tagger.from_trials(panel, known, unknown)
        tagger = tagger.among(_some(others if len(others) else beside, _ASKED), known)
        validation = validate(known, unknown, groups, share=tagger.trust.share)
    scrap = np.array([is_scrap(sound.span) for sound in alike], bool)
    chosen = next_to_label(tagger, others, n=NEXT, scrap=scrap)
    doubted = {one.index for one in doubts}
    report = Report(
        validation=validation,
        threshold=tagger.trust.of_types.threshold,
        noise_threshold=tagger.trust.everything.threshold,
        left_out=left_out,
        look_again=tuple(_look_again(used[one.index], one, believed) for one in doubts),
        not_known=tuple(used[i] for i in validation.not_known if i not in doubted),
        label_next=tuple(LabelNext(alike[i].take, alike[i].span) for i in chosen),
        share_of_types=tagger.trust.share,
    )
    return Taught(tagger, report)


def _usable(examples: Sequence[Example]) -> tuple[list[Example], tuple[str, ...]]:
    """The examples of labels that have enough of them, and the other labels."""
    if not examples:
        raise InputError(
            "there is no label yet; name five or more sounds of each type first (`calltag label`)"
        )
    counts = Counter(example.label for example in examples)
    used = [example for example in examples if counts[example.label] >= LEAST]
    if not used:
        raise InputError(
            f"no label has {LEAST} examples; label five or more sounds of each type, and some as"
            " `no call`"
        )
    if len({example.features.shape for example in used}) > 1:
        raise InputError("the takes were logged by different versions; log the rushes again")
    if len({example.label for example in used}) < 2:
        raise InputError(
            f"there is only one kind of label ({used[0].label}); label sounds of a second kind as"
            " well, if only as `no call`"
        )
    for example in used:
        if not np.isfinite(example.features).all():
            raise InputError(
                f"{example.take}: a sound in it is not measured in full; log the rushes again with"
                " --force"
            )
    return used, tuple(sorted(label for label, n in counts.items() if n < LEAST))


def _rows_like(
    sounds: Sequence[Sound], features: npt.NDArray[Any]
) -> tuple[list[Sound], npt.NDArray[Any]]:
    """Sounds that are measured as the examples are, and the rows of their features."""
    alike = [sound for sound in sounds if sound.features.shape == features.shape[1:]]
    rows = np.array([sound.features for sound in alike]).reshape(-1, features.shape[1])
    return alike, rows


def _tried(
    features: npt.NDArray[Any],
    labels: npt.NDArray[np.str_],
    groups: npt.NDArray[np.str_],
    company: npt.NDArray[Any],
    counts: npt.NDArray[np.bool_],
    believed: npt.NDArray[np.bool_],
) -> tuple[OutOfFold, Strangers]:
    """Judge examples, out of fold and as strangers, having learnt from those that are believed."""
    known = out_of_fold(features, labels, groups, company=company, believed=believed)
    unknown = strangers(features, labels, company=company, believed=believed)
    return known.without(~counts), unknown


def _not_to_learn_from(doubts: Sequence[Doubt], labels: npt.NDArray[np.str_]) -> list[int]:
    """Which examples to leave out as surely wrong, unless too few of their label would be left."""
    wrong = [doubt for doubt in doubts if doubt.confidence >= SURELY_WRONG]
    of_label = Counter(doubt.label for doubt in wrong)
    left = {label: int((labels == label).sum()) - n for label, n in of_label.items()}
    return [doubt.index for doubt in wrong if left[doubt.label] >= LEAST]


def _look_again(example: Example, doubt: Doubt, believed: npt.NDArray[np.bool_]) -> LookAgain:
    return LookAgain(
        example.take,
        example.span,
        doubt.label,
        doubt.suggestion,
        doubt.confidence,
        learnt=bool(believed[doubt.index]),
    )


def _shows_what_else_there_is(
    examples: Sequence[Example], sounds: Sequence[Sound]
) -> npt.NDArray[np.bool_]:
    """Which sounds show what else there is: those of takes with a label.

    In other takes, whose noise no example knows, calls of a taught type would take each other for
    strangers.
    """
    labelled = {example.take for example in examples}
    return np.array([sound.take in labelled for sound in sounds], bool)


def _some(rows: npt.NDArray[Any], n: int) -> npt.NDArray[Any]:
    """At most `n` rows, drawn without order."""
    if len(rows) <= n:
        return rows
    return rows[np.random.default_rng(0).choice(len(rows), n, replace=False)]


def _the_first(n: int) -> str:
    """How many of a list are shown; nothing where all are."""
    return f", the first {_SHOWN} of {n}" if n > _SHOWN else ""


def _between(interval: Interval) -> str:
    if math.isnan(interval.low):
        return ""
    return (
        f"; with so many sounds, anything from {100 * interval.low:.0f} to"
        f" {100 * interval.high:.0f} % may be true"
    )
