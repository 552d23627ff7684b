"""The story of a kept call: what it is, where, when and how it was recorded, who says so.

A cut carries its story inside its own file (`calltag.library.kept_file.sound_file`), so that the
file alone is enough, years later and on another computer. What is not known is empty, or None.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from typing import Any, NamedTuple

from calltag.arrays import FloatArray
from calltag.records.found import Call
from calltag.records.span import Span
from calltag.spelling import one_line
from calltag.stored import known_or_nan, pack_features, unpack_features

BY_HAND = "by hand"
"""`Story.labelled_by` where the user gave the label."""

_NAMESPACE = uuid.UUID("5b1d3d5c-6a0e-5a55-9a54-1f1f0c7e9a11")


class Heard(NamedTuple):
    """The same moment in another take, which another camera recorded."""

    digest: str
    take: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What the user knows of a recording and no file states.

    Attributes
    ----------
    species : str
        The animal, as the user writes it.
    behaviour : str
        What it did.
    sex, life_stage : str
        As the user writes them: ``male``, ``juvenile``.
    place : str
        Where it was.
    latitude, longitude : float or None
        The same in degrees of WGS 84.
    date : str or None
        Day of the recording, ISO 8601, where the take does not state it.
    recordist, equipment : str
        Who recorded it, and with what.
    rights : str
        Who owns it, and on what terms it may be used.
    """

    species: str = ""
    behaviour: str = ""
    sex: str = ""
    life_stage: str = ""
    place: str = ""
    latitude: float | None = None
    longitude: float | None = None
    date: str | None = None
    recordist: str = ""
    equipment: str = ""
    rights: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """All that is known of a kept call.

    Attributes
    ----------
    id : str
        A UUID made of the take's content and the samples that were cut: the same cut has the same.
    label : str
        Its call type; `calltag.records.label.CALL` where that is not known.
    species, behaviour, sex, life_stage, place, recordist, equipment, rights : str
        As in `Facts`.
    latitude, longitude : float or None
        As in `Facts`.
    recorded : str or None
        When the call began, ISO 8601, as exact as it is known.
    rate_hz, channels, n_samples : int
        Sampling rate, channels and length of the file.
    call_start_s, call_end_s : float
        The call, in seconds of the file.
    take, take_digest : str
        The take that it was cut from: path below the rushes, and identity of the content.
    source_start_s, source_end_s : float
        The call, in seconds of the take.
    first_sample : int
        The sample of the take that the file begins with.
    start_tc : str
        Source timecode of the frame that the call begins in; empty where the take states no clock.
    frame_rate : str
        Frames per second that it counts at, exact: ``30000/1001``.
    low_hz, high_hz, peak_hz : float or None
        Its band and its strongest frequency.
    snr_db, level_dbfs : float or None
        Level over the background, and level, both in its own band.
    loudness_lufs, true_peak_dbtp : float or None
        Of the whole file, by EBU R 128; no loudness for less than 0.4 s.
    noise : tuple of str
        Noise kinds heard with it.
    labelled_by : str
        `BY_HAND`, or the model that named it; empty where no type is known.
    confidence : float
        How sure the label is, 0 to 1.
    also_heard : tuple of Heard
        The same moment in takes of other cameras.
    feature_version : int
        Version of `features`; 0 where there are none.
    features : np.ndarray, shape (n_features,), float32, or None
        Measurements that call types are learnt from.
    sound_hash : str
        SHA-256 of the samples as bytes: interleaved, little-endian, as they are stored.
    """

    id: str
    label: str
    rate_hz: int
    channels: int
    n_samples: int
    call_start_s: float
    call_end_s: float
    take: str
    take_digest: str
    source_start_s: float
    source_end_s: float
    first_sample: int
    start_tc: str = ""
    frame_rate: str = "25"
    species: str = ""
    behaviour: str = ""
    sex: str = ""
    life_stage: str = ""
    place: str = ""
    latitude: float | None = None
    longitude: float | None = None
    recorded: str | None = None
    recordist: str = ""
    equipment: str = ""
    rights: str = ""
    low_hz: float | None = None
    high_hz: float | None = None
    peak_hz: float | None = None
    snr_db: float | None = None
    level_dbfs: float | None = None
    loudness_lufs: float | None = None
    true_peak_dbtp: float | None = None
    noise: tuple[str, ...] = ()
    labelled_by: str = ""
    confidence: float = 0.0
    also_heard: tuple[Heard, ...] = ()
    feature_version: int = 0
    features: FloatArray | None = field(default=None, repr=False, compare=False)
    sound_hash: str = ""

    @property
    def duration_s(self) -> float:
        """Length of the file in seconds."""
        return self.n_samples / self.rate_hz

    @property
    def call(self) -> Span:
        """The call, in seconds of the file."""
        return Span(self.call_start_s, self.call_end_s)

    @property
    def source(self) -> Span:
        """The call, in seconds of the take."""
        return Span(self.source_start_s, self.source_end_s)

    @property
    def by_hand(self) -> bool:
        """Whether the user gave the label."""
        return self.labelled_by == BY_HAND


