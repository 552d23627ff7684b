"""A clip file: what it says of itself, and what was measured of the whole of its sound."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple, TypeGuard

from calltag.records.span import Span

EMPTY_TRACK = "its sound track is empty"
"""The fault of a take whose streams of sound hold nothing."""


class FaultKind(StrEnum):
    """What may be wrong with a take's channels."""

    NO_SOUND = "no sound"
    DEAD = "dead"
    STOPS = "stops"
    STARTS = "starts"
    QUIETER = "quieter"
    HISS = "hiss"
    COPY_INVERTED = "copy inverted"
    INVERTED = "inverted"
    SAME = "same"
    WINDY = "windy"
    CLIPPED = "clipped"
    OFFSET = "offset"
    DROPS_OUT = "drops out"
    MORE_DROPOUTS = "more dropouts"


class ChannelFault(NamedTuple):
    """Something wrong with a take's channels; `calltag.sound.channels.faults` says it.

    Attributes
    ----------
    kind : FaultKind
        What it is.
    channels : tuple of int
        The channels that have it, counted from one; empty for all of them.
    other : int
        The channel that they are held against; 0 for none.
    at_s : float
        Where it begins, for what begins, stops, drops out or is hiss from there on.
    amount : float
        How much: decibels of `QUIETER`, samples of `CLIPPED`, part of full scale of `OFFSET`,
        seconds of `DROPS_OUT`, how many are `MORE_DROPOUTS`; 0 for the others.
    """

    kind: FaultKind
    channels: tuple[int, ...] = ()
    other: int = 0
    at_s: float = 0.0
    amount: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """What one pass over a take's sound measured of the whole of it.

    Attributes
    ----------
    peak_dbfs : float
        Highest sample of any channel, as it was recorded; ``-inf`` for digital silence.
    clipped : int
        Samples in runs at full scale, all channels, at their own rate.
    loudness_lufs : float
        Integrated loudness (ITU-R BS.1770) of the take; ``-inf`` where there is nothing to measure.
    floor_dbfs : float
        Level that the chosen sound stays above for nine tenths of the take.
    channel : str
        The channel, or channels, that calls were looked for in: ``"1"``, ``"2"``, counted from one.
    faults : tuple of str
        Faults of the recording in plain words, e.g. ``"channel 2 is dead"``; of many alike the
        first, and how many more.
    channel_faults : tuple of ChannelFault
        Those of them that were found by comparing channels and samples, as data.
    broken : tuple of Span
        All stretches in which the file has no sound: none that can be read, half a second or more
        of digital silence in every channel, or nothing but hiss since the microphone was cut off;
        in order, none overlapping another.
    """

    peak_dbfs: float
    clipped: int
    loudness_lufs: float
    floor_dbfs: float
    channel: str = "1"
    faults: tuple[str, ...] = ()
    channel_faults: tuple[ChannelFault, ...] = ()
    broken: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """One clip file.

    Attributes
    ----------
    path : str
        Path below the rushes folder, with ``/`` between its parts.
    rushes : str
        Absolute path of the rushes folder.
    digest : str
        Identity of the content: the same for a file that was moved or renamed.
    size_bytes : int
        Size of the file.
    duration_s : float
        Length of the take: of picture or sound, whichever is longer.
    picture_s : float or None
        Length of the picture; None where there is none, or the file does not state it.
    fps : Fraction or None
        Exact frame rate; None where there is no picture.
    variable_rate : bool
        Whether the picture has no constant frame rate.
    start_tc : str or None
        Start timecode as the file states it, ``;`` before the frames when drop-frame.
    time_reference : int or None
        Start in samples since midnight, from a broadcast wave's ``bext`` chunk.
    recorded : str or None
        When it was recorded, ISO 8601, as the file states it.
    sample_rate_hz : int or None
        The sound's own rate; None for a take without sound.
    channels : int
        Channels of sound over all streams.
    width, height : int
        Size of the picture in pixels; 0 where there is none.
    levels : Levels or None
        Measured on the sound; None for a take without sound.
    found_at : Take or None
        A copy of it, where its own file is away (`calltag.media.copies`); no log keeps that.
    """

    path: str
    rushes: str
    digest: str
    size_bytes: int
    duration_s: float
    picture_s: float | None = None
    fps: Fraction | None = None
    variable_rate: bool = False
    start_tc: str | None = None
    time_reference: int | None = None
    recorded: str | None = None
    sample_rate_hz: int | None = None
    channels: int = 0
    width: int = 0
    height: int = 0
    levels: Levels | None = None
    found_at: Take | None = field(default=None, compare=False)

    @property
    def file(self) -> Path:
        """The file to read."""
        source = self.found_at or self
        return Path(source.rushes, source.path)

    @property
    def has_picture(self) -> bool:
        """Whether the take has a picture."""
        return self.width > 0

    @property
    def has_sound(self) -> bool:
        """Whether the take has sound."""
        return self.sample_rate_hz is not None

    @property
    def channel_faults(self) -> tuple[ChannelFault, ...]:
        """What is wrong with its channels; nothing where it was not listened to."""
        return self.levels.channel_faults if self.levels is not None else ()

    @property
    def broken(self) -> tuple[Span, ...]:
        """Where its sound is missing; nowhere where it was not listened to."""
        return self.levels.broken if self.levels is not None else ()


def states_time(recorded: str | None) -> TypeGuard[str]:
    """Tell whether what is stated of a recording is more than its day.

    Parameters
    ----------
    recorded : str or None
        As `Take.recorded`.

    Returns
    -------
    bool
        Whether there is a time of day in it.

    Examples
    --------
    >>> states_time("2026-04-18T05:12"), states_time("2026-04-18"), states_time(None)
    (True, False, False)
    """
    return recorded is not None and "T" in recorded


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """A take that could not be read.

    Attributes
    ----------
    path : str
        Path below the rushes folder.
    reason : str
        One sentence: why, and what to do.
    """

    path: str
    reason: str

    @property
    def unread(self) -> str:
        """What is said where a user names the take."""
        return f"{self.path}: could not be read: {self.reason}"
