"""When a moment of a take was: its date and time, and its place on the clock of the day."""

from __future__ import annotations

from datetime import datetime, timedelta

from calltag.media.timing.clock import Clock
from calltag.media.timing.timecode import frame_to_seconds
from calltag.media.wave_files.bext import Bext
from calltag.records.take import Take, states_time


def moment(recorded: str | None, at_s: float = 0.0) -> str | None:
    """Tell when a moment of a take was.

    Parameters
    ----------
    recorded : str or None
        When the take was begun, as `calltag.records.take.Take` has it.
    at_s : float
        Seconds of the take.

    Returns
    -------
    str or None
        ISO 8601, to the millisecond where the take states a time; what it states where that is no
        more than a day.

    Examples
    --------
    >>> moment("2026-04-18T05:12:06+01:00", 61.25), moment("2026-04-18", 61.25), moment(None)
    ('2026-04-18T05:13:07.250+01:00', '2026-04-18', None)
    """
    if not states_time(recorded):
        return recorded
    return iso_text(datetime.fromisoformat(recorded) + timedelta(seconds=at_s))


def iso_text(at: datetime, exact: str = "milliseconds") -> str:
    """Write a moment in ISO 8601.

    Parameters
    ----------
    at : datetime
        The moment.
    exact : str
        To what, as `datetime.isoformat` has it.

    Returns
    -------
    str
        The moment; ``Z`` stands for UTC.

    Examples
    --------
    >>> iso_text(datetime.fromisoformat("2026-04-18T05:12:06+00:00"), "minutes")
    '2026-04-18T05:12Z'
    """
    return at.isoformat(timespec=exact).replace("+00:00", "Z")


def first_sample(take: Take, clock: Clock, rate_hz: int) -> int:
    """Place a take's first sample on the clock of the day.

    Parameters
    ----------
    take : Take
        The take.
    clock : Clock
        How it counts its frames.
    rate_hz : int
        Sampling rate to count at.

    Returns
    -------
    int
        Samples since midnight: what a broadcast wave states, or else the start timecode in time.
    """
    if take.time_reference is not None and take.sample_rate_hz:
        return round(take.time_reference * rate_hz / take.sample_rate_hz)
    return round(frame_to_seconds(clock.start_frame, clock.rate.fps) * rate_hz)


def take_bext(
    take: Take,
    clock: Clock,
    rate_hz: int,
    *,
    description: str,
    first: int = 0,
    history: str = "",
    reference: str = "",
) -> Bext:
    """State in a wave file what take its sound is of, and when it was.

    Parameters
    ----------
    take : Take
        The take.
    clock : Clock
        How it counts its frames.
    rate_hz : int
        Sampling rate of the wave file.
    description : str
        What the sound is.
    first : int
        The sample of the take that the file begins with.
    history : str
        Coding history.
    reference : str
        Our own name for the file.

    Returns
    -------
    Bext
        The broadcast extension; day and time are those of the file's first sample.
    """
    date, _, time = (moment(take.recorded, first / rate_hz) or "").partition("T")
    return Bext(
        description=description,
        originator_reference=reference,
        date=date[:10],
        time=time[:8],
        time_reference=first_sample(take, clock, rate_hz) + first,
        history=history,
    )
