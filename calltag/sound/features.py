"""Features: one row of numbers that describes an event, for the tagger to learn from.

What each number is, is in `FEATURE_NAMES`. Any change to them, to their order, to the spectrum that
they are taken from, or to the starter model raises `FEATURE_VERSION`; models and logs of another
version are then told apart. `MEASURED_VERSION` stays when only the starter model changed.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from calltag.arrays import FloatArray
from calltag.sound import shape
from calltag.sound.beats.engine import listen_for_beat
from calltag.sound.events import Region
from calltag.sound.loud_frames import N_MFCC, LoudFrames, Shapes, shapes
from calltag.sound.modulation import OCTAVES_HZ, RATES_HZ, modulation_spectrum, texture
from calltag.sound.quantiles import quantiles
from calltag.sound.spectrum import FRAMES_PER_S, N_MELS, RATE_HZ, mel_power, to_db

FEATURE_VERSION = 6
"""Version of the whole row."""

MEASURED_VERSION = 3
"""Version of what the row holds beside the starter model's description."""

N_EMBEDDING = 64
"""Length of the starter model's description of each moment, which is part of the features."""

N_VOICE = 32
"""Numbers that `calltag.learn.networks.voice` makes of an event, part of the features."""

N_PROFILE = 32
MODULATION_EDGES_HZ = (1.5, 3.0, 5.0, 8.0, 12.0, 18.0, 26.0, 36.0, 50.0)

