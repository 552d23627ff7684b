"""What `calltag sync` prints of what it compared, and says of what was kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from calltag.cli._output import Column, print_table, say
from calltag.spelling import name_order
from calltag.words import counted, first_few, sure

if TYPE_CHECKING:
    from calltag.edit.sync.comparing import Comparison
    from calltag.edit.tables import Row
    from calltag.records.alignment import Alignment

DATA_COLUMNS = (
    "take_a",
    "take_b",
    "outcome",
    "offset_s",
    "drift_ppm",
    "confidence",
    "overlap_s",
    "reason",
)
COLUMNS = (
    Column("first", folds=True),
    Column("second", folds=True),
    Column("outcome"),
    Column("second begins at", right=True),
    Column("its clock", right=True, rank=2),
    Column("sure", right=True),
    Column("both ran", right=True, rank=3),
    Column("why", folds=True, rank=1),
)

MANY_PAIRS = 12
"""Of more pairs without anything in common, none is listed; before more, a hint is given."""


class Kept(NamedTuple):
    """How many pairs were kept in the log, how many stay in it, and which were forgotten."""

    n_kept: int
    n_left: int
    forgotten: list[str]


def print_compared(compared: Sequence[Comparison]) -> None:
    """Print what was compared; of many pairs, those that have something in common."""
    from calltag.edit.sync.comparing import Outcome

    common = [one for one in compared if one.outcome is not Outcome.NOTHING]
    apart = len(compared) - len(common)
    spared = sum(one.spared for one in compared)
    listed = common if apart > MANY_PAIRS else compared
    left_out = print_table(COLUMNS, [_cells(one) for one in listed]) if listed else []
    if "why" in left_out:
        unsure = Counter(one.reason for one in common if one.outcome is Outcome.UNSURE)
        for reason, n in unsure.items():
            say(f"{counted(n, 'pair')} unsure: {reason}.")
    if listed is common:
        if spared:
            say(f"{counted(spared, 'pair')} did not run at once, by the clocks of those lined up.")
        what = counted(apart - spared, "pair has", "pairs have")
        say(f"{what} no common sound (--as csv lists all).")


def tell_kept(compared: Sequence[Comparison], kept: Kept, log: Path, *, by_timecode: bool) -> None:
    """Say what was kept in the log, what was not, and why."""
    from calltag.edit.sync.comparing import Outcome

    n_kept, n_left, forgotten = kept
    say(f"{counted(n_kept, 'pair')} kept in {log}." if n_kept else "No pair was kept in a log.")
    by_clocks = sum(one.outcome is Outcome.BY_CLOCKS for one in compared)
    if by_clocks:
        what = counted(by_clocks, "pair is", "pairs are")
        say(f"{what} placed by the clocks alone: that is told here, and not kept.")
    if forgotten:
        say(
            f"Lined up before, and not kept any more: {first_few(forgotten, 3)}. Look there "
            "alone with --around to have such a pair again."
        )
    if n_left:
        what = counted(n_left, "pair that was lined up stays", "pairs that were lined up stay")
        say(f"{what} so: this did not look everywhere.")
    if by_timecode and all(one.outcome is Outcome.NOTHING for one in compared):
        say(
            "The takes have nothing in common where their timecode puts them: if a clock was "
            "wrong, look without --by-timecode."
        )


def tell_others(others: Sequence[Alignment], compared: Sequence[Comparison]) -> None:
    """Name the files that were not named, in which those that were go on."""
    named = {name for one in compared for name in (one.take_a, one.take_b)}
    found = {name for pair in others for name in (pair.take_a, pair.take_b)} - named
    if found:
        files = first_few(sorted(found, key=name_order))
        say(f"These go on in other files, which are in place too: {files}.")


def _by_sound(one: Comparison) -> Alignment | None:
    """How a pair lies, where that was measured: clocks alone say nothing of drift or sureness."""
    return one.alignment if one.alignment and one.alignment.confidence else None


def data_row(one: Comparison) -> Row:
    """What is printed of a pair as data, by `DATA_COLUMNS`."""
    from calltag.edit.tables import rounded

    pair, heard = one.alignment, _by_sound(one)
    return {
        "take_a": one.take_a,
        "take_b": one.take_b,
        "outcome": one.outcome.value,
        "offset_s": rounded(pair.offset_s, 4) if pair else None,
        "drift_ppm": rounded(heard.drift_ppm, 1) if heard else None,
        "confidence": rounded(heard.confidence, 3) if heard else None,
        "overlap_s": rounded(pair.overlap_s, 2) if pair else None,
        "reason": one.reason,
    }


def _cells(one: Comparison) -> list[str]:
    pair, heard = one.alignment, _by_sound(one)
    return [
        one.take_a,
        one.take_b,
        one.outcome.value,
        f"{pair.offset_s:+z.3f} s" if pair else "",
        f"{heard.drift_ppm:+z.0f} ppm" if heard else "",
        sure(heard.confidence) if heard else "",
        f"{pair.overlap_s:.1f} s" if pair else "",
        one.reason,
    ]
