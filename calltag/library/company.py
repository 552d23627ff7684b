"""What else called where calls were kept: company for the types that the library teaches.

A call of a type that nobody taught is known best by what else calls in the same places (see
`calltag.learn.call_types.kinship`). A log knows that of its own takes. The library notes it when
calls are kept: the measurements of other finds of the same takes, in the catalogue. No file holds
them; after a damaged catalogue has been made anew they are noted again with the next calls kept of
those takes, and until then the library teaches without them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

import numpy as np

from calltag.learn.call_types.examples import Sound
from calltag.learn.labels.sameness import share_enough
from calltag.learn.labels.vocabulary import is_call
from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.keep import Wanted
from calltag.records.found import Call, TakeLog
from calltag.records.label import LIKELY
from calltag.records.span import Span
from calltag.sound.features import FEATURE_VERSION

MOST_OF_TAKE = 20
"""Other finds of a take that are noted, at most."""


def note_company(
    catalogue: Catalogue, take_logs: Iterable[TakeLog], kept: Iterable[Wanted]
) -> None:
    """Note what else was found in the takes that calls were kept of.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    take_logs : iterable of TakeLog
        Takes of the log, with the calls' measurements.
    kept : iterable of Wanted
        Calls that are in the library.

    Raises
    ------
    LibraryError
        If the catalogue cannot be written.
    """
    versions: dict[str, int] = {}
    spans: dict[str, list[Span]] = {}  # by content, since of copies one call each may be kept
    for one in kept:
        versions[one.take.path] = one.feature_version
        spans.setdefault(one.take.digest, []).append(one.call.span)
    for take_log in take_logs:
        path, digest = take_log.take.path, take_log.take.digest
        if not versions.get(path):
            continue
        others = [call for call in take_log.calls if _is_other(call, spans[digest])]
        finds = [
            (call.span, call.features)
            for call in _spread(others, MOST_OF_TAKE)
            if call.features is not None
        ]
        catalogue.put_company(digest, versions[path], finds)


def company(
    catalogue: Catalogue,
    learnt: Mapping[str, Sequence[Span]],
    without: Collection[str] = (),
) -> list[Sound]:
    """Collect what else was found in the takes that calls were kept of.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    learnt : mapping of str to sequence of Span
        What is learnt from, by the identity of its take's content: that is no company.
    without : collection of str
        Takes of which the log knows what else there is, by the identity of their content.

    Returns
    -------
    list of Sound
        One for each find that this version of calltag measured.

    Raises
    ------
    LibraryError
        If the catalogue cannot be used.
    """
    return [
        Sound(features=vector, take=digest, span=span)
        for digest, span, vector in catalogue.company(FEATURE_VERSION)
        if digest not in without
        and not any(share_enough(span, other) for other in learnt.get(digest, ()))
    ]


def _is_other(call: Call, kept: Iterable[Span]) -> bool:
    """Whether something likely is a call, and none of those that were kept."""
    return (
        is_call(call.label)
        and call.call_probability >= LIKELY
        and call.features is not None
        and not any(share_enough(call.span, span) for span in kept)
    )


def _spread(calls: Sequence[Call], n: int) -> list[Call]:
    """So many at most, spread evenly over the take."""
    if len(calls) <= n:
        return list(calls)
    return [calls[i] for i in np.linspace(0, len(calls) - 1, n).round().astype(int)]
