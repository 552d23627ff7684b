"""Which calls are asked for: of what type, how sure, how clear.

Listings, markers, selects, the sheet and the call library ask alike.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from calltag.errors import InputError
from calltag.learn.labels.vocabulary import is_call, species_of
from calltag.records.found import Call, TakeLog
from calltag.records.label import CALL
from calltag.spelling import one_line


@dataclass(frozen=True, slots=True, kw_only=True)
class CallFilter:
    """Which calls are wanted; what is empty or None lets all pass.

    Attributes
    ----------
    types : collection of str
        Call types, as `is_of_type` has them.
    min_confidence : float
        Least confidence of the label.
    min_snr_db : float or None
        Least level over the background.
    noise : bool or None
        Only calls with noise at the same time, or only calls without.
    by_hand : bool
        Only calls that the user labelled.
    """

    types: Collection[str] = ()
    min_confidence: float = 0.0
    min_snr_db: float | None = None
    noise: bool | None = None
    by_hand: bool = False

    @property
    def narrows_takes(self) -> bool:
        """Whether a type or a level is asked for, so that takes without such a call are not."""
        return bool(self.types) or self.min_snr_db is not None

    def passes(self, call: Call) -> bool:
        """Tell whether a find is a call, and wanted.

        Parameters
        ----------
        call : Call
            A find.

        Returns
        -------
        bool
            Whether it is.
        """
        return (
            is_call(call.label)
            and is_of_type(call.label, self.types)
            and is_clear(call, min_confidence=self.min_confidence, min_snr_db=self.min_snr_db)
            and (self.noise is None or bool(call.noise) == self.noise)
            and (call.by_hand or not self.by_hand)
        )

    def left_of(self, take_log: TakeLog) -> TakeLog:
        """Leave of a take's calls only those that are wanted.

        Parameters
        ----------
        take_log : TakeLog
            What was found in the take.

        Returns
        -------
        TakeLog
            The same without its other finds.
        """
        return replace(take_log, calls=tuple(filter(self.passes, take_log.calls)))


def is_of_type(label: str, types: Collection[str]) -> bool:
    """Tell whether a label is of one of some types.

    Parameters
    ----------
    label : str
        A call type, such as ``marsh hooter: boom``.
    types : collection of str
        Types, whole or only as far as the colon: ``marsh hooter`` is all that it calls. Capitals do
        not matter. When empty, every label is of them.

    Returns
    -------
    bool
        Whether it is.

    Examples
    --------
    >>> is_of_type("marsh hooter: boom", ["Marsh Hooter"])
    True
    """
    whole = label.casefold()
    wanted = {one_line(name).casefold() for name in types}
    return not wanted or not wanted.isdisjoint({whole, species_of(whole)} - {""})


def is_clear(call: Call, *, min_confidence: float, min_snr_db: float | None) -> bool:
    """Tell whether a call is sure enough, and stands far enough above its background.

    Parameters
    ----------
    call : Call
        The call.
    min_confidence : float
        How sure its label has to be.
    min_snr_db : float or None
        How far it has to stand above its background; None lets all pass, also those of which that
        was not measured.

    Returns
    -------
    bool
        Whether it does.
    """
    loud_enough = min_snr_db is None or call.snr_db >= min_snr_db
    return call.sureness >= min_confidence and loud_enough


def no_such_type(name: str, labels: Iterable[str], place: str, what: str = "call") -> InputError:
    """Make the error of a type that nothing is of.

    Parameters
    ----------
    name : str
        The type that was asked for.
    labels : iterable of str
        The labels that there are.
    place : str
        Where they are.
    what : str
        What has them.

    Returns
    -------
    InputError
        One sentence, which names them.
    """
    there = ", ".join(sorted(labels)) or "none"
    return InputError(f"call type {name!r}: {place} has no such {what}; it has: {there}")


def check_types(take_logs: Sequence[TakeLog], types: Collection[str]) -> None:
    """Make sure that the log has calls of the types that were asked for.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        What was found in the takes.
    types : collection of str
        Types as `is_of_type` has them.

    Raises
    ------
    InputError
        If one has no call; the sentence names the types that there are, or says how calls get one.
    """
    labels = {
        call.label for take_log in take_logs for call in take_log.calls if is_call(call.label)
    }
    for name in types:
        if not any(is_of_type(label, [name]) for label in labels):
            if labels == {CALL}:
                raise InputError(
                    f"call type {name!r}: no call in the log has a type yet; name some with "
                    "`calltag label`, then `calltag teach` names the others"
                )
            raise no_such_type(name, labels, "the log")
