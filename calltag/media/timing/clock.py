"""A take's own clock: which frame of source timecode its first frame is, and how it counts.

A take begins at the start timecode that its file states; without one that its clock shows, at its
broadcast wave's time reference; without that, at zero. Its rate is its own, snapped to the
standard; sound alone has none and counts at the rate that most of the rushes were filmed at, 25
where nothing was. A take without a constant rate is placed by time, counted at the standard rate
nearest to its average. The time of day at which it begins is told by its clock and by its date,
which need not agree.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from functools import lru_cache

from calltag.errors import InputError
from calltag.media.timing.rates import nearest_rate, snap_rate
from calltag.media.timing.timecode import (
    Rate,
    format_timecode,
    frame_to_seconds,
    frames_per_day,
    nearest_frame,
    parse_timecode,
    rate_text,
)
from calltag.records.take import Take, states_time

DEFAULT_RATE = Rate(Fraction(25))
"""What sound alone is counted at where no take has a picture."""

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """How a take counts its frames.

    Attributes
    ----------
    rate : Rate
        Its exact rate and count.
    start_frame : int
        Source timecode of its first frame, in frames from 00:00:00:00.
    n_frames : int
        Its length, at least one frame.
    n_pictures : int
        How many of its frames have a picture: sound may go on after the last one. None has where
        there is sound alone; all have where the length of the picture is not known.
    notes : tuple of str
        What an editor should know, in whole sentences that name the take.
    """

    rate: Rate
    start_frame: int
    n_frames: int
    n_pictures: int
    notes: tuple[str, ...] = ()

    def frames(self, start_s: float, end_s: float) -> tuple[int, int]:
        """Place a span on the frames of the take.

        Parameters
        ----------
        start_s, end_s : float
            The span; equal for a point.

        Returns
        -------
        first, end : int
            Its first frame and the first after it, counted from the take's first: each the nearest,
            at least one frame apart, within the take, and within its picture where they begin in
            it. Times count to the millisecond, as tables show them, so that who reads the table
            finds the same frames.
        """
        first = min(max(nearest_frame(round(start_s, 3), self.rate.fps), 0), self.n_frames - 1)
        last = self.n_pictures if first < self.n_pictures else self.n_frames
        end = min(max(nearest_frame(round(end_s, 3), self.rate.fps), first + 1), last)
        return first, end

    def label(self, frame: int) -> str:
        """Label a frame of the take with its source timecode.

        Parameters
        ----------
        frame : int
            Counted from the take's first.

        Returns
        -------
        str
            ``hh:mm:ss:ff``, or ``hh:mm:ss;ff`` when drop-frame.
        """
        return format_timecode(self.start_frame + frame, self.rate)


def common_rate(takes: Iterable[Take]) -> Rate:
    """Find the rate that most takes were filmed at.

    Parameters
    ----------
    takes : iterable of Take
        The rushes.

    Returns
    -------
    Rate
        The commonest rate and count of those with a picture; `DEFAULT_RATE` where there is none. Of
        two as common, the one that comes first.
    """
    rates = Counter(take_clock(take).rate for take in takes if take.fps is not None)
    return rates.most_common(1)[0][0] if rates else DEFAULT_RATE


@lru_cache(maxsize=1024)  # asked for each call of a take
def take_clock(take: Take, rate: Rate = DEFAULT_RATE) -> Clock:
    """Read a take's clock.

    Parameters
    ----------
    take : Take
        The take.
    rate : Rate
        How to count where the take has no rate of its own.

    Returns
    -------
    Clock
        Its rate, start and length. A start timecode that no clock shows at this rate is left out of
        account, with a note, as `time_of_day_s` leaves it out.
    """
    notes = []
    own = _own_rate(take, rate)
    if take.variable_rate:
        notes.append(
            f"{take.path}: no constant frame rate, so markers are placed by time at"
            f" {rate_text(own.fps)} frames per second; check the first and the last in the edit"
        )
    reference_s = _reference_s(take)
    start_frame = 0 if reference_s is None else nearest_frame(reference_s, own.fps)
    if take.start_tc is not None:
        try:
            start_frame, own = parse_timecode(take.start_tc, own.fps)
        except InputError as error:
            begins = "from zero" if reference_s is None else "from the file's time reference"
            notes.append(f"{take.path}: {error}; its timecode is counted {begins} instead")
    n_frames = max(1, nearest_frame(take.duration_s, own.fps))
    n_pictures = n_frames if take.has_picture else 0
    if take.picture_s is not None:
        n_pictures = min(max(1, nearest_frame(take.picture_s, own.fps)), n_frames)
    return Clock(
        rate=own,
        start_frame=start_frame,
        n_frames=n_frames,
        n_pictures=n_pictures,
        notes=tuple(notes),
    )


def time_of_day_s(take: Take) -> float | None:
    """Time of day at which a take begins, as its clock counts.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    float or None
        Seconds since midnight: frames of its start timecode at its exact rate, or its broadcast
        wave's time reference; None where the file states neither.

    Examples
    --------
    >>> take = Take(path="A001.wav", rushes="/r", digest="", size_bytes=0, duration_s=9.0,
    ...             sample_rate_hz=48_000, time_reference=1_728_000_000)
    >>> time_of_day_s(take)
    36000.0
    """
    stated = _stated_start(take)
    if stated is not None:
        frame, own = stated
        return float(frame_to_seconds(frame, own.fps))
    reference_s = _reference_s(take)
    return None if reference_s is None else float(reference_s)


def day_s(take: Take) -> float:
    """After how long a take's clock begins its day anew.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    float
        Seconds: a day of labels at the exact rate of its start timecode; `DAY_S` where the file
        states none, since samples do not tell at which rate their clock counts.

    Examples
    --------
    >>> take = Take(path="A001.mov", rushes="/r", digest="", size_bytes=0, duration_s=9.0,
    ...             fps=Fraction(24_000, 1001), start_tc="23:59:50:00")
    >>> day_s(take)
    86486.4
    """
    stated = _stated_start(take)
    if stated is None:
        return DAY_S
    _, own = stated
    return float(frame_to_seconds(frames_per_day(own), own.fps))


def recorded_at(take: Take) -> datetime | None:
    """Date and time at which a take was recorded.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    datetime or None
        As the file states it; None where it does not, or states no time.
    """
    if not states_time(take.recorded):
        return None
    try:
        return datetime.fromisoformat(take.recorded)
    except ValueError:
        return None


def dates_apart_s(take: Take, other: Take) -> float | None:
    """Tell by their dates how much later one take begins than another.

    Parameters
    ----------
    take, other : Take
        The takes.

    Returns
    -------
    float or None
        Seconds, negative where `other` begins first; None where a file states no date and time.
    """
    date, its_date = recorded_at(take), recorded_at(other)
    return None if date is None or its_date is None else apart_s(date, its_date)


def clocks_apart_s(take: Take, other: Take) -> float | None:
    """Tell by what their clocks show how much later one take begins than another.

    Parameters
    ----------
    take, other : Take
        The takes.

    Returns
    -------
    float or None
        Seconds from the time of day of `take` to that of `other`, whichever days these are of; None
        where a file states none.
    """
    at_s, its_s = time_of_day_s(take), time_of_day_s(other)
    return None if at_s is None or its_s is None else its_s - at_s


def longer_day_s(take: Take, other: Take) -> float:
    """After how long the clocks of two takes, compared, show the same again.

    Parameters
    ----------
    take, other : Take
        The takes.

    Returns
    -------
    float
        Seconds: the longer of their days, as `day_s` has them.
    """
    return max(day_s(take), day_s(other))


def apart_s(first: datetime, second: datetime) -> float:
    """Seconds from one moment to another; time zones count only where both are stated.

    Parameters
    ----------
    first, second : datetime
        The moments.

    Returns
    -------
    float
        Seconds, negative where `second` is the earlier one.
    """
    if first.tzinfo is None or second.tzinfo is None:
        first, second = first.replace(tzinfo=None), second.replace(tzinfo=None)
    return (second - first).total_seconds()


def within_half_s(difference_s: float, turn_s: float = DAY_S) -> float:
    """Bring a difference of two clocks to within half a turn, as over midnight.

    Parameters
    ----------
    difference_s : float
        Seconds from one clock to the other.
    turn_s : float
        After how many seconds they show the same again.

    Returns
    -------
    float
        Seconds, from minus half a turn up to half a turn.

    Examples
    --------
    >>> within_half_s(10.0 - 86_390.0)
    20.0
    """
    return (difference_s + turn_s / 2) % turn_s - turn_s / 2


def _stated_start(take: Take) -> tuple[int, Rate] | None:
    """A take's start timecode and its count, where it states one that its clock shows."""
    if take.start_tc is None:
        return None
    try:
        return parse_timecode(take.start_tc, _own_rate(take, DEFAULT_RATE).fps)
    except InputError:
        return None


def _reference_s(take: Take) -> Fraction | None:
    """A take's broadcast wave's time reference, in seconds; None where the file states none."""
    if take.time_reference is None or not take.sample_rate_hz:
        return None
    return Fraction(take.time_reference, take.sample_rate_hz)


def _own_rate(take: Take, rate: Rate) -> Rate:
    if take.fps is None:
        return rate
    return Rate(nearest_rate(take.fps) if take.variable_rate else snap_rate(take.fps))
