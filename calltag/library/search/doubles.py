"""Kept calls that are there more than once: shown, never dropped.

The same cut may lie in the library twice, under two names or with other handles; and two cameras
may have heard the same moment. That is known where their takes were lined up before the calls were
kept (`calltag.edit.heard_twice`); where they were not, a common timecode lets it be supposed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from enum import StrEnum
from typing import NamedTuple

from calltag.learn.labels.sameness import ENOUGH, ends_apart_s
from calltag.library.catalogue.catalogue import Catalogue, Kept
from calltag.records.found import Call

CLOCK_SLACK_S = 0.2
"""How far apart two cameras' timecode may put one moment."""


class Sameness(StrEnum):
    """Why two kept calls are taken for one."""

    SOUND = "same sound"
    CALL = "same call of the same take"
    MOMENT = "same moment from another camera"
    TIMECODE = "perhaps the same moment, by timecode"


class Double(NamedTuple):
    """Another kept call that is the same: why, its number in the catalogue, path, and id."""

    why: Sameness
    key: int
    path: str
    id: str

    @property
    def short_id(self) -> str:
        """The first letters of its id, as `calltag.library.catalogue.catalogue.Kept.short_id`."""
        return self.id[:8]


_COMMON_S = "min(o.end_s, m.end_s) - max(o.start_s, m.start_s)"
_LENGTHS_S = "(o.end_s - o.start_s, m.end_s - m.start_s)"
_SPANS_AGREE = (
    f"o.start_s < m.end_s AND m.start_s < o.end_s AND {_COMMON_S} >= {ENOUGH} * min{_LENGTHS_S}"
)
# In one take a short call within a long one is another; what two cameras heard may be cut short.
_NOT_WITHIN = (
    f"(other.take_digest != cuts.take_digest OR {_COMMON_S} >= {ENOUGH} * max{_LENGTHS_S})"
)
_BANDS_AGREE = "in_one_band(cuts.low_hz, cuts.high_hz, other.low_hz, other.high_hz)"
_CLOCKS_AGREE = (
    f"other.clock_s BETWEEN cuts.clock_s - {CLOCK_SLACK_S} AND cuts.clock_s + {CLOCK_SLACK_S} "
    "AND substr(other.recorded, 1, 10) = substr(cuts.recorded, 1, 10) "
    "AND other.take_digest != cuts.take_digest AND +other.label_key = cuts.label_key "
    f"AND {_BANDS_AGREE}"
)

HAS_DOUBLE = f"""(
    EXISTS (SELECT 1 FROM cuts AS other
            WHERE other.sound_hash = cuts.sound_hash AND other.id != cuts.id)
    OR EXISTS (SELECT 1 FROM moments AS m JOIN moments AS o ON o.digest = m.digest
               JOIN cuts AS other ON other.id = o.cut
               WHERE m.cut = cuts.id AND o.cut != m.cut AND {_SPANS_AGREE} AND {_BANDS_AGREE}
               AND {_NOT_WITHIN})
    OR EXISTS (SELECT 1 FROM cuts AS other WHERE {_CLOCKS_AGREE}))"""
"""A condition of SQL: a row of `cuts` is there more than once."""


def doubles_of(catalogue: Catalogue, keys: Collection[int]) -> dict[int, tuple[Double, ...]]:
    """Find what some kept calls are the same as.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    keys : collection of int
        `calltag.library.catalogue.catalogue.Kept.key` of each.

    Returns
    -------
    dict of int to tuple of Double
        By their keys; only those that are there more than once.

    Raises
    ------
    LibraryError
        If the catalogue cannot be read.
    """
    found: dict[int, dict[int, Double]] = defaultdict(dict)
    for key in keys:
        for why, query in _QUERIES:
            for other, path, name in catalogue.read(query, (key,)):
                found[key].setdefault(other, Double(why, other, path, name))
    return {
        key: tuple(sorted(others.values(), key=lambda one: one.path))
        for key, others in found.items()
    }


def pairs(
    kept: Iterable[Kept], doubles: Mapping[int, Sequence[Double]]
) -> Iterator[tuple[Kept, Double]]:
    """Yield who is the same as whom, each pair once.

    Parameters
    ----------
    kept : iterable of Kept
        Kept calls.
    doubles : mapping of int to sequence of Double
        What `doubles_of` says of them.

    Yields
    ------
    tuple of Kept and Double
        A kept call and another that is the same.
    """
    seen = set()
    for one in kept:
        for double in doubles.get(one.key, ()):
            pair = frozenset((one.key, double.key))
            if pair not in seen:
                seen.add(pair)
                yield one, double


def kept_before(catalogue: Catalogue, take_digest: str, call: Call) -> list[Kept]:
    """Find the cuts of a call of a take that are in the library already.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    take_digest : str
        Identity of the take's content.
    call : Call
        The call.

    Returns
    -------
    list of Kept
        Those that overlap it enough, in its band; the nearest first; mostly none or one.
    """
    mine = "(SELECT ? AS start_s, ? AS end_s) AS o"
    kept = catalogue.kept_where(
        "take_digest = ? AND cuts.id IN (SELECT m.cut FROM moments AS m "
        f"JOIN {mine} WHERE m.digest = ? AND {_SPANS_AGREE}) "
        "AND in_one_band(cuts.low_hz, cuts.high_hz, ?, ?)",
        (take_digest, *call.span, take_digest, call.low_hz, call.high_hz),
    )
    return sorted(kept, key=lambda one: ends_apart_s(one.story.source, call.span))


def _with_moments(same_take: bool) -> str:
    return (
        "SELECT other.id, other.path, other.cut_id FROM moments AS m "
        "JOIN moments AS o ON o.digest = m.digest AND o.cut != m.cut "
        "JOIN cuts ON cuts.id = m.cut JOIN cuts AS other ON other.id = o.cut "
        f"WHERE m.cut = ? AND {_SPANS_AGREE} AND {_BANDS_AGREE} AND {_NOT_WITHIN} "
        f"AND other.take_digest {'=' if same_take else '!='} cuts.take_digest"
    )


_QUERIES = (
    (
        Sameness.SOUND,
        "SELECT other.id, other.path, other.cut_id FROM cuts JOIN cuts AS other "
        "ON other.sound_hash = cuts.sound_hash AND other.id != cuts.id WHERE cuts.id = ?",
    ),
    (Sameness.CALL, _with_moments(same_take=True)),
    (Sameness.MOMENT, _with_moments(same_take=False)),
    (
        Sameness.TIMECODE,
        "SELECT other.id, other.path, other.cut_id FROM cuts "
        f"JOIN cuts AS other ON {_CLOCKS_AGREE} WHERE cuts.id = ?",
    ),
)
