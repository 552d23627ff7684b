"""Calls that lie over two files of one recording: each file has a part, and one says of the other.

A listing, a timeline or the call library takes a call from one file, and its handles with it. Where
the file ends within them and the recording goes on in the next one, who uses the call has to know.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from calltag.edit.worth import is_cut_at_end, is_cut_at_start
from calltag.records.alignment import Alignment
from calltag.records.found import Call
from calltag.records.take import Take
from calltag.words import counted, position

_MOST_TOLD = 5
_SHORT_S = 0.05  # so much less of a handle is not told


class Rest(NamedTuple):
    """Where the rest of a call is: the file that it begins in, and the one that it goes on in."""

    before: str | None
    after: str | None

    def __str__(self) -> str:
        """Say it, as ``begins in R001.WAV and goes on in R003.WAV``."""
        begins = f"begins in {self.before}" if self.before else ""
        goes_on = f"goes on in {self.after}" if self.after else ""
        return " and ".join(filter(None, (begins, goes_on)))


class Joins:
    """The files before and after each, of the recordings that go on over several.

    Parameters
    ----------
    alignments : iterable of Alignment
        How takes lie against each other, joins among them.
    """

    def __init__(self, alignments: Iterable[Alignment]) -> None:
        joined = [one for one in alignments if one.is_join]
        self._after = {one.take_a: one.take_b for one in joined}
        self._before = {one.take_b: one.take_a for one in joined}

    def rest_of(self, take: Take, call: Call) -> Rest:
        """Tell where the rest of a call is.

        Parameters
        ----------
        take : Take
            The take.
        call : Call
            A call in it.

        Returns
        -------
        Rest
            The files before and after; None where the take has the call to its end.
        """
        return Rest(
            self._before.get(take.path) if is_cut_at_start(call) else None,
            self._after.get(take.path) if is_cut_at_end(take, call) else None,
        )

    def told(self, calls: Iterable[tuple[Take, Call]], handles_s: float) -> Iterator[str]:
        """Say of which calls only a part is there, or less than the handles that are wanted.

        Parameters
        ----------
        calls : iterable of tuple of Take and Call
            The calls.
        handles_s : float
            Seconds that are to be kept before and after each.

        Yields
        ------
        str
            A sentence for each of the first few, and one for how many more there are.
        """
        parts, short = [], []
        for take, call in calls:
            at = f"{take.path} at {position(call.start_s)}"
            if any(rest := self.rest_of(take, call)):
                parts.append(f"{at}: only the part in this file; the call {rest}.")
            short += [f"{at}: {cut}." for cut in self._cut_handles(take, call, handles_s)]
        yield from parts[:_MOST_TOLD]
        if more := len(parts[_MOST_TOLD:]):
            others = counted(more, "other call lies", "other calls lie")
            yield f"{others} over two files too, and only a part of each is there."
        yield from short[:_MOST_TOLD]
        if more := len(short[_MOST_TOLD:]):
            others = counted(more, "other handle ends", "other handles end")
            yield f"{others} with a file too, and the recording goes on in another."

    def _cut_handles(self, take: Take, call: Call, handles_s: float) -> Iterator[str]:
        """Say which handles of a call end with its file, where the recording does not."""
        rest = self.rest_of(take, call)
        left_s = take.duration_s - call.end_s
        before, after = self._before.get(take.path), self._after.get(take.path)
        if before and not rest.before and call.start_s < handles_s - _SHORT_S:
            from_s = f"only {call.start_s:.1f} s before it, from the start of the file"
            yield f"{from_s}; the recording begins in {before}"
        if after and not rest.after and left_s < handles_s - _SHORT_S:
            to_s = f"only {left_s:.1f} s after it, to the end of the file"
            yield f"{to_s}; the recording goes on in {after}"