FEATURE_NAMES: tuple[str, ...] = (
    "log_duration",
    "log_low_hz",
    "log_high_hz",
    "log_peak_hz",
    "log_bandwidth",
    "log_centroid_mean",
    "log_centroid_std",
    "log_centroid_slope",
    "log_spread_mean",
    "log_rolloff_mean",
    "flatness_mean",
    "flatness_std",
    *(f"contrast_db_{i}" for i in range(len(shape.CONTRAST_EDGES_HZ) - 1)),
    "log_pitch_median",
    "log_pitch_std",
    "pitch_strength",
    "log_track_median",
    "log_track_std",
    "log_track_slope",
    "log_track_bend",
    "log_track_steps",
    "attack_share",
    "level_centre",
    "level_spread",
    "level_std_db",
    "onsets_per_s",
    "repetition_strength",
    "repetition_s",
    *(f"modulation_{low:g}_{high:g}_hz" for low, high in itertools.pairwise(MODULATION_EDGES_HZ)),
    *(f"profile_db_{i}" for i in range(N_PROFILE)),
    *(f"profile_std_db_{i}" for i in range(N_PROFILE // 2)),
    *(f"mfcc_mean_{i}" for i in range(N_MFCC)),
    *(f"mfcc_std_{i}" for i in range(N_MFCC)),
    *(f"mfcc_delta_{i}" for i in range(N_MFCC)),
    *(f"voice_{i}" for i in range(N_VOICE)),
    *(f"embedding_mean_{i}" for i in range(N_EMBEDDING)),
    *(f"embedding_max_{i}" for i in range(N_EMBEDDING)),
    "beat_lines",
    "beat_throb",
    "beat",
    *(f"texture_{octave:.0f}_hz_{rate:g}_hz" for octave in OCTAVES_HZ for rate in RATES_HZ),
)
"""What each feature is; frequencies and durations as base-2 logarithms."""

N_MEASURED = FEATURE_NAMES.index("embedding_mean_0")
"""Features before the starter model's description: of the event's own spectrum."""

VOICE = slice(N_MEASURED - N_VOICE, N_MEASURED)
"""Where in a row the numbers of its voice are."""

EMBEDDING = slice(N_MEASURED, N_MEASURED + 2 * N_EMBEDDING)
"""Where in a row the starter model's description is."""

BEAT = FEATURE_NAMES.index("beat")
"""Where in a row it says how much speaks for a machine that beats."""

BEATS_FROM_S = 2.0
"""Shorter events are not asked whether they beat like a machine; 0 stands for usual."""

_BEAT_S = 4.0  # in the middle of the event
_BEAT_LIMIT = 4.0
_FRAMES_AT_ONCE = 256  # of several events
_DEEPEST_DB = 50.0  # below the loudest band; what is fainter is as faint,
_DEEPEST_ONSET_DB = 40.0  # and sooner so where onsets are looked for
_STEEPEST = 6.0  # octaves through the event
_REPEATS_FRAMES = (6, 150)  # from one to the next
_PAST_LAG_0 = 0.2  # the autocorrelation's first peak ends where it falls below
_VOICED = 0.3  # strength of a pitch from which on it counts


def _log2(value: FloatArray | float) -> FloatArray:
    return np.log2(np.maximum(value, 1e-3)).astype(np.float32)


def _mean_std_slope(values: FloatArray, weight: FloatArray) -> tuple[float, float, float]:
    """Weighted mean, standard deviation and slope (over the whole length) of a track."""
    total = float(weight.sum()) + 1e-12
    mean = float(weight @ values) / total
    off = values - mean
    std = float(np.sqrt(weight @ np.square(off) / total))
    x = np.arange(len(values)) / max(1, len(values) - 1)
    x -= weight @ x / total
    weighted = weight * x
    slope = float(weighted @ off / (weighted @ x + 1e-9 * total))
    return mean, std, min(_STEEPEST, max(-_STEEPEST, slope)) if len(values) > 2 else 0.0


def _repetition(envelope_db: FloatArray) -> tuple[float, float]:
    """Strength and period in seconds of the best repetition between 60 ms and 1.5 s."""
    x = envelope_db - envelope_db.mean()
    energy = float((x * x).sum())
    if len(x) < 14 or energy <= 1e-9:
        return 0.0, 0.0
    spectrum = np.fft.rfft(x, 2 * len(x))
    shortest, longest = _REPEATS_FRAMES
    correlation = np.fft.irfft(np.abs(spectrum) ** 2)[: min(len(x) - 4, longest)] / energy
    dips = np.flatnonzero(correlation < _PAST_LAG_0)
    if not len(dips) or dips[0] + 1 >= len(correlation):
        return 0.0, 0.0
    first = max(shortest, int(dips[0]))
    if first >= len(correlation):
        return 0.0, 0.0
    best = first + int(correlation[first:].argmax())
    return float(correlation[best]), best / FRAMES_PER_S


def beats(sound: FloatArray) -> tuple[float, float, float]:
    """Measure how much an event beats like a machine.

    Parameters
    ----------
    sound : np.ndarray, shape (n_samples,), float32
        The event at `RATE_HZ`.

    Returns
    -------
    lines, throb, evidence : float
        As of `calltag.sound.beats.engine.Beat`; 0 for an event shorter than `BEATS_FROM_S`.
    """
    if len(sound) < BEATS_FROM_S * RATE_HZ:
        return 0.0, 0.0, 0.0
    first = max(0, len(sound) - round(_BEAT_S * RATE_HZ)) // 2
    beat = listen_for_beat(sound[first : first + round(_BEAT_S * RATE_HZ)], RATE_HZ)
    if beat is None:
        return 0.0, 0.0, 0.0
    lines, throb = np.clip([beat.lines, beat.throb], -_BEAT_LIMIT, _BEAT_LIMIT).tolist()
    return lines, throb, beat.evidence


class Sounding(NamedTuple):
    """What an event is described by.

    Attributes
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum of the event's frames.
    mel : np.ndarray, shape (n_frames, N_MELS)
        Their power in each mel band.
    region : Region
        The event; its excess has the same frames.
    voice : np.ndarray, shape (N_VOICE,)
        What the network of voices made of it.
    embedding : np.ndarray, shape (n_steps, N_EMBEDDING)
        What the starter model made of these moments.
    sound : np.ndarray, shape (n_samples,), float32
        The event at `RATE_HZ`; looked at where it is no shorter than `BEATS_FROM_S`.
    """

    power: FloatArray
    mel: FloatArray
    region: Region
    voice: FloatArray
    embedding: FloatArray
    sound: FloatArray


def event_features(events: Sequence[Sounding]) -> list[FloatArray]:
    """Describe events.

    Parameters
    ----------
    events : sequence of Sounding
        The events.

    Returns
    -------
    list of np.ndarray, shape (len(FEATURE_NAMES),), float32
        The features of each, all finite.
    """
    rows: list[FloatArray] = []
    for together in _together(events):
        loud = [LoudFrames.of(one.power, one.mel, one.region) for one in together]
        rows += map(_row, together, loud, shapes(loud))
    return rows


def _together(events: Sequence[Sounding]) -> Iterator[list[Sounding]]:
    """Events that follow on each other, as many as stay in the processor's cache."""
    together: list[Sounding] = []
    n_frames = 0
    for one in events:
        if together and n_frames + len(one.power) > _FRAMES_AT_ONCE:
            yield together
            together, n_frames = [], 0
        together.append(one)
        n_frames += len(one.power)
    if together:
        yield together


def _row(event: Sounding, loud: LoudFrames, like: Shapes) -> FloatArray:
    """Describe an event by its frames, and by what the loud ones are like."""
    power, _, region, voice, embedding, sound = event
    weight = loud.envelope / loud.envelope.max()
    mel_excess = mel_power(region.excess)
    profile = to_db(mel_excess[loud.at].mean(axis=0)).reshape(N_PROFILE, 2).max(axis=1)
    mel_excess_db = to_db(mel_excess)
    row = np.concatenate(
        [
            _extent(len(power), region),
            _colour(loud, like, weight[loud.at]),
            _melody(like, weight[loud.at]),
            _course(weight, mel_excess_db),
            modulation_spectrum(loud.envelope, MODULATION_EDGES_HZ),
            np.maximum(profile - profile.max(), -_DEEPEST_DB),
            np.maximum(mel_excess_db, mel_excess_db.max() - _DEEPEST_DB)
            .std(axis=0)
            .reshape(N_PROFILE // 2, N_MELS * 2 // N_PROFILE)
            .mean(axis=1),
            _cepstrum(like.cepstrum),
            voice,
            embedding.mean(axis=0),
            embedding.max(axis=0),
            beats(sound),
            texture(power).ravel(),
        ]
    )
    return np.where(np.isfinite(row), row, 0.0).astype(np.float32)


def _extent(n_frames: int, region: Region) -> list[FloatArray]:
    """Length and band, in octaves of a second and of a hertz."""
    return [
        _log2(n_frames / FRAMES_PER_S),
        _log2(region.low_hz),
        _log2(region.high_hz),
        _log2(region.peak_hz),
        _log2(region.high_hz / max(region.low_hz, 20.0)),
    ]


def _colour(loud: LoudFrames, like: Shapes, weight: FloatArray) -> FloatArray:
    """Shape of the spectrum in the loud frames: where it lies, how wide and how flat it is."""
    low, high = loud.band.start, loud.band.stop
    flat = shape.flatness(loud.power[:, low : max(high, low + 4)])
    return np.concatenate(
        [
            [
                *_mean_std_slope(_log2(like.centroid_hz), weight),
                _log2(float(like.bandwidth_hz.mean())),
                _log2(float(like.rolloff_hz.mean())),
                flat.mean(),
                flat.std(),
            ],
            like.contrast_db.mean(axis=0),
        ]
    )


def _melody(like: Shapes, weight: FloatArray) -> list[float]:
    """Pitch in the loud frames, and how the strongest bin goes up and down."""
    track = _log2(like.peak_hz)
    half = max(1, len(track) // 2)
    bend = (
        _mean_std_slope(track[:half], weight[:half])[2]
        - _mean_std_slope(track[half:], weight[half:])[2]
        if len(track) > 5
        else 0.0
    )
    strength = like.pitch_strength
    voiced = strength > _VOICED
    log_pitch = _log2(like.pitch_hz[voiced]) if voiced.any() else track
    return [
        *quantiles(log_pitch, 0.5),
        log_pitch.std(),
        (strength * weight).sum() / weight.sum(),
        *_mean_std_slope(track, weight),
        bend,
        np.abs(np.diff(track)).mean() if len(track) > 1 else 0.0,
    ]


def _course(weight: FloatArray, mel_excess_db: FloatArray) -> list[float]:
    """How loudness goes through the event: where it lies, how it swings, how often it begins."""
    level_db = 20 * np.log10(weight + 1e-3)
    at = np.arange(len(weight)) / max(1, len(weight) - 1)
    centre = float((weight * at).sum() / weight.sum())
    strength_db = shape.onset_strength(
        np.maximum(mel_excess_db, mel_excess_db.max() - _DEEPEST_ONSET_DB)
    )
    return [
        at[int(weight.argmax())],
        centre,
        float(np.sqrt((weight * (at - centre) ** 2).sum() / weight.sum())),
        level_db.std(),
        len(shape.onset_frames(strength_db)) * FRAMES_PER_S / len(weight),
        *_repetition(level_db),
    ]


def _cepstrum(cepstrum: FloatArray) -> FloatArray:
    """Mean, spread and pace of the cepstrum in the loud frames."""
    pace = np.abs(np.diff(cepstrum, axis=0)).mean(axis=0) if len(cepstrum) > 1 else np.zeros(N_MFCC)
    return np.concatenate([cepstrum.mean(axis=0), cepstrum.std(axis=0), pace])
