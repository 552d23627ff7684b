"""One sound as the listening page shows it: what, where, guessed and said.

Every sound has a number, which stays its own as long as the page is open, whatever is taught or
labelled meanwhile. Pages name sounds by number only, never by path.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from calltag.learn.labels.by_hand import finds_with_labels
from calltag.pages.shown_files import take_file
from calltag.records.found import Call, TakeLog
from calltag.records.label import CALL, Label
from calltag.records.take import Take


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One sound to listen to.

    Attributes
    ----------
    number : int
        Its name on the page.
    take : Take
        The take that it is in.
    call : Call
        What was found, or what was measured where the user gave a label.
    label : Label or None
        What the user said of it.
    guess : str
        What it sounds like: the likeliest label, however unsure; empty where nothing was taught.
    confidence : float
        How sure the guess is; without one, how sure it is that this is a call at all.
    """

    number: int
    take: Take
    call: Call
    label: Label | None
    guess: str = ""
    confidence: float = 0.0

    @property
    def file(self) -> Path:
        """The take's file; see `take_file`."""
        return take_file(self.take)


class Numbers:
    """Gives every sound its number, the same whenever it is asked for."""

    def __init__(self) -> None:
        self._given: dict[tuple[str, float, float], int] = {}

    def of(self, take: Take, call: Call) -> int:
        """Number a sound.

        Parameters
        ----------
        take : Take
            The take.
        call : Call
            The sound.

        Returns
        -------
        int
            Counted from 1.
        """
        key = (take.path, call.start_s, call.end_s)
        return self._given.setdefault(key, len(self._given) + 1)


def of_take(take_log: TakeLog, labels: Sequence[Label], numbers: Numbers) -> list[Heard]:
    """List the sounds of one take.

    Parameters
    ----------
    take_log : TakeLog
        The take as the log holds it.
    labels : sequence of Label
        Labels of that take.
    numbers : Numbers
        Numbers of sounds that were read before.

    Returns
    -------
    list of Heard
        One for each find, and for each label whose sound was measured.
    """
    said = {id(call): label for call, label in finds_with_labels(take_log.calls, labels)}
    by_span = {label.span: label for label in labels}
    return [
        Heard(
            number=numbers.of(take_log.take, call),
            take=take_log.take,
            call=call,
            label=by_span.get(call.span) if call.by_hand else said[id(call)],
            guess="" if call.by_hand or call.label == CALL else call.label,
            confidence=call.sureness,
        )
        for call in take_log.calls
    ]


def of_recording(heard: Sequence[Heard], copies: Iterable[Sequence[Heard]]) -> list[Heard]:
    """Offer the sounds of a recording once: what was labelled in a copy of it stands there.

    Parameters
    ----------
    heard : sequence of Heard
        The sounds of the take that stands for the recording.
    copies : iterable of sequence of Heard
        Those of each of its copies.

    Returns
    -------
    list of Heard
        The sounds, in order of time.
    """
    by_span = {one.call.span: one for one in heard}
    for copy in copies:
        for one in copy:
            stands = by_span.get(one.call.span)
            if one.label is not None and (stands is None or stands.label is None):
                by_span[one.call.span] = one
    return [by_span[span] for span in sorted(by_span)]
