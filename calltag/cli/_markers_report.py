"""What `calltag markers` says of what it wrote."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from calltag.cli._output import say, say_problems, tell_files
from calltag.records.take import Problem
from calltag.words import counted, first_few

if TYPE_CHECKING:
    from calltag.edit.markers import TakeMarkers

_SLIPS_TOLD = 5
_KINDS = {
    "call": ("call", "calls"),
    "usable": ("usable stretch", "usable stretches"),
    "noise": ("stretch of noise", "stretches of noise"),
}


def tell_markers(
    marked: Sequence[TakeMarkers],
    written: Sequence[Path],
    problems: Sequence[Problem],
    notes: Sequence[str],
) -> None:
    """Say what was marked where, what was moved by how much, and what went wrong."""
    from calltag.media.timing.timecode import rate_text

    unread = {problem.path for problem in problems}
    counts = Counter(m.kind for one in marked if one.take.path not in unread for m in one.markers)
    takes = sum(1 for one in marked if one.markers and one.take.path not in unread)
    what = ", ".join(
        counted(counts[kind], *words) for kind, words in _KINDS.items() if counts[kind]
    )
    if written:
        say(f"{tell_files(written)}: {what} marked in {counted(takes, 'take')}")
    slips = defaultdict(list)
    for one in marked:
        if one.markers and one.advance_s:
            fps = (one.conformed_from or one.clock.rate).fps
            slips[fps, one.advance_s].append(one.take.path)
    for (fps, slip_s), paths in sorted(slips.items())[:_SLIPS_TOLD]:
        of = f" of {first_few(paths)}" if len(slips) > 1 else ""
        say(
            f"sound delay: markers{of} moved {slip_s:.3f} s ahead of the sound,"
            f" {slip_s * float(fps):.1f} frames at {rate_text(fps)}"
        )
    if (more := len(slips) - _SLIPS_TOLD) > 0:
        others = counted(more, "more distance or rate", "more distances or rates")
        say(f"sound delay: markers moved likewise for {others}")
    for note in (*(note for one in marked if one.markers for note in one.notes), *notes):
        say(note)
    say_problems(problems)


def tell_slowed(marked: Sequence[TakeMarkers], speed: str) -> None:
    """Say that one speed was taken for all takes, as it may have been typed by habit."""
    played = [one.take.path for one in marked if one.markers and one.speed != 1]
    if len(played) == 1:
        say(f"With --speed {speed} {played[0]} counts as played at that speed.")
    elif played:
        say(
            f"With --speed {speed} all {len(played)} takes marked count as played at that speed; if"
            " only some are, name these in a CSV file with the columns take and speed, and type"
            " --speed with the name of that file."
        )


def tell_conformed(marked: Sequence[TakeMarkers], conform: str) -> None:
    """Say which takes one rate for all slows down, where not all were filmed at the same rate."""
    from calltag.media.timing.timecode import rate_text

    changed = defaultdict(list)
    filmed = set()
    for one in marked:
        if not one.markers or one.take.fps is None or one.take.variable_rate:
            continue
        was = (one.conformed_from or one.clock.rate).fps
        filmed.add(was)
        if one.conformed_from is not None:
            changed[was, one.take.fps].append(one.take.path)
    if len(filmed) < 2 or not changed:
        return
    told = "; ".join(
        f"{first_few(paths)} (filmed at {rate_text(was)}: at {float(100 * fps / was):.4g} %)"
        for (was, fps), paths in sorted(changed.items())
    )
    say(
        f"With --conform {conform} these do not count as played at their own speed: {told}; if some"
        " are, name only the others in a CSV file with the columns take and fps, and type"
        " --conform with the name of that file."
    )
