"""The clock that takes share which were lined up, also those that were lined up with a third."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict, deque
from collections.abc import Iterable, Iterator, Mapping
from operator import itemgetter
from typing import NamedTuple

from calltag.records.alignment import Alignment
from calltag.records.found import TakeLog
from calltag.records.span import Span
from calltag.records.take import Take

SLACK_S = 0.1
"""Room at both ends of a find: 34 m between two cameras take sound a tenth of a second."""


class GroupClock(NamedTuple):
    """A take's clock on the one that its group shares: ``first_s + scale * own seconds``.

    Attributes
    ----------
    group : str
        The group, by the path of one of its takes.
    first_s : float
        When the take begins, on the shared clock.
    scale : float
        Seconds of the shared clock in one of the take's.
    """

    group: str
    first_s: float
    scale: float

    def span(self, span: Span) -> Span:
        """Turn a span of the take into one of the shared clock.

        Parameters
        ----------
        span : Span
            In seconds of the take.

        Returns
        -------
        Span
            In seconds of the shared clock.
        """
        return Span(*(self.first_s + self.scale * at_s for at_s in span))

    def ran(self, take: Take) -> Span:
        """Tell when the take ran.

        Parameters
        ----------
        take : Take
            The take whose clock this is.

        Returns
        -------
        Span
            In seconds of the shared clock.
        """
        return self.span(Span(0.0, take.duration_s))

    def own(self, span: Span) -> Span:
        """Turn a span of the shared clock into one of the take.

        Parameters
        ----------
        span : Span
            In seconds of the shared clock.

        Returns
        -------
        Span
            In seconds of the take.
        """
        return Span(*((at_s - self.first_s) / self.scale for at_s in span))


def shared_clocks(
    take_logs: Iterable[TakeLog], alignments: Iterable[Alignment]
) -> dict[str, GroupClock]:
    """Put takes that hang together by alignments on the clock of one of them, copies with them.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes.
    alignments : iterable of Alignment
        How takes lie against each other.

    Returns
    -------
    dict of str to GroupClock
        By path of the take; takes that hang together with none are missing.
    """
    neighbours: dict[str, list[tuple[str, float, float]]] = defaultdict(list)
    for pair in (*alignments, *_of_copies(take_logs)):
        faster = 1 + pair.drift_ppm / 1e6
        neighbours[pair.take_a].append((pair.take_b, pair.in_a(0.0), 1 / faster))
        neighbours[pair.take_b].append((pair.take_a, pair.in_b(0.0), faster))
    clocks: dict[str, GroupClock] = {}
    for root in sorted(neighbours):
        if root not in clocks:
            clocks |= _reached_from(root, neighbours)
    return clocks


def _reached_from(
    root: str, neighbours: Mapping[str, Iterable[tuple[str, float, float]]]
) -> dict[str, GroupClock]:
    """The takes that hang together with one, on its clock; over as few alignments as may be."""
    clocks = {root: GroupClock(root, 0.0, 1.0)}
    waiting = deque([root])
    while waiting:
        here = waiting.popleft()
        known = clocks[here]
        for other, first_s, scale in neighbours[here]:
            if other not in clocks:
                at_s = known.first_s + known.scale * first_s
                clocks[other] = GroupClock(root, at_s, known.scale * scale)
                waiting.append(other)
    return clocks


class Running:
    """When takes ran, on the clock that their group shares.

    Parameters
    ----------
    take_logs : iterable of TakeLog
        What was found in the takes.
    clocks : mapping of str to GroupClock
        Their clocks, as `shared_clocks` gives them.
    """

    def __init__(self, take_logs: Iterable[TakeLog], clocks: Mapping[str, GroupClock]) -> None:
        self._runs: dict[str, list[tuple[Span, str, Take]]] = defaultdict(list)
        for take in (one.take for one in take_logs if one.take.path in clocks):
            ran = clocks[take.path].ran(take)
            self._runs[clocks[take.path].group].append((ran, take.path, take))
        self._longest_s: dict[str, float] = {}
        for group, runs in self._runs.items():
            runs.sort(key=itemgetter(0, 1))
            self._longest_s[group] = max(ran.length_s for ran, _, _ in runs)

    def during(self, group: str, span: Span) -> Iterator[Take]:
        """Find the takes that ran during a span, with a little room at its ends.

        Parameters
        ----------
        group : str
            The group, as in `GroupClock`.
        span : Span
            The span, on the shared clock.

        Yields
        ------
        Take
            The next of them, in order of their beginning.
        """
        runs = self._runs[group]
        first = bisect_left(
            runs, span.end_s - self._longest_s[group] - SLACK_S, key=lambda run: run[0].start_s
        )
        for ran, _, take in runs[first:]:
            if ran.start_s > span.start_s + SLACK_S:
                break
            if ran.end_s >= span.end_s - SLACK_S:
                yield take


def _of_copies(take_logs: Iterable[TakeLog]) -> Iterator[Alignment]:
    """How takes with the same content lie against each other."""
    first: dict[str, Take] = {}
    for take in (one.take for one in take_logs):
        other = first.setdefault(take.digest, take)
        if other is not take and take.digest:
            yield Alignment(
                take_a=other.path,
                take_b=take.path,
                offset_s=0.0,
                drift_ppm=0.0,
                confidence=1.0,
                overlap_s=take.duration_s,
            )