def call_of(story: Story) -> Call:
    """Make the record of a kept call that the rest of calltag works with.

    Parameters
    ----------
    story : Story
        Its story.

    Returns
    -------
    Call
        The call, in seconds of its file.
    """
    return Call(
        start_s=story.call_start_s,
        end_s=story.call_end_s,
        low_hz=known_or_nan(story.low_hz),
        high_hz=known_or_nan(story.high_hz),
        peak_hz=known_or_nan(story.peak_hz),
        snr_db=known_or_nan(story.snr_db),
        level_dbfs=known_or_nan(story.level_dbfs),
        call_probability=1.0,
        label=story.label,
        confidence=story.confidence,
        noise=story.noise,
        by_hand=story.by_hand,
        features=story.features,
    )


def cut_id(take_digest: str, first_sample: int, n_samples: int) -> str:
    """Name a cut by what it is a cut of.

    Parameters
    ----------
    take_digest : str
        Identity of the take's content.
    first_sample, n_samples : int
        Where in the take, and how long.

    Returns
    -------
    str
        A UUID of version 5 (RFC 9562).
    """
    return str(uuid.uuid5(_NAMESPACE, f"{take_digest} {first_sample} {n_samples}"))


def tidy(story: Story) -> Story:
    """Bring a story into the form that every file can hold: text on one line, known numbers.

    Parameters
    ----------
    story : Story
        A story.

    Returns
    -------
    Story
        The same, without line ends and control characters; numbers that are not finite are None.
    """
    changes: dict[str, Any] = {}
    for each in fields(story):
        value = getattr(story, each.name)
        if isinstance(value, str):
            changes[each.name] = one_line(value)
        elif isinstance(value, float):
            number = float(value)
            changes[each.name] = number if math.isfinite(number) else None
    changes["noise"] = tuple(one_line(kind) for kind in story.noise)
    changes["also_heard"] = tuple(
        Heard(one_line(one.digest), one_line(one.take), float(one.start_s), float(one.end_s))
        for one in story.also_heard
    )
    return replace(story, **changes)


def to_plain(story: Story, *, features: bool = True) -> dict[str, Any]:
    """Turn a story into what JSON can hold.

    Parameters
    ----------
    story : Story
        A story.
    features : bool
        Whether to put its measurements in, as base64 of little-endian float32.

    Returns
    -------
    dict
        By the names of the attributes; what is empty is left out.
    """
    plain = {each.name: getattr(story, each.name) for each in fields(story)}
    plain["features"] = None
    if features and story.features is not None:
        plain["features"] = base64.b64encode(pack_features(story.features)).decode("ascii")
    return {name: value for name, value in plain.items() if value not in (None, "", ())}


def from_plain(plain: Mapping[str, Any]) -> Story:
    """Make a story of what `to_plain` made of one.

    Parameters
    ----------
    plain : mapping
        By the names of the attributes; others are passed over.

    Returns
    -------
    Story
        The story.

    Raises
    ------
    ValueError, TypeError
        If something is missing, or cannot be what stands there.
    """
    values = {name: value for name, value in plain.items() if name in _KINDS}
    values["noise"] = tuple(values.get("noise", ()))
    values["also_heard"] = tuple(Heard(*one) for one in values.get("also_heard", ()))
    if (packed := values.get("features")) is not None:
        values["features"] = unpack_features(base64.b64decode(packed, validate=True))
    story = Story(**values)
    fit = all(_fits(value, _KINDS[name]) for name, value in values.items())
    if not (fit and _can_be(story)):
        raise ValueError("something in it cannot be what stands there")
    return story


_NUMBER, _NONE = (int, float), type(None)
_OF_DECLARED: dict[Any, Any] = {
    "str": str,
    "str | None": (str, _NONE),
    "int": int,
    "float": _NUMBER,
    "float | None": (*_NUMBER, _NONE),
}
_KINDS = {each.name: _OF_DECLARED.get(each.type, object) for each in fields(Story)}
"""What each attribute may be, by the type that it is declared with."""


def _can_be(story: Story) -> bool:
    """Whether what is within a story's attributes can be: damage may have changed it."""
    return (
        all((story.id, story.label, story.take, story.take_digest))
        and all(_fits(kind, str) for kind in story.noise)
        and all(
            _fits(one.digest, str)
            and _fits(one.take, str)
            and all(_fits(at, _NUMBER) for at in one[2:])
            for one in story.also_heard
        )
        and min(story.rate_hz, story.channels, story.n_samples) > 0
        and _is_frame_rate(story.frame_rate)
    )


def _fits(value: object, kind: Any) -> bool:
    """Whether a value is of a kind, and SQLite can store it: 64 bits, and valid Unicode."""
    if isinstance(value, float) and not math.isfinite(value):
        return False
    if isinstance(value, int) and abs(value) >= 2**63:
        return False
    if isinstance(value, str) and value.encode("utf-8", "ignore").decode("utf-8") != value:
        return False
    return isinstance(value, kind)


def _is_frame_rate(text: str) -> bool:
    try:
        return Fraction(text) > 0
    except (ValueError, ZeroDivisionError):
        return False


def checksum(story: Story) -> str:
    """Sum a story up, so that damage to it shows.

    Parameters
    ----------
    story : Story
        A story.

    Returns
    -------
    str
        SHA-256 of its canonical JSON, in hexadecimal digits.
    """
    text = json.dumps(to_plain(story), sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("ascii")).hexdigest()
