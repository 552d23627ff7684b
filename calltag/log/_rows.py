"""Records as rows of the log's tables, and rows as records.

Exact rates are stored as text (``30000/1001``), lists of words as JSON, measurements as
little-endian float32.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from calltag.records.found import Call, NoiseSpan, Picture
from calltag.records.span import Span
from calltag.records.take import ChannelFault, FaultKind, Levels, Take
from calltag.stored import known_or_nan, pack_features, unpack_features

TAKE_COLUMNS = (
    "path, rushes, digest, size_bytes, duration_s, fps, variable_rate, start_tc, time_reference, "
    "recorded, sample_rate_hz, channels, width, height, picture_s, "
    "peak_dbfs, clipped, loudness_lufs, floor_dbfs, channel, faults, broken, channel_faults"
)
CALL_COLUMNS = (
    "start_s, end_s, low_hz, high_hz, peak_hz, snr_db, level_dbfs, call_probability, "
    "label, confidence, features"
)
NOISE_COLUMNS = "start_s, end_s, kind, confidence, level_dbfs, low_hz, high_hz, detail, taught"
PICTURE_COLUMNS = (
    "start_s, end_s, drift_permille_per_s, jitter_permille, blur_permille, pixel_permille"
)


def marks(columns: str) -> str:
    """As many question marks as there are columns."""
    return ", ".join("?" * len(columns.split(", ")))


def take_row(take: Take) -> list[object]:
    """The columns of a take, in the order of `TAKE_COLUMNS`."""
    levels = take.levels
    return [
        take.path,
        take.rushes,
        take.digest,
        take.size_bytes,
        take.duration_s,
        None if take.fps is None else str(take.fps),
        take.variable_rate,
        take.start_tc,
        take.time_reference,
        take.recorded,
        take.sample_rate_hz,
        take.channels,
        take.width,
        take.height,
        take.picture_s,
        *(
            [None] * 8
            if levels is None
            else [
                levels.peak_dbfs,
                levels.clipped,
                levels.loudness_lufs,
                levels.floor_dbfs,
                levels.channel,
                json.dumps(levels.faults),
                json.dumps(levels.broken),
                json.dumps(levels.channel_faults),
            ]
        ),
    ]


def take_of(row: Sequence[Any]) -> Take:
    """The take of a row."""
    (
        path,
        rushes,
        digest,
        size_bytes,
        duration_s,
        fps,
        variable_rate,
        start_tc,
        time_reference,
        recorded,
        sample_rate_hz,
        channels,
        width,
        height,
        picture_s,
        peak_dbfs,
        clipped,
        loudness_lufs,
        floor_dbfs,
        channel,
        faults,
        broken,
        channel_faults,
    ) = row
    levels = None
    if channel is not None:
        levels = Levels(
            peak_dbfs=known_or_nan(peak_dbfs),
            clipped=clipped,
            loudness_lufs=known_or_nan(loudness_lufs),
            floor_dbfs=known_or_nan(floor_dbfs),
            channel=channel,
            faults=tuple(json.loads(faults)),
            channel_faults=tuple(
                ChannelFault(FaultKind(kind), tuple(channels), *more)
                for kind, channels, *more in json.loads(channel_faults)
            ),
            broken=tuple(Span(*span) for span in json.loads(broken)),
        )
    return Take(
        path=path,
        rushes=rushes,
        digest=digest,
        size_bytes=size_bytes,
        duration_s=duration_s,
        fps=None if fps is None else Fraction(fps),
        variable_rate=bool(variable_rate),
        start_tc=start_tc,
        time_reference=time_reference,
        recorded=recorded,
        sample_rate_hz=sample_rate_hz,
        channels=channels,
        width=width,
        height=height,
        picture_s=picture_s,
        levels=levels,
    )


def call_row(call: Call, label: str | None) -> list[object]:
    """The columns of a call, in the order of `CALL_COLUMNS`; a label given is the user's."""
    return [
        float(call.start_s),
        float(call.end_s),
        float(call.low_hz),
        float(call.high_hz),
        float(call.peak_hz),
        float(call.snr_db),
        float(call.level_dbfs),
        float(call.call_probability),
        call.label if label is None else label,
        float(call.confidence) if label is None else 1.0,
        None if call.features is None else pack_features(call.features),
    ]


def call_of(row: Sequence[Any]) -> Call:
    """The call of a row that begins with the label it was measured for; its noise is the take's."""
    label_id, start_s, end_s, *numbers, label, confidence, features = row
    low_hz, high_hz, peak_hz, snr_db, level_dbfs, call_probability = map(known_or_nan, numbers)
    return Call(
        start_s=start_s,
        end_s=end_s,
        low_hz=low_hz,
        high_hz=high_hz,
        peak_hz=peak_hz,
        snr_db=snr_db,
        level_dbfs=level_dbfs,
        call_probability=call_probability,
        label=label,
        confidence=known_or_nan(confidence),
        by_hand=label_id is not None,
        features=None if features is None else unpack_features(features),
    )


def noise_row(span: NoiseSpan) -> list[object]:
    """The columns of noise, in the order of `NOISE_COLUMNS`."""
    return [
        float(span.start_s),
        float(span.end_s),
        span.kind,
        float(span.confidence),
        float(span.level_dbfs),
        float(span.low_hz),
        float(span.high_hz),
        span.detail,
        span.taught,
    ]


def noise_of(row: Sequence[Any]) -> NoiseSpan:
    """The noise of a row."""
    start_s, end_s, kind, *numbers, detail, taught = row
    confidence, level_dbfs, low_hz, high_hz = map(known_or_nan, numbers)
    return NoiseSpan(
        start_s=start_s,
        end_s=end_s,
        kind=kind,
        confidence=confidence,
        level_dbfs=level_dbfs,
        low_hz=low_hz,
        high_hz=high_hz,
        detail=detail,
        taught=taught,
    )


def picture_row(picture: Picture) -> list[object]:
    """The columns of a picture, in the order of `PICTURE_COLUMNS`."""
    return [
        float(picture.start_s),
        float(picture.end_s),
        picture.drift_permille_per_s,
        picture.jitter_permille,
        picture.blur_permille,
        float(picture.pixel_permille),
    ]


def picture_of(row: Sequence[Any]) -> Picture:
    """The picture of a row."""
    start_s, end_s, drift, jitter, blur, pixel = row
    return Picture(
        start_s=start_s,
        end_s=end_s,
        drift_permille_per_s=drift,
        jitter_permille=jitter,
        blur_permille=blur,
        pixel_permille=pixel,
    )
