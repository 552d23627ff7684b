"""Scenes as sound, to calibrate and judge a trained model on.

Unlike what the model is trained on, these are sums of waveforms, a minute long, made of recordings
that the model has not heard and of calls invented anew.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.signal

from calltag.arrays import FloatArray
from calltag.learn.starter.bank import NOISE_MAKERS, at_other_speed
from calltag.learn.starter.recordings import Recording
from calltag.learn.starter.sounding import active_frames
from calltag.learn.starter.synth_calls import FAMILIES, Maker, Rng, phrase
from calltag.records.label import NOISE_KINDS
from calltag.records.span import Span
from calltag.sound.runs import runs
from calltag.sound.spectrum import FRAMES_PER_S, HOP, RATE_HZ

SCENE_S = 60
"""Length of a scene, unless it is to be another."""

_CALM_S = 8  # at the end of a scene nothing begins to call
SNRS_DB = (20.0, 10.0, 5.0, 0.0)
SHORT_S = (2.0, 12.0)
"""Shortest and longest of short takes."""

INVENTED = 0.6
"""Share of the calls that are invented, where there are recordings of calls as well."""


@dataclass(frozen=True, slots=True)
class Scene:
    """A scene and where its calls are.

    Attributes
    ----------
    samples : np.ndarray, shape (n,), float32
        The sound at `RATE_HZ`.
    calls : tuple of Span
        Where calls sound.
    background : str
        What it was made of.
    snr_db : float
        In-band level of the calls over the background.
    """

    samples: FloatArray
    calls: tuple[Span, ...]
    background: str
    snr_db: float


def _stretch(rng: Rng, clips: Sequence[Recording], n: int) -> FloatArray:
    """A continuous background from recordings of one kind, crossfaded with equal power.

    Each sounds once before any sounds again, and then at another speed: noise that repeats itself
    to the sample would be all too easy to expect.
    """
    fade = RATE_HZ // 4
    rise = np.sin(np.linspace(0, np.pi / 2, fade, dtype=np.float32))
    out = np.zeros(fade, np.float32)
    for piece in _in_turn(rng, clips):
        if len(piece) > 2 * fade:
            piece = piece / (piece.std() + 1e-9)
            out[-fade:] = out[-fade:] * rise[::-1] + piece[:fade] * rise
            out = np.concatenate([out, piece[fade:]])
        if len(out) >= n + fade:
            break
    return out[fade : n + fade]


def _in_turn(rng: Rng, clips: Sequence[Recording]) -> Iterator[FloatArray]:
    """The sound of recordings without end, never twice the same."""
    for i in rng.permutation(len(clips)):
        yield clips[i].samples
    while True:
        for i in rng.permutation(len(clips)):
            yield at_other_speed(clips[i].samples, float(np.exp(rng.normal(0, 0.1))))


def _band_rms(sound: FloatArray, band_hz: tuple[float, float]) -> float:
    sos = scipy.signal.butter(4, band_hz, "band", fs=RATE_HZ, output="sos")
    return float(np.sqrt((scipy.signal.sosfilt(sos, sound) ** 2).mean() + 1e-14))


def _band_of(sound: FloatArray) -> tuple[float, float]:
    """Where nine tenths of a sound's energy lie, a little widened."""
    energy = np.abs(np.fft.rfft(sound)) ** 2
    share = np.cumsum(energy) / (energy.sum() + 1e-20)
    hz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    low, high = (float(hz[np.searchsorted(share, at)]) for at in (0.05, 0.95))
    return max(60.0, 0.9 * low), min(20_000.0, 1.1 * high + 50)


def _background(rng: Rng, kind: str, recordings: Sequence[Recording], n: int) -> FloatArray:
    clips = [r for r in recordings if r.kind == kind]
    if clips and rng.random() < 0.75:
        return _stretch(rng, clips, n)
    makers = NOISE_MAKERS[kind]
    return makers[int(rng.integers(len(makers)))](rng, n)


def _spans(active: npt.NDArray[np.bool_], first: int = 0) -> list[Span]:
    """Stretches in which frames are active; the first of them is that frame of the scene."""
    return [Span((first + a) / FRAMES_PER_S, (first + b) / FRAMES_PER_S) for a, b in runs(active)]


