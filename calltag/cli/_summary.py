"""What a run found, in a few lines."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from calltag.records.label import CALL
from calltag.words import counted, duration, first_few

if TYPE_CHECKING:
    from calltag.records.found import TakeLog
    from calltag.run import RunReport


def run_lines(report: RunReport, take_logs: Sequence[TakeLog]) -> Iterator[str]:
    """Yield the summary of a run."""
    counts = [f"{report.analysed} analysed now"]
    if report.known:
        counts.append(f"{report.known} known already")
    if report.copied:
        counts.append(counted(report.copied, "copy of another", "copies of others"))
    if report.problems:
        counts.append(f"{len(report.problems)} could not be read")
    yield f"{counted(report.takes, 'take')} in the rushes: {', '.join(counts)}."
    if report.sound_s:
        yield f"{duration(report.sound_s)} of sound, analysed in {duration(report.elapsed_s)}."
    if report.moved:
        names = first_few([f"{old} is now {new}" for old, new in report.moved], 3)
        yield f"Moved or renamed, so not analysed again: {names}."
    if report.own:
        yield f"Passed over, since calltag made it itself: {counted(report.own, 'file')}."
    if report.silent:
        yield f"Without sound: {first_few(report.silent)}."
    yield from find_lines(take_logs)


def find_lines(take_logs: Sequence[TakeLog]) -> Iterator[str]:
    """Yield what is in the log: calls, their types, noise; what copies hold is told once."""
    from calltag.learn.labels.vocabulary import is_call, noise_kind
    from calltag.media.copies import without_copies
    from calltag.takes.verdict import likely_calls

    take_logs = without_copies(take_logs)
    of_takes = [calls for take_log in take_logs if (calls := likely_calls(take_log))]
    likely = [call for calls in of_takes for call in calls]
    listed = sum(is_call(call.label) for take_log in take_logs for call in take_log.calls)
    doubtful = listed - len(likely)
    line = f"In the log: {counted(len(likely), 'call')}"
    if likely:
        line += f" in {counted(len(of_takes), 'take')}"
    yield line + (
        f", and {counted(doubtful, 'more that is', 'more that are')} doubtful." if doubtful else "."
    )
    types = Counter(call.label for call in likely)
    unnamed = types.pop(CALL, 0)
    if types:
        named = [f"{label} {number}" for label, number in types.most_common()]
        yield f"Call types: {', '.join(named)}; not named {unnamed}."
    noise = Counter(
        kind for take_log in take_logs for kind in {noise_kind(n.kind) for n in take_log.noise}
    )
    if noise:
        in_order = sorted(filter(None, noise), key=lambda kind: (-noise[kind], kind))
        kinds = [f"{kind} in {counted(noise[kind], 'take')}" for kind in in_order]
        yield f"Noise: {', '.join(kinds)}."
