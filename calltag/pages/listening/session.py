"""What an open listening page is about: the sounds, what was said of them, what was learnt.

All of it is in the log at every moment. What is kept here besides is only what the log does not
know: which number a sound has on the page, and how to take each answer back. Several pages may be
open on one session, and other programs may write to the log meanwhile.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from threading import Lock
from typing import NamedTuple

from calltag.errors import InputError
from calltag.log import Log
from calltag.naming import MODEL_NAME
from calltag.pages.listening.answers import Answer, answer, take_away, take_back
from calltag.pages.listening.heard import Heard, Numbers, of_take
from calltag.pages.listening.order import Order, Show
from calltag.pages.listening.shelf import Shelf
from calltag.pages.listening.sounds import Sounds, sounds_of
from calltag.pages.listening.teaching import Teaching
from calltag.records.found import TakeLog
from calltag.records.label import Label
from calltag.records.span import Span

_BUSY_TIMEOUT_S = 4.0
"""A page says sooner than a command that another program is writing to the log."""


class Saved(NamedTuple):
    """An answer that was stored.

    Attributes
    ----------
    answer : int
        Its number, to take it back with.
    label : str
        The label, as it is kept.
    """

    answer: int
    label: str


class Session:
    """The sounds of a log, to listen to and label.

    Parameters
    ----------
    log : Path
        The log; its model lies beside it.
    choose : callable, optional
        Chooses among the log's takes.

    Raises
    ------
    CalltagError
        If the log cannot be read, or the choice cannot be made.
    """

    def __init__(
        self,
        log: Path,
        *,
        choose: Callable[[Iterable[TakeLog]], Iterable[TakeLog]] | None = None,
    ) -> None:
        self.log_path = log
        self.model = log.with_name(MODEL_NAME)
        self.shelf = Shelf()
        self.teaching = Teaching(log, self.model, self.reload)
        self._choose = choose
        self._numbers = Numbers()
        self._answers: dict[int, tuple[int, Answer]] = {}
        self._counter = itertools.count(1)
        self._lock = Lock()
        self._sounds: Sounds
        self.reload()

    @property
    def sounds(self) -> Sounds:
        """The sounds as they are now."""
        return self._sounds

    def reload(self) -> None:
        """Read all sounds anew, and put them in order.

        Raises
        ------
        CalltagError
            If the log cannot be read, or the choice cannot be made.
        """
        # no answer meanwhile: it would be missing
        with self._lock, self._opened() as log:
            self._sounds = sounds_of(log, self._numbers, model=self.model, choose=self._choose)

    def numbers(self, order: Order, show: Show) -> list[int]:
        """List sounds.

        Parameters
        ----------
        order : Order
            By what.
        show : Show
            Which.

        Returns
        -------
        list of int
            Their numbers.
        """
        return self._sounds.numbers(order, show)

    def heard(self, number: int) -> Heard:
        """Return a sound.

        Parameters
        ----------
        number : int
            Its number.

        Returns
        -------
        Heard
            The sound, with its label.

        Raises
        ------
        InputError
            If there is none of this number.
        """
        one = self._sounds.by_number.get(number)
        if one is None:
            raise InputError(f"there is no sound {number}; load the page again")
        return one

    def shares_label(self, heard: Heard) -> bool:
        """Tell whether a sound's label speaks for others as well.

        Parameters
        ----------
        heard : Heard
            The sound.

        Returns
        -------
        bool
            Whether another sound has the same label; False where it has none.
        """
        return heard.label is not None and any(
            one.label == heard.label and one.number != heard.number
            for one in self._sounds.by_number.values()
        )

    def answer(self, number: int, text: str, span: Span) -> Saved:
        """Store what the user says of a sound.

        Parameters
        ----------
        number : int
            The sound's number.
        text : str
            The label as typed.
        span : Span
            Its ends as the user has them.

        Returns
        -------
        Saved
            The answer's number, and the label as it is kept.

        Raises
        ------
        InputError
            If it is no label, or there is no such sound.
        LogError
            If the log cannot be written.
        """
        one = self.heard(number)
        with self._lock, self._opened() as log:
            label, changes = answer(log, one, text, span)
            return Saved(self._keep(log, one, changes), label)

    def take_away(self, number: int) -> int:
        """Take away the label of a sound.

        Parameters
        ----------
        number : int
            The sound's number.

        Returns
        -------
        int
            The number of this answer, to take it back with.

        Raises
        ------
        InputError
            If the sound has no label, or there is no such sound.
        LogError
            If the log cannot be written.
        """
        one = self.heard(number)
        with self._lock, self._opened() as log:
            return self._keep(log, one, take_away(log, one))

    def undo(self, given: int) -> Heard:
        """Take an answer back.

        Parameters
        ----------
        given : int
            The answer's number.

        Returns
        -------
        Heard
            The sound that it was about.

        Raises
        ------
        InputError
            If there is no such answer, or its labels were changed again meanwhile.
        LogError
            If the log cannot be written.
        """
        with self._lock, self._opened() as log:
            if given not in self._answers:
                raise InputError("there is nothing more to undo")
            number, changes = self._answers[given]
            one = self.heard(number)
            take_back(log, changes)
            del self._answers[given]
            self._relabel(log, one, changes)
        return self.heard(number)

    def _keep(self, log: Log, one: Heard, changes: Answer) -> int:
        """Number an answer, and bring the takes up to it."""
        given = next(self._counter)
        self._answers[given] = one.number, changes
        self._relabel(log, one, changes)
        return given

    def _opened(self) -> AbstractContextManager[Log]:
        return Log(self.log_path, create=False, busy_timeout_s=_BUSY_TIMEOUT_S)

    def _relabel(self, log: Log, one: Heard, changes: Answer) -> None:
        """Bring the sounds of all takes that an answer changed up to what the log says of them."""
        labels = log.labels()
        for path in sorted({one.take.path, *(change.place[0] for change in changes)}):
            self._relabel_take(log, path, labels)

    def _relabel_take(self, log: Log, path: str, all_labels: list[Label]) -> None:
        own = [label for label in all_labels if label.take == path]
        now = self._sounds
        said = {one.number: one.label for one in of_take(log.take_log(path), own, self._numbers)}
        # what was measured for a label goes with it, and its sound stays in view
        by_span = {label.span: label for label in own}
        used = {label.label for label in all_labels}
        known = [word for word in now.known if word in used or word in now.lasting]
        known += sorted({label.label for label in own} - set(known))
        self._sounds = replace(
            now,
            by_number={
                number: replace(one, label=said.get(number, by_span.get(one.call.span)))
                if one.take.path == path
                else one
                for number, one in now.by_number.items()
            },
            known=known,
            n_labels=len(all_labels),
        )