def make_scene(
    rng: Rng,
    recordings: Sequence[Recording],
    background: str,
    snr_db: float,
    *,
    length_s: int = SCENE_S,
    invented: float = INVENTED,
    families: Sequence[tuple[Maker, float]] = FAMILIES,
) -> Scene:
    """Plant calls in a background.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    recordings : sequence of Recording
        Recordings to make it of.
    background : str
        A noise kind, ``"other"`` or ``"air"``.
    snr_db : float
        Level of the calls; nan for a scene without calls.
    length_s : int
        Its length.
    invented : float
        Share of its calls that are invented.
    families : sequence of tuple of callable and float
        What those are drawn from, and the weight of each.

    Returns
    -------
    Scene
        The scene.
    """
    n = length_s * RATE_HZ
    sound = _background(rng, background, recordings, n) + 0.03 * NOISE_MAKERS["air"][0](rng, n)
    sound *= np.float32(0.05)
    real = [r for r in recordings if r.kind == "call"]
    calls: list[Span] = []
    at_s = rng.uniform(1, 3) if np.isfinite(snr_db) else float(length_s)
    while at_s < length_s - _CALM_S:
        one = (
            phrase(rng, families)
            if rng.random() < invented or not real
            else real[int(rng.integers(len(real)))].samples
        )
        active = active_frames(one)
        on = np.flatnonzero(active)[: 6 * FRAMES_PER_S]
        if len(on) < 3:
            continue
        one, active = one[on[0] * HOP : (on[-1] + 1) * HOP], active[on[0] : on[-1] + 1]
        band, first = _band_of(one), round(at_s * FRAMES_PER_S)
        room = sound[first * HOP : first * HOP + len(one)]
        sounding = one[np.repeat(active, HOP)[: len(one)]]
        gain = 10 ** (snr_db / 20) * _band_rms(room, band) / _band_rms(sounding, band)
        sound[first * HOP : first * HOP + len(one)] += np.float32(gain) * one
        calls += _spans(active, first)
        at_s += len(one) / RATE_HZ + rng.uniform(1.0, 5.0)
    sound *= np.float32(0.5 / max(float(np.abs(sound).max()), 1e-6))
    return Scene(sound, tuple(calls), background, snr_db)


def make_scenes(
    rng: Rng, recordings: Sequence[Recording], per_kind: int, *, length_s: int = SCENE_S
) -> list[Scene]:
    """Make scenes over every kind of background, every level, and without calls.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    recordings : sequence of Recording
        Recordings to make them of.
    per_kind : int
        How many of each background at each level.
    length_s : int
        Length of each.

    Returns
    -------
    list of Scene
        The scenes.
    """
    return [
        make_scene(rng, recordings, background, snr_db, length_s=length_s)
        for background in (*NOISE_KINDS, "other", "air")
        for snr_db in (*SNRS_DB, float("nan"))
        for _ in range(per_kind)
    ]


def short_takes(rng: Rng, scenes: Sequence[Scene], per_scene: int) -> list[Scene]:
    """Cut short takes out of scenes: they begin and end anywhere, also within a call.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    scenes : sequence of Scene
        The scenes.
    per_scene : int
        How many takes of each.

    Returns
    -------
    list of Scene
        The takes, with what they have of the calls.
    """
    takes = []
    for scene in scenes:
        for _ in range(per_scene):
            length_s = np.exp(rng.uniform(*np.log(SHORT_S)))
            first = int(rng.uniform(0, len(scene.samples) / HOP - length_s * FRAMES_PER_S))
            start_s = first / FRAMES_PER_S
            whole = Span(start_s, start_s + length_s)
            calls = tuple(
                Span(max(0.0, call.start_s - start_s), min(whole.end_s, call.end_s) - start_s)
                for call in scene.calls
                if call.overlaps(whole)
            )
            samples = scene.samples[first * HOP : round(whole.end_s * RATE_HZ)]
            takes.append(Scene(samples, calls, scene.background, scene.snr_db))
    return takes


def recordings_alone(recordings: Sequence[Recording]) -> list[Scene]:
    """Take recordings as they are: what little silence or noise they have is their background.

    Parameters
    ----------
    recordings : sequence of Recording
        The recordings.

    Returns
    -------
    list of Scene
        One take for each; in those of calls, a call is where it is loud.
    """
    return [
        Scene(
            recording.samples,
            tuple(_spans(active_frames(recording.samples)) if recording.kind == "call" else ()),
            recording.kind,
            float("nan"),
        )
        for recording in recordings
    ]
