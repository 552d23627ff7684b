"""What was found in a take: calls, noise, what its picture is like, and all of it together."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from calltag.arrays import FloatArray
from calltag.records.label import CALL, NOISE_KINDS
from calltag.records.span import Span
from calltag.records.take import Take

HUM = "hum of the mains"
"""What the detail of a noise begins with that was told by the lines of mains hum."""


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
        Noise kinds heard at the same time, as `with_noise` tells them.
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


def with_noise(calls: Iterable[Call], noise: Sequence[NoiseSpan]) -> tuple[Call, ...]:
    """Tell with each call of a take which kinds of the take's noise sound at the same time.

    Parameters
    ----------
    calls : iterable of Call
        Calls of a take.
    noise : sequence of NoiseSpan
        Its noise.

    Returns
    -------
    tuple of Call
        The calls, each with the kinds, without their details, of the noise that it overlaps. Hum of
        the mains is left out: it lasts as long as the take, and notches take it out of every call.
    """
    of_kind = [(span.kind.partition("/")[0], span) for span in noise if not span.is_hum]
    edges = {}
    for kind in NOISE_KINDS:
        if spans := [span for its, span in of_kind if its == kind]:
            edges[kind] = sorted(s.start_s for s in spans), sorted(s.end_s for s in spans)
    # a kind sounds with a call if more of it begins before its end than ends before its start
    return tuple(
        replace(
            call,
            noise=tuple(
                kind
                for kind, (starts_s, ends_s) in edges.items()
                if bisect_left(starts_s, call.end_s) > bisect_right(ends_s, call.start_s)
            ),
        )
        for call in calls
    )


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
        The take.
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
