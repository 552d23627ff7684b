"""What the sound alone leaves open, told by files that a recording goes on in.

What is known of how one file lies holds for those that it goes on in (`calltag.media.joins`). Where
that and the sound put two takes at the same place, each bears the other out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from calltag.edit.sync.comparing import Comparison, Outcome, alignments_of
from calltag.media.joins import agreeing, same_place, with_joins
from calltag.records.alignment import Alignment
from calltag.records.take import Take

_AGREES = "agrees with where the file before or after puts it"


def follow_joins(
    compared: Iterable[Comparison], alignments: Iterable[Alignment], takes: Iterable[Take]
) -> tuple[list[Comparison], list[Alignment]]:
    """Say what follows from joins of files for pairs that were not lined up by their sound alone.

    Parameters
    ----------
    compared : iterable of Comparison
        What was compared.
    alignments : iterable of Alignment
        What is known of other pairs.
    takes : iterable of Take
        All takes of the log.

    Returns
    -------
    compared : list of Comparison
        The same pairs. One that was unsure is lined up where a join puts its takes at the same
        place, and so are two of a take that lies over a join, if both files put it at the same
        place. What a join says of other pairs is told as such.
    others : list of Alignment
        What follows for further pairs with takes that were compared, beyond what did before.
    """
    before, every = list(alignments), list(takes)
    compared = list(compared)
    compared = _borne_out(compared, _of_other_pairs(before, alignments_of(compared)), every)
    names = {name for one in compared for name in (one.take_a, one.take_b)}
    heard = alignments_of(compared)
    known_of_others = _of_other_pairs(before, heard)
    heard += known_of_others
    known = {one.pair for one in heard}
    known_before = {one.pair for one in with_joins(known_of_others, every)}
    derived = {one.pair: one for one in with_joins(heard, every) if one.overlap_s > 0}
    followed = []
    for one in compared:
        lies = None if one.pair in known else derived.pop(one.pair, None)
        if lies is not None:
            one = _followed(one, lies if lies.take_a == one.take_a else lies.turned())
        followed.append(one)
    told = known | known_before
    others = [one for pair, one in derived.items() if pair not in told and pair & names]
    return followed, others


def _of_other_pairs(
    alignments: Iterable[Alignment], without: Iterable[Alignment]
) -> list[Alignment]:
    """Leave those out whose pair is known anew."""
    pairs = {one.pair for one in without}
    return [one for one in alignments if one.pair not in pairs]


def _borne_out(
    compared: Sequence[Comparison], alignments: Sequence[Alignment], takes: Sequence[Take]
) -> list[Comparison]:
    """Line up what is unsure with two files of a recording, and the same with both.

    Each hears another part of the take, so they are two witnesses. Of sounds that repeat they are
    not: both may be wrong by the same.
    """
    sure = alignments_of(compared)
    guesses = [
        one.alignment
        for one in compared
        if one.outcome is Outcome.UNSURE and one.alignment and not one.repeats
    ]
    confidence: dict[int, float] = {}
    for pair in agreeing(guesses, [*sure, *alignments], takes):
        both = 1 - math.prod(1 - one.confidence for one in pair)
        confidence |= {id(one): max(both, confidence.get(id(one), 0.0)) for one in pair}
    return [
        replace(
            one,
            outcome=Outcome.LINED_UP,
            alignment=replace(one.alignment, confidence=confidence[id(one.alignment)]),
            reason=_AGREES,
        )
        if one.alignment is not None and id(one.alignment) in confidence
        else one
        for one in compared
    ]


def _followed(one: Comparison, lies: Alignment) -> Comparison:
    if (
        one.alignment is not None
        and one.outcome is not Outcome.BY_CLOCKS
        and same_place(one.alignment, lies, lies.overlap_s)
    ):
        return replace(
            one,
            outcome=Outcome.LINED_UP,
            alignment=replace(one.alignment, confidence=lies.confidence),
            reason=_AGREES,
        )
    return replace(
        one,
        outcome=Outcome.GOES_ON,
        alignment=lies,
        reason="by the file before or after; too little is heard here to check",
    )
