"""What `calltag keep` says of the calls that it kept, or would keep."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from calltag.cli._output import Column, print_table
from calltag.records.label import CALL
from calltag.words import counted, first_few, listed, position

if TYPE_CHECKING:
    from calltag.library.catalogue.catalogue import Catalogue
    from calltag.library.keep import KeepReport, Wanted

_MOST_TOLD = 5
_UNSAID = {"--place": "where they were recorded", "--recordist": "who recorded them"}


def print_wanted(calls: Sequence[Wanted]) -> None:
    """Print calls that would be kept."""
    print_table(
        (
            Column("take", folds=True),
            Column("at", right=True),
            Column("length", right=True, rank=2),
            Column("call type", folds=True),
            Column("above background", right=True, rank=1),
        ),
        [
            [
                one.take.path,
                position(one.call.start_s),
                f"{one.call.span.length_s:.2f} s",
                one.call.label,
                f"{one.call.snr_db:.0f} dB",
            ]
            for one in calls
        ],
    )


def report_lines(report: KeepReport, folder: Path) -> Iterator[str]:
    """Say what was kept, and what was not and why."""
    kinds = Counter(kept.story.label for kept in report.kept)
    if kinds:
        named = ", ".join(f"{label} {number}" for label, number in kinds.most_common())
        yield f"{counted(len(report.kept), 'call')} kept in {folder}: {named}."
    else:
        yield "Nothing new was kept."
    undated = sum(not kept.story.recorded for kept in report.kept)
    if undated:
        yield (
            f"{counted(undated, 'of them states', 'of them state')} no day of recording; --month "
            "and --since pass over such calls, and --replace with --date gives the day."
        )
    if report.known:
        yield (
            f"{counted(len(report.known), 'call')} kept already, and left alone "
            "(--replace cuts anew)."
        )
    if renamed := _renamed(report):
        yield (
            f"Of those, {len(renamed)} named otherwise in the log now: {first_few(renamed, 3)}; "
            "--replace takes the new name over."
        )
    gone = [kept.path for _, kept in report.known if not kept.file.is_file()]
    if gone:
        yield (
            f"{counted(len(gone), 'file')} of those {'is' if len(gone) == 1 else 'are'} gone or "
            f"moved: {first_few(gone, 3)}. `calltag library rebuild` follows what was moved; what "
            "is gone can be kept again after it."
        )
    yield from report.notes
    for problem in report.problems:
        yield f"{problem.path}: {problem.reason}"


def unsaid_line(report: KeepReport) -> Iterator[str]:
    """Say how to give the place and the recordist, where the calls just kept lack them."""
    stories = [kept.story for kept in report.kept]
    said = {
        "--place": all(one.place for one in stories),
        "--recordist": all(one.recordist for one in stories),
    }
    options = [option for option, is_said in said.items() if not is_said]
    if options:
        lacking = " or ".join(_UNSAID[option] for option in options)
        yield (
            f"The kept calls do not say {lacking}: the same command with "
            f"{listed(['--replace', *options])} adds it; below [keep] in calltag.toml it need not "
            "be typed each time."
        )


def _renamed(report: KeepReport) -> list[str]:
    """Ids of kept calls that the log names otherwise, with both names."""
    return [
        f"{kept.short_id} ({one.call.label}, kept as {kept.story.label})"
        for one, kept in report.known
        if one.call.label not in (kept.story.label, CALL)
    ]


def double_lines(catalogue: Catalogue, report: KeepReport) -> Iterator[str]:
    """Say which of the calls just kept are in the library more than once now."""
    from calltag.library.search.doubles import doubles_of, pairs

    doubles = doubles_of(catalogue, [kept.key for kept in report.kept])
    told = [
        f"  {kept.short_id} ({kept.story.take} at {position(kept.story.source_start_s)}) and "
        f"{double.short_id}: {double.why}"
        for kept, double in pairs(report.kept, doubles)
    ]
    if told:
        yield "There more than once now:"
        yield from told[:_MOST_TOLD]
        if len(told) > _MOST_TOLD:
            more = len(told) - _MOST_TOLD
            yield f"  and {more} more; `calltag library find --doubles` lists them"
