"""Timecode and frames (SMPTE ST 12-1), in exact fractions.

A rate is a `Fraction` of frames per second: 29.97 is 30000/1001, never a float. Frames count from 0
at 00:00:00:00. A label is ``hh:mm:ss:ff``, with ``;`` before the frames when drop-frame. The end
of a span is the first frame after it.

From seconds to frames leads `nearest_frame`: which frame boundary a measured time is nearest to. So
a marker is never more than half a frame off, and a time made from a frame finds that frame again.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

from calltag.errors import InputError
from calltag.media.timing.rates import snap_rate

_LABEL = re.compile(r"(\d{2}):(\d{2}):(\d{2})([:;])(\d{1,3})", re.ASCII)
_ROUNDING = Fraction(1, 1_000_000)  # of a frame: what a float of seconds may lack


class Rate(NamedTuple):
    """How frames are counted.

    Attributes
    ----------
    fps : Fraction
        Frames per second.
    drop : bool
        Whether labels are drop-frame.
    """

    fps: Fraction
    drop: bool = False

    def __str__(self) -> str:
        """The rate as an editor writes it, e.g. ``29.97 drop-frame``."""
        return rate_text(self.fps) + (" drop-frame" if self.drop else "")


def nominal(fps: Fraction) -> int:
    """Count the labels in a second of timecode.

    Parameters
    ----------
    fps : Fraction
        Frames per second.

    Returns
    -------
    int
        The whole number nearest to `fps`, at least 1: 30 for 30000/1001.
    """
    return max(1, int(fps + Fraction(1, 2)))


def can_drop(fps: Fraction) -> bool:
    """Tell whether a rate may be counted drop-frame.

    Parameters
    ----------
    fps : Fraction
        Frames per second.

    Returns
    -------
    bool
        True for 29.97, 59.94 and their multiples, never for 23.976 (SMPTE ST 12-1, clause 5.2.2).
    """
    return nominal(fps) % 30 == 0 and fps * 1001 == nominal(fps) * 1000


def parse_rate(text: str) -> Rate:
    """Read a rate as an editor writes it.

    Parameters
    ----------
    text : str
        A number such as ``25``, ``23.976``, ``29.97`` or ``30000/1001``; ``df`` after it means
        drop-frame. A number near a standard rate means that rate.

    Returns
    -------
    Rate
        The exact rate.

    Raises
    ------
    InputError
        If it is no rate, or one that has no drop-frame count.

    Examples
    --------
    >>> parse_rate("29.97df")
    Rate(fps=Fraction(30000, 1001), drop=True)
    """
    bare = text.strip().lower()
    drop = bare.endswith("df") and not bare.endswith("ndf")
    number = bare.removesuffix("df").removesuffix("n").strip()
    try:
        fps = Fraction(number)
    except (ValueError, ZeroDivisionError):
        fps = Fraction(0)
    if not 0 < fps <= 1000:
        raise InputError(f"frame rate {text!r}: write a number such as 25, 23.976 or 29.97df")
    fps = snap_rate(fps)
    if drop and not can_drop(fps):
        raise InputError(
            f"frame rate {text!r}: only 29.97 and 59.94 are counted drop-frame; leave `df` out"
        )
    return Rate(fps, drop)


def rate_text(fps: Fraction) -> str:
    """Write a rate as an editor does.

    Parameters
    ----------
    fps : Fraction
        Frames per second.

    Returns
    -------
    str
        At most three decimals: ``25``, ``23.976``, ``29.97``.
    """
    return f"{float(fps):.3f}".rstrip("0").rstrip(".")


def nearest_frame(seconds: float | Fraction, fps: Fraction) -> int:
    """Tell which frame begins nearest to a time; of two, the later.

    Parameters
    ----------
    seconds : float or Fraction
        Time from the first frame. A float may lack a millionth of a frame and still be halfway.
    fps : Fraction
        Frames per second.

    Returns
    -------
    int
        The frame.
    """
    slack = 0 if isinstance(seconds, Fraction) else _ROUNDING
    return (Fraction(seconds) * fps + Fraction(1, 2) + slack).__floor__()


def frame_to_seconds(frame: int, fps: Fraction) -> Fraction:
    """Tell when a frame begins.

    Parameters
    ----------
    frame : int
        The frame.
    fps : Fraction
        Frames per second.

    Returns
    -------
    Fraction
        Seconds from frame 0, exact.
    """
    return frame / fps


def frames_per_day(rate: Rate) -> int:
    """Count the labels of a day, after which timecode begins anew.

    Parameters
    ----------
    rate : Rate
        How frames are counted.

    Returns
    -------
    int
        Frames from 00:00:00:00 to the next.
    """
    day = 86_400 * nominal(rate.fps)
    return day - 24 * 54 * _dropped(rate) if rate.drop else day


def format_timecode(frame: int, rate: Rate) -> str:
    """Label a frame.

    Parameters
    ----------
    frame : int
        Frames from 00:00:00:00; beyond a day, and below zero, labels go round the clock.
    rate : Rate
        How frames are counted.

    Returns
    -------
    str
        ``hh:mm:ss:ff``, or ``hh:mm:ss;ff`` when drop-frame.

    Raises
    ------
    InputError
        If the rate has no drop-frame count and is said to be drop-frame.

    References
    ----------
    .. [1] SMPTE ST 12-1, "Time and Control Code", clause 5.2.2 (drop-frame).

    Examples
    --------
    >>> format_timecode(1800, Rate(Fraction(30000, 1001), drop=True))
    '00:01:00;02'
    """
    return _written(*_shown(frame, rate), rate)


def same_second(frame: int, rate: Rate, to: Rate) -> str:
    """Label a frame at another rate: hours, minutes and seconds stay, the frames are scaled.

    Parameters
    ----------
    frame : int
        Frames from 00:00:00:00, as `rate` counts them.
    rate, to : Rate
        How frames are counted, and how they are to be.

    Returns
    -------
    str
        As `format_timecode` has it; of labels that drop-frame leaves out, the first after them.

    Examples
    --------
    >>> same_second(1537, Rate(Fraction(25)), Rate(Fraction(50)))
    '00:01:01:24'
    """
    seconds, frames = _shown(frame, rate)
    scaled = frames * nominal(to.fps) // nominal(rate.fps)
    return _written(seconds, max(scaled, _first_label(seconds, to)), to)


def _shown(frame: int, rate: Rate) -> tuple[int, int]:
    """The whole seconds and the frames that a frame's label shows."""
    frame %= frames_per_day(rate)
    per_second = nominal(rate.fps)
    if rate.drop:
        # Ten minutes are one whole minute and nine without the labels dropped at their start.
        dropped = _dropped(rate)
        short = 60 * per_second - dropped
        tens, rest = divmod(frame, 10 * short + dropped)
        frame += 9 * dropped * tens + dropped * max(0, (rest - dropped) // short)
    return divmod(frame, per_second)


def _written(seconds: int, frames: int, rate: Rate) -> str:
    """The label that shows so many whole seconds and frames."""
    hours, minutes = seconds // 3600, seconds // 60 % 60
    mark = ";" if rate.drop else ":"
    digits = _frame_digits(nominal(rate.fps))
    return f"{hours:02d}:{minutes:02d}:{seconds % 60:02d}{mark}{frames:0{digits}d}"


def check_timecode(label: str) -> None:
    """Make sure that a label may be one, at whatever rate.

    Parameters
    ----------
    label : str
        What was typed.

    Raises
    ------
    InputError
        If it is not written as one, or there is no such time of day.
    """
    _fields(label)


def _fields(label: str) -> re.Match[str]:
    match = _LABEL.fullmatch(label.strip())
    if match is None:
        raise InputError(
            f"timecode {label!r}: write hh:mm:ss:ff, or hh:mm:ss;ff when it is drop-frame"
        )
    if int(match[1]) > 23 or int(match[2]) > 59 or int(match[3]) > 59:
        raise InputError(
            f"timecode {label!r}: there is no such time of day; write one from 00:00:00 to 23:59:59"
        )
    return match


def parse_timecode(label: str, fps: Fraction) -> tuple[int, Rate]:
    """Find the frame of a label.

    Parameters
    ----------
    label : str
        ``hh:mm:ss:ff``, or ``hh:mm:ss;ff`` when drop-frame.
    fps : Fraction
        Frames per second.

    Returns
    -------
    frame : int
        Frames from 00:00:00:00.
    rate : Rate
        `fps`, with the count that the label is written in.

    Raises
    ------
    InputError
        If no clock shows such a label: not so written, a field too large, drop-frame at a rate that
        has none, or one of the labels that drop-frame leaves out.

    Examples
    --------
    >>> frame, rate = parse_timecode("00:10:00;00", Fraction(30000, 1001))
    >>> frame, rate.drop
    (17982, True)
    """
    match = _fields(label)
    hours, minutes, second, frames = (int(match[i]) for i in (1, 2, 3, 5))
    per_second = nominal(fps)
    digits = _frame_digits(per_second)
    # Rates of ten and less, and above a hundred, are also written with as few digits as they need.
    fewest = 2 if per_second > 10 else 1
    if frames >= per_second or not fewest <= len(match[5]) <= digits:
        raise InputError(
            f"timecode {label!r}: at {rate_text(fps)} frames per second the last field counts"
            f" from {0:0{digits}d} to {per_second - 1}"
        )
    rate = Rate(fps, drop=match[4] == ";")
    if rate.drop and not can_drop(fps):
        raise InputError(
            f"timecode {label!r}: {rate_text(fps)} frames per second have no drop-frame count;"
            " write a colon before the frames"
        )
    whole = hours * 60 + minutes
    seconds = whole * 60 + second
    if frames < (first := _first_label(seconds, rate)):
        raise InputError(
            f"timecode {label!r}: drop-frame leaves this label out;"
            f" the minute begins at {_written(seconds, first, rate)}"
        )
    dropped = _dropped(rate) * (whole - whole // 10) if rate.drop else 0
    return seconds * per_second + frames - dropped, rate


def parse_start(label: str, rate: Rate) -> int:
    """Find the frame that a timeline is to begin at.

    Parameters
    ----------
    label : str
        ``hh:mm:ss:ff``; ``:`` and ``;`` before the frames both mean the count of `rate`.
    rate : Rate
        How the timeline counts.

    Returns
    -------
    int
        Frames from 00:00:00:00.

    Raises
    ------
    InputError
        If no clock of that rate shows such a label.

    Examples
    --------
    >>> parse_start("01:00:00:00", Rate(Fraction(30000, 1001), drop=True))
    107892
    """
    bare = label.strip()
    head, mark, frames = bare.rpartition(";" if ";" in bare else ":")
    if mark:
        bare = f"{head}{';' if rate.drop else ':'}{frames}"
    frame, _ = parse_timecode(bare, rate.fps)
    return frame


def _first_label(seconds: int, rate: Rate) -> int:
    """The frames of the first label of a second; drop-frame leaves some out."""
    return _dropped(rate) if rate.drop and seconds % 60 == 0 and seconds % 600 else 0


def _frame_digits(per_second: int) -> int:
    return max(2, len(str(per_second - 1)))


def _dropped(rate: Rate) -> int:
    """Labels left out at each minute that is not divisible by ten."""
    if not can_drop(rate.fps):
        raise InputError(
            f"{rate_text(rate.fps)} frames per second: only 29.97 and 59.94 are counted drop-frame"
        )
    return nominal(rate.fps) // 15
