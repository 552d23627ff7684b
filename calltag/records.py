"""The records that pass between the parts of calltag.

Conventions, here and everywhere: seconds count from the take's first picture, or its first sample
where it has none (timecode is `calltag.media.clock`'s); frequencies are hertz; levels are decibels
relative to full scale (dBFS, a full-scale sine peaks at 0); a span holds its start and not its end.
All records are frozen.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray: TypeAlias = npt.NDArray[np.float32]
else:  # half of the time that `--help` takes would go into numpy
    FloatArray = "npt.NDArray[np.float32]"

CALL = "call"
"""The label of a call whose type is not known."""

NO_CALL = "no call"
"""The label a user gives to a find that is no call."""

LIKELY = 0.5
"""A find whose label is at least this sure counts as a call; less sure ones are doubtful."""

EMPTY_TRACK = "its sound track is empty"
"""The fault of a take whose streams of sound hold nothing."""

HUM = "hum of the mains"
"""What the detail of a noise begins with that was told by the lines of mains hum."""

NOISE_KINDS = ("machine", "wind", "water", "voice", "handling")
"""Kinds of noise; a user's label may add a detail: ``machine/hedge trimmer``."""


class Span(NamedTuple):
    """A stretch of a take: from `start_s` up to, not including, `end_s`."""

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s

    @property
    def middle_s(self) -> float:
        """The middle of it."""
        return (self.start_s + self.end_s) / 2


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
    """Something wrong with a take's channels; `calltag.sound.faults` says it.

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


class Usable(NamedTuple):
    """A usable stretch of a take, and in plain words what its sound can be used for."""

    start_s: float
    end_s: float
    purpose: str

    @property
    def length_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """What one pass over a take's sound measured of the whole of it.

    Attributes
    ----------
    peak_dbfs : float
        Highest sample of any channel; ``-inf`` for digital silence.
    clipped : int
        Samples in runs at full scale, all channels.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """A found animal sound.

    Attributes
    ----------
    start_s, end_s : float
        Its ends.
    low_hz, high_hz : float
        The band that holds it.
    peak_hz : float
        Its strongest frequency.
    snr_db : float
        Level over the local background, in its own band.
    level_dbfs : float
        RMS level in its own band.
    call_probability : float
        Calibrated probability that it is a call at all.
    label : str
        Its call type; `CALL` until a type is learnt.
    confidence : float
        Calibrated probability of `label`.
    noise : tuple of str
        Noise kinds heard at the same time.
    by_hand : bool
        Whether the label was given by the user, not by a model.
    features : np.ndarray, shape (n_features,), float32, or None
        Measurements in the order of `calltag.sound.features.FEATURE_NAMES`.
    """

    start_s: float
    end_s: float
    low_hz: float
    high_hz: float
    peak_hz: float
    snr_db: float
    level_dbfs: float
    call_probability: float
    label: str = CALL
    confidence: float = 0.0
    noise: tuple[str, ...] = ()
    by_hand: bool = False
    features: FloatArray | None = field(default=None, repr=False, compare=False)

    @property
    def span(self) -> Span:
        """Its ends as a span."""
        return Span(self.start_s, self.end_s)

    @property
    def sureness(self) -> float:
        """How sure its label is: 1 where the user gave it, of `CALL` that it is a call at all."""
        if self.by_hand:
            return 1.0
        return self.call_probability if self.label == CALL else self.confidence


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseSpan:
    """A stretch with one kind of noise in it.

    Attributes
    ----------
    start_s, end_s : float
        Its ends.
    kind : str
        One of `NOISE_KINDS`, with or without a detail after ``/``.
    confidence : float
        Probability that the kind is right.
    level_dbfs : float
        RMS level of the sound in the noise's band.
    low_hz, high_hz : float
        The band that holds most of it.
    detail : str
        What else was measured, in plain words; may be empty.
    taught : str
        What a taught model calls an excerpt of it; empty where none was asked.
    """

    start_s: float
    end_s: float
    kind: str
    confidence: float
    level_dbfs: float
    low_hz: float
    high_hz: float
    detail: str = ""
    taught: str = ""

    @property
    def span(self) -> Span:
        """Its ends as a span."""
        return Span(self.start_s, self.end_s)

    @property
    def is_hum(self) -> bool:
        """Whether it is hum of the mains, told by its lines, which notches take out."""
        return self.detail.startswith(HUM)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What was measured of a take's picture, over some frames.

    Attributes
    ----------
    start_s, end_s : float
        The first frame, and the last.
    drift_permille_per_s : float or None
        Speed of even movement (a pan), in thousandths of the picture's width a second; None where
        movement cannot be told from what the picture shows.
    jitter_permille : float or None
        Uneven movement (vibration), root mean square in thousandths of the picture's width; None as
        before.
    blur_permille : float or None
        Blur of the sharpest edges, as the standard deviation of a Gaussian, in thousandths of the
        picture's width; None where there is no edge to measure.
    pixel_permille : float
        Width of a pixel as it was measured: what blur can be told apart.
    """

    start_s: float
    end_s: float
    drift_permille_per_s: float | None
    jitter_permille: float | None
    blur_permille: float | None
    pixel_permille: float

    @property
    def middle_s(self) -> float:
        """The middle of what was measured."""
        return (self.start_s + self.end_s) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeLog:
    """All that the log holds of one take.

    Attributes
    ----------
    take : Take
        The clip.
    calls : tuple of Call
        What was found, in order of start.
    noise : tuple of NoiseSpan
        Noise, in order of start; spans of different kinds may overlap.
    pictures : tuple of Picture
        What was measured of its picture so far, in order of start; mostly nothing.
    """

    take: Take
    calls: tuple[Call, ...] = ()
    noise: tuple[NoiseSpan, ...] = ()
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What a user said of a stretch of a take.

    Attributes
    ----------
    take : str
        Path of the take below the rushes folder.
    start_s, end_s : float
        The stretch.
    label : str
        A call type, a noise kind with or without detail, or `NO_CALL`.
    group : str or None
        What validation leaves out together; None means the take.
    """

    take: str
    start_s: float
    end_s: float
    label: str
    group: str | None = None

    @property
    def span(self) -> Span:
        """Its ends as a span."""
        return Span(self.start_s, self.end_s)


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What a take's sound is good for.

    Attributes
    ----------
    grade : str
        ``"clean"``, ``"part"`` or ``"picture-only"``.
    usable : tuple of Usable
        Usable stretches, in order, none overlapping another.
    reasons : tuple of str
        Why, in plain words; never empty.
    """

    grade: str
    usable: tuple[Usable, ...]
    reasons: tuple[str, ...]

    @property
    def clean_s(self) -> float:
        """Seconds of usable sound."""
        return sum(stretch.length_s for stretch in self.usable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Alignment:
    """How two takes that heard the same moment lie against each other.

    What take A heard at `a_s` of its own seconds, take B heard at
    ``(a_s - offset_s) * (1 + drift_ppm / 1e6)`` of its own.

    Attributes
    ----------
    take_a, take_b : str
        Paths of the takes below the rushes folder.
    offset_s : float
        Where take B begins, in seconds of take A; below zero where B began first.
    drift_ppm : float
        By how many millionths take B's clock is faster than take A's.
    confidence : float
        Probability that the takes heard the same moment, so laid; from 0 to 1.
    overlap_s : float
        Length of what both heard.

    Examples
    --------
    >>> pair = Alignment(take_a="A001.mov", take_b="B001.mov", offset_s=5.0, drift_ppm=100.0,
    ...                  confidence=1.0, overlap_s=20.0)
    >>> round(pair.in_b(15.0), 4), round(pair.in_a(10.001), 4)
    (10.001, 15.0)
    """

    take_a: str
    take_b: str
    offset_s: float
    drift_ppm: float
    confidence: float
    overlap_s: float

    def in_b(self, a_s: float) -> float:
        """Turn seconds of take A into seconds of take B.

        Parameters
        ----------
        a_s : float
            A time in take A.

        Returns
        -------
        float
            When take B heard the same; outside the take where it did not run.
        """
        return (a_s - self.offset_s) * (1 + self.drift_ppm / 1e6)

    def in_a(self, b_s: float) -> float:
        """Turn seconds of take B into seconds of take A.

        Parameters
        ----------
        b_s : float
            A time in take B.

        Returns
        -------
        float
            When take A heard the same; outside the take where it did not run.
        """
        return b_s / (1 + self.drift_ppm / 1e6) + self.offset_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """A named span of a take, for the edit.

    Attributes
    ----------
    start_s, end_s : float
        The span; equal for a point.
    name : str
        What the editor reads.
    comment : str
        More about it; may be empty.
    kind : str
        ``"call"``, ``"usable"`` or ``"noise"``.
    confidence, snr_db : float or None
        As in `Call`; None where they do not apply.
    call : Call or None
        The call that it marks, as logged; None where it marks something else.
    """

    start_s: float
    end_s: float
    name: str
    comment: str = ""
    kind: str = "call"
    confidence: float | None = None
    snr_db: float | None = None
    call: Call | None = None
