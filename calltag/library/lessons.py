"""The library as labels: what was learnt last spring works this spring.

Kept calls are examples for `calltag.learn.call_types.teach`. Those of one take are left out
together when it is checked how well types are known, and together with what the log says of the
same take.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calltag.learn.call_types.examples import Example, Sound
from calltag.learn.labels.by_hand import speaks_for
from calltag.learn.labels.sameness import in_one_band, share_enough
from calltag.learn.labels.vocabulary import is_call_type
from calltag.library.catalogue.catalogue import Catalogue, Kept
from calltag.library.catalogue.measured_again import measure_outdated
from calltag.library.company import company
from calltag.library.kept_file.story import Story
from calltag.records.label import Label
from calltag.sound.features import FEATURE_VERSION

SURE = 0.8
"""Kept calls that a model named are learnt from where it was at least this sure."""


@dataclass(frozen=True, slots=True)
class LabelledTake:
    """A take of the log: what it is called there, and the labels that it has."""

    path: str
    labels: tuple[Label, ...] = ()


@dataclass(frozen=True, slots=True)
class Lessons:
    """What the library teaches.

    Attributes
    ----------
    examples : tuple of Example
        One for each kept call that is learnt from.
    company : tuple of Sound
        What else was found in the takes that calls were kept of.
    by_hand : int
        How many of the examples the user labelled; the others were named by a model.
    unsure : int
        How many kept calls were left out since their names are not sure enough.
    in_log : int
        How many were left out since a label of the log speaks for the same call.
    measured : int
        How many kept calls had to be measured again, since another version of calltag had measured
        them.
    notes : tuple of str
        What else the user should know, one sentence each.
    """

    examples: tuple[Example, ...]
    company: tuple[Sound, ...]
    by_hand: int
    unsure: int
    in_log: int
    measured: int
    notes: tuple[str, ...]


def lessons(
    catalogue: Catalogue,
    *,
    min_confidence: float = SURE,
    only_by_hand: bool = False,
    takes: Mapping[str, LabelledTake] | None = None,
) -> Lessons:
    """Collect what can be learnt from the library.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    min_confidence : float
        How sure a name has to be that the user did not give.
    only_by_hand : bool
        Whether to learn only from labels that the user gave.
    takes : mapping of str to LabelledTake, or None
        Takes of the log by the identity of their content.

    Returns
    -------
    Lessons
        The examples. A cut that lies in the library twice is one example.

    Raises
    ------
    LibraryError
        If the catalogue cannot be used.
    ModelError
        If a model that calltag comes with is missing or damaged.
    """
    measured, notes = measure_outdated(catalogue)
    known = takes or {}
    examples: list[Example] = []
    taken: dict[str, list[Story]] = {}
    by_hand = unsure = in_log = 0
    for kept in catalogue.all_kept():
        story = kept.story
        if not is_call_type(story.label):
            continue
        if not story.by_hand and (only_by_hand or story.confidence < min_confidence):
            unsure += 1
            continue
        take = known.get(story.take_digest)
        if take is not None and any(speaks_for(label, story.source) for label in take.labels):
            in_log += 1
            continue
        same_take = taken.setdefault(story.take_digest, [])
        if any(_are_one(story, other) for other in same_take):
            continue
        stored = catalogue.features_of(kept.key)
        if stored is None or stored[0] != FEATURE_VERSION:
            continue  # could not be measured, which the notes say
        same_take.append(story)
        by_hand += story.by_hand
        examples.append(
            Example(
                features=stored[1],
                label=story.label,
                group=take.path if take is not None else f"kept {story.take_digest}",
                take=_name(kept),
                span=story.source,
            )
        )
    return Lessons(
        examples=tuple(examples),
        company=tuple(
            company(
                catalogue,
                {digest: [one.source for one in stories] for digest, stories in taken.items()},
                without={digest for digest, take in known.items() if take.labels},
            )
        ),
        by_hand=by_hand,
        unsure=unsure,
        in_log=in_log,
        measured=measured,
        notes=tuple(notes),
    )


def _are_one(one: Story, other: Story) -> bool:
    """Whether two cuts of a take are of one call: in one band, with enough of the shorter."""
    return share_enough(one.source, other.source) and in_one_band(
        one.low_hz, one.high_hz, other.low_hz, other.high_hz
    )


def _name(kept: Kept) -> str:
    return f"{kept.story.take} (kept as {kept.short_id})"
