"""The bank: pieces of sound, as mel power, that training scenes are put together from.

Scenes are composed from pieces as sums of mel power. That leaves out the cross terms of a sum of
waveforms, which average to nothing over a band, and lets every training step see scenes that were
never seen before at hardly any cost.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.learn.starter import synth_noise
from calltag.learn.starter.recordings import Recording
from calltag.learn.starter.sounding import active_frames
from calltag.learn.starter.synth_calls import Rng, phrase
from calltag.sound.spectrum import HOP, RATE_HZ, mel_power, power_spectrum

PIECE_S = 20

NOISE_MAKERS: dict[str, tuple[Callable[[Rng, int], FloatArray], ...]] = {
    "machine": (synth_noise.engine, synth_noise.engine, synth_noise.aircraft),
    "wind": (synth_noise.wind,),
    "water": (synth_noise.drops, synth_noise.waves),
    "voice": (synth_noise.murmur,),
    "handling": (synth_noise.handling,),
    "other": (synth_noise.hum,),
    "air": (synth_noise.air,),
}


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of sound as mel power.

    Attributes
    ----------
    kind : str
        A kind of recording, or ``air``.
    sort : str
        What it is of its kind: a recording's, or the maker of a synthetic piece.
    group : str
        Group of the recording it comes from; empty for a synthetic piece.
    mel : np.ndarray, shape (n_frames, N_MELS), float16
        Level in dB.
    active : np.ndarray, shape (n_frames,), bool
        For a call: where it sounds.
    """

    kind: str
    sort: str
    group: str
    mel: npt.NDArray[np.float16]
    active: npt.NDArray[np.bool_]


def _piece(kind: str, sort: str, sound: FloatArray, *, group: str = "") -> Piece:
    sound = sound / (np.abs(sound).max() + 1e-9)
    n = len(sound) // HOP
    mel = mel_power(power_spectrum(sound[: n * HOP]))[:n]
    level = 10 * np.log10(mel + 1e-10)
    active = active_frames(sound[: n * HOP]) if kind == "call" else np.ones(n, bool)
    on = np.flatnonzero(active)
    kept = slice(on[0], on[-1] + 1)
    return Piece(kind, sort, group, level[kept].astype(np.float16), active[kept])


def at_other_speed(sound: FloatArray, factor: float) -> FloatArray:
    """Play a sound so many times as fast, and as much higher."""
    at = np.arange(0, len(sound) - 1, factor)
    return np.interp(at, np.arange(len(sound)), sound).astype(np.float32)


def synthetic_pieces(rng: Rng, *, phrases: int, noises: int) -> list[Piece]:
    """Make invented calls and synthetic noise.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    phrases : int
        How many phrases of calls.
    noises : int
        How many stretches of `PIECE_S` seconds of each kind of noise.

    Returns
    -------
    list of Piece
        The pieces.
    """
    pieces = [_piece("call", "phrase", phrase(rng)) for _ in range(phrases)]
    for kind, makers in NOISE_MAKERS.items():
        for i in range(noises):
            maker = makers[i % len(makers)]
            pieces.append(_piece(kind, maker.__name__, maker(rng, PIECE_S * RATE_HZ)))
    return pieces


def real_pieces(rng: Rng, recordings: Sequence[Recording], *, variants: int) -> list[Piece]:
    """Turn recordings into pieces, each at several speeds.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    recordings : sequence of Recording
        The recordings.
    variants : int
        Versions of each: one as it is, the others a little faster or slower.

    Returns
    -------
    list of Piece
        The pieces.
    """
    pieces = []
    for recording in recordings:
        spread = 0.1 if recording.kind == "voice" else 0.2
        for variant in range(variants):
            factor = 1.0 if variant == 0 else float(np.exp(rng.normal(0, spread)))
            sound = at_other_speed(recording.samples[: PIECE_S * RATE_HZ], factor)
            pieces.append(_piece(recording.kind, recording.sort, sound, group=recording.group))
    return pieces
