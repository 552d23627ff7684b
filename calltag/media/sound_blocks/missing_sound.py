"""Where the sound of a take is damaged or missing: in words, and as stretches of time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain
from math import inf

from av.container import InputContainer

from calltag.media.sound_blocks._track import Track
from calltag.media.streams import picture_stream, states_no_length, take_duration_s
from calltag.records.span import Span, merged
from calltag.records.take import EMPTY_TRACK
from calltag.words import channels_named, first_few

_TELL_S = 0.5
"""Less than this between two stretches, or between the ends of sound and picture, is not told."""

_TOLD = 3
"""Places of one kind that are named; the rest is counted."""


def told_faults(container: InputContainer, tracks: list[Track], broken_off: bool) -> Iterator[str]:
    """Tell what is wrong with the sound of a take that was read to its end.

    Parameters
    ----------
    container : av.container.InputContainer
        The open clip.
    tracks : list of Track
        Its sound, one or more streams.
    broken_off : bool
        Whether reading ended by an error.

    Yields
    ------
    str
        A fault in plain words; of many alike the first are named.
    """
    lost = len(container.streams.audio) - len(tracks)
    if lost:
        yield f"{lost} of its {lost + len(tracks)} sound streams cannot be decoded here"
    heard = [track for track in tracks if track.heard]
    if not heard:
        yield EMPTY_TRACK
        return
    yield from _places("damaged", [(track.rows, track.flaws.damage) for track in heard])
    yield from _places("missing", [(track.rows, track.flaws.missing) for track in heard])
    for leap_s in _tenths(track.flaws.leaps for track in tracks)[:_TOLD]:
        yield f"its clock jumps at {leap_s:.1f} s; sound is taken to go on"
    anew = _tenths(track.flaws.anew for track in tracks)
    if anew:
        places = first_few([f"{anew_s:.1f} s" for anew_s in anew], _TOLD)
        yield (
            f"its clock begins anew at {places}, as where clips are joined end to end: sound is "
            "taken to go on; log the clips one by one, so that their times hold"
        )
    if any(track.flaws.impossible for track in tracks):
        yield "some samples are no numbers; they were taken for silence"
    end_s = _end_s(tracks)
    if broken_off:
        yield f"the file cannot be read beyond {end_s:.1f} s"
    if late_s := late_by_s(container, tracks):
        yield f"sound starts {late_s:.1f} s after the picture"
    short_s = _short_s(container, tracks)
    if _is_short(short_s, tracks):
        yield f"sound ends at {end_s:.1f} s, {short_s:.1f} s before the end of the take"


def without_sound(container: InputContainer, tracks: list[Track], broken_off: bool) -> list[Span]:
    """Find all stretches without sound in any stream; those of a single one its channels show.

    Parameters
    ----------
    container : av.container.InputContainer
        The open clip.
    tracks : list of Track
        Its sound, one or more streams, read to the end.
    broken_off : bool
        Whether reading ended by an error.

    Returns
    -------
    list of Span
        The stretches, in order and apart; none where nothing was heard at all.
    """
    heard = [track for track in tracks if track.heard]
    if not heard:
        return []
    spans = _in_no_track(heard)
    if late_s := late_by_s(container, tracks):
        spans.append(Span(0.0, late_s))
    end_s, short_s = _end_s(tracks), _short_s(container, tracks)
    if broken_off or _is_short(short_s, tracks):
        spans.append(Span(end_s, end_s + max(0.0, short_s)))
    return [span for span in joined(spans) if span.length_s > 0]


def _in_no_track(tracks: list[Track]) -> list[Span]:
    """Stretches that no track has sound in, since one began, with damage after all that is good."""
    begin_s = _begin_s(tracks)
    end_s = _end_s(tracks)
    damage = chain.from_iterable(track.flaws.damage for track in tracks)
    silent = [Span(0.0, end_s), *(span for span in damage if span.end_s > end_s)]
    for track in tracks:
        its_own = [
            Span(begin_s, track.begin_s),
            *joined([*track.flaws.damage, *track.flaws.missing]),
            Span(track.end_s, inf),
        ]
        both = [_overlap(a, b) for a in silent for b in its_own]
        silent = [span for span in both if span.length_s > 0]
    return silent


def _overlap(one: Span, other: Span) -> Span:
    """What two stretches have in common; of no length, or less, where that is nothing."""
    return Span(max(one.start_s, other.start_s), min(one.end_s, other.end_s))


def _begin_s(tracks: Iterable[Track]) -> float:
    """When the first of those that were heard begins."""
    return min((track.begin_s for track in tracks if track.heard), default=0.0)


def late_by_s(container: InputContainer, tracks: list[Track]) -> float:
    """Tell by how much sound starts after the picture.

    Parameters
    ----------
    container : av.container.InputContainer
        The open clip.
    tracks : list of Track
        Its sound.

    Returns
    -------
    float
        Seconds; 0 where it is too little to tell, or there is no picture.
    """
    if picture_stream(container) is None:
        return 0.0
    late_s = _begin_s(tracks)
    return late_s if late_s > _TELL_S else 0.0


def _end_s(tracks: list[Track]) -> float:
    """When the last of them ends."""
    return max(track.end_s for track in tracks)


def _short_s(container: InputContainer, tracks: list[Track]) -> float:
    """By how much sound ends before the take, where the file states that."""
    return 0.0 if states_no_length(container) else take_duration_s(container) - _end_s(tracks)


def _is_short(short_s: float, tracks: list[Track]) -> bool:
    """Whether that is to be told; what a clock that jumps says of the length is not believed."""
    return short_s > _TELL_S and not any(track.flaws.leaps or track.flaws.anew for track in tracks)


def _tenths(times_s: Iterable[list[float]]) -> list[float]:
    """All times of some lists, in order, each once, as exact as they are told."""
    return sorted({round(time_s, 1) for time_s in chain.from_iterable(times_s)})


def _places(what: str, found: list[tuple[slice, list[Span]]]) -> Iterator[str]:
    """Name the first few stretches, and whose they are where not every track has them."""
    places: list[tuple[Span, list[slice]]] = []
    for rows, spans in found:
        of_others = range(len(places))  # those of one track are apart
        for span in joined(spans):
            at = next((i for i in of_others if _alike(places[i][0], span)), None)
            if at is None:
                places.append((span, [rows]))
            else:
                place, those = places[at]
                places[at] = joined([place, span])[0], [*those, rows]
    places.sort(key=lambda place: place[0])
    for (start_s, end_s), those in places[:_TOLD]:
        channels = [row + 1 for rows in those for row in range(rows.start, rows.stop)]
        whose = "sound" if len(those) == len(found) else f"sound of {channels_named(channels)}"
        yield f"{whose} is {what} between {start_s:.2f} and {end_s:.2f} s"
    if len(places) > _TOLD:
        yield f"sound is {what} in {len(places) - _TOLD} more places"


def _alike(one: Span, other: Span) -> bool:
    return all(abs(a - b) < _TELL_S for a, b in zip(one, other, strict=True))


def joined(spans: Iterable[Span]) -> list[Span]:
    """Put stretches in order, joined where too little lies between them to be told.

    Parameters
    ----------
    spans : iterable of Span
        In any order.

    Returns
    -------
    list of Span
        More than half a second from each other.
    """
    return merged(spans, _TELL_S)
