"""Training scenes, composed from the bank in the mel domain."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.learn.networks.starter_model import FRAMES_PER_STEP
from calltag.learn.starter.bank import Piece
from calltag.learn.starter.synth_calls import Rng, log_uniform
from calltag.records.label import NOISE_KINDS
from calltag.sound.spectrum import N_MELS, POWER_FLOOR

SCENE_FRAMES = 1600
"""Length of a scene in frames of 10 ms, unless it is to be another."""

CHANCE = {
    "machine": 0.36,
    "water": 0.36,
    "voice": 0.2,
    "wind": 0.2,
    "handling": 0.14,
    "other": 0.16,
}
"""How often a scene holds each kind of noise."""

SYNTHETIC_SHARE = {"machine": 0.35, "water": 0.2, "voice": 0.3, "other": 0.25, "call": 0.8}
"""How often a piece is synthetic where there are recordings of the kind as well. Of a kind that is
not named here it always is, whatever recordings there are."""


class Sound(NamedTuple):
    """A piece drawn from the bank.

    Attributes
    ----------
    power : np.ndarray, shape (n_frames, N_MELS), float32
        Mel power.
    active : np.ndarray, shape (n_frames,), bool
        Where it sounds.
    sort : int
        Position of its sort in `Bank.sorts`.
    """

    power: FloatArray
    active: npt.NDArray[np.bool_]
    sort: int


class Composed(NamedTuple):
    """A training scene and what is to be heard in it.

    Attributes
    ----------
    level_db : np.ndarray, shape (n_frames, N_MELS), float32
        The scene.
    call : np.ndarray, shape (n_frames // 2,), float32
        Where a call sounds, per 20 ms.
    kinds : np.ndarray, shape (n_frames // 2, len(NOISE_KINDS)), float32
        Which noise kinds sound, per 20 ms.
    sorts : np.ndarray, shape (n_frames // 2, n_sorts), float32
        Which sorts of noise and call sound, per 20 ms.
    weight : np.ndarray, shape (n_frames // 2,), float32
        How much each moment's `call` counts: less at a call's edges, and for calls under the noise.
    """

    level_db: FloatArray
    call: FloatArray
    kinds: FloatArray
    sorts: FloatArray
    weight: FloatArray


class Bank:
    """Pieces by kind, real and synthetic apart.

    Parameters
    ----------
    pieces : sequence of Piece
        All pieces.
    """

    def __init__(self, pieces: Sequence[Piece]) -> None:
        self._pieces: dict[tuple[str, bool], list[Sound]] = {}
        self.sorts = sorted({(piece.kind, piece.sort) for piece in pieces})
        for piece in pieces:
            power = np.power(np.float32(10), piece.mel.astype(np.float32) / 10)
            key = (piece.kind, piece.group != "")
            sound = Sound(power, piece.active, self.sorts.index((piece.kind, piece.sort)))
            self._pieces.setdefault(key, []).append(sound)

    def draw(self, rng: Rng, kind: str) -> Sound:
        """Draw a piece of a kind: its mel power, and where it sounds."""
        synthetic = rng.random() < SYNTHETIC_SHARE.get(kind, 1.0)
        pieces = self._pieces.get((kind, not synthetic)) or self._pieces[(kind, synthetic)]
        return pieces[rng.integers(len(pieces))]


def _curve(rng: Rng, n: int, points: int, spread: float) -> FloatArray:
    knots = rng.normal(0, spread, points)
    return np.interp(np.linspace(0, points - 1, n), np.arange(points), knots).astype(np.float32)


def _colour(rng: Rng) -> FloatArray:
    """Gain per band of another microphone or place."""
    return np.power(np.float32(10), _curve(rng, N_MELS, int(rng.integers(2, 7)), 0.4))


def _shifted(power: FloatArray, bands: int) -> FloatArray:
    """The same sound higher or lower by some bands."""
    if bands:
        power = np.roll(power, bands, axis=1)
        power[:, slice(0, bands) if bands > 0 else slice(bands, None)] = 0
    return power


def _again(rng: Rng, sound: Sound) -> Sound:
    """The same call at another pace and pitch, and of another colour."""
    n = max(2, int(len(sound.power) * np.exp(rng.normal(0, 0.12))))
    at = np.minimum((np.arange(n) * len(sound.power) / n).astype(int), len(sound.power) - 1)
    power = _shifted(sound.power[at], int(rng.integers(-3, 4)))
    return Sound(power * _colour(rng), sound.active[at], sound.sort)


def _fill(rng: Rng, bank: Bank, kind: str, n: int) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """A stretch of one kind of noise, pieces crossfaded; and which sorts of it sound."""
    out = np.zeros((n, N_MELS), np.float32)
    sorts = np.zeros((n, len(bank.sorts)), bool)
    at, fade = 0, 25
    while at < n:
        power, _, sort = bank.draw(rng, kind)
        first = int(rng.integers(0, max(1, len(power) - 200)))
        power = power[first : first + int(rng.integers(200, 1000))]
        power = _shifted(power, int(rng.integers(-2, 3))) * _colour(rng)
        power /= power.sum(axis=1).mean() + 1e-12
        weight = np.ones(len(power), np.float32)
        if at and len(power) > 2 * fade:
            weight[:fade] = np.linspace(0, 1, fade)
        if len(power) > 2 * fade:
            weight[-fade:] = np.linspace(1, 0, fade)
        m = min(len(power), n - at)
        out[at : at + m] += power[:m] * weight[:m, None]
        sorts[at : at + m, sort] = True
        at += max(fade, len(power) - fade)
        if kind in ("voice", "handling", "other") and rng.random() < 0.5:
            at += int(rng.exponential(120))
    if rng.random() < 0.35:  # it starts, or stops, or passes
        t = np.linspace(0, 1, n, dtype=np.float32)
        first, last = np.sort(rng.uniform(-0.3, 1.3, 2))
        ramp = log_uniform(rng, 0.002, 0.2)
        gate = np.clip((t - first) / ramp, 0, 1) * np.clip((last - t) / ramp, 0, 1)
        out *= gate[:, None].astype(np.float32)
    return out, sorts


def _smooth(power: FloatArray) -> FloatArray:
    """Mean over 0.32 s every 0.08 s."""
    steps = power.reshape(len(power) // 8, 8, -1).mean(axis=1)
    padded = np.pad(steps, ((2, 1), (0, 0)), "edge")
    return padded[:-3] + padded[1:-2] + padded[2:-1] + padded[3:]


def _add_calls(
    rng: Rng, bank: Bank, noise: FloatArray, sorts: FloatArray
) -> tuple[FloatArray, npt.NDArray[np.bool_], FloatArray]:
    """Put calls into noise: the scene, where a call sounds, and how much each moment counts."""
    n = len(noise)
    scene, call, weight = noise.copy(), np.zeros(n, bool), np.ones(n, np.float32)
    at = int(rng.uniform(10, 500)) if rng.random() < 0.78 else n
    gap, loud_db = rng.choice([40.0, 120.0, 300.0]), rng.uniform(-2, 22)
    voices = [bank.draw(rng, "call") for _ in range(rng.integers(1, 5))]  # the same animals again
    while at < n - 20:
        power, active, sort = _again(rng, voices[rng.integers(len(voices))])
        power, active = power[: n - at], active[: n - at]
        energy = np.cumsum(power.sum(axis=0))
        low, high = np.searchsorted(energy, np.array([0.05, 0.95]) * energy[-1])
        band = slice(max(0, low - 1), high + 2)
        here = noise[at : at + len(power), band].sum(axis=1).mean()
        own = power[active][:, band].sum(axis=1).mean()
        level_db = loud_db + rng.normal(0, 3)
        scene[at : at + len(power)] += power * np.float32(
            10 ** (level_db / 10) * here / (own + 1e-20)
        )
        call[at : at + len(power)] |= active
        sorts[at : at + len(power), sort][active] = 1
        if level_db < -3:
            weight[at : at + len(power)] = 0.2
        at += len(power) + 32 + int(rng.exponential(gap))

    for edge in np.flatnonzero(np.diff(call.astype(np.int8))):
        weight[max(0, edge - 1) : edge + 3] *= 0.4
    return scene, call, weight


def compose(rng: Rng, bank: Bank, *, n_frames: int = SCENE_FRAMES) -> Composed:
    """Compose one scene.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    bank : Bank
        What to compose from.
    n_frames : int
        Length of the scene, a multiple of eight.

    Returns
    -------
    Composed
        The scene.
    """
    n = n_frames
    parts = {"air": _fill(rng, bank, "air", n)[0] * np.float32(10 ** (rng.uniform(-6.5, -3.5)))}
    sorts_of: dict[str, npt.NDArray[np.bool_]] = {}
    for kind, chance in CHANCE.items():
        if rng.random() < chance:
            part, sorts_of[kind] = _fill(rng, bank, kind, n)
            if rng.random() < 0.3:  # two at once sound like a third
                other, other_sorts = _fill(rng, bank, kind, n)
                part = part + other * np.float32(10 ** rng.normal(0, 0.5))
                sorts_of[kind] |= other_sorts
            parts[kind] = part * np.float32(10 ** (rng.normal(-3.0, 0.9)))
    noise = np.zeros((n, N_MELS), np.float32)
    for part in parts.values():
        noise += part

    kinds = np.zeros((n, len(NOISE_KINDS)), np.float32)
    sorts = np.zeros((n, len(bank.sorts)), np.float32)
    whole = _smooth(noise)
    for kind, own_sorts in sorts_of.items():
        heard = (_smooth(parts[kind]) > 0.4 * whole).mean(axis=1) > 0.08
        heard = np.repeat(heard, 8)
        sorts[own_sorts & heard[:, None]] = 1
        if kind in NOISE_KINDS:
            kinds[:, NOISE_KINDS.index(kind)] = heard

    scene, call, weight = _add_calls(rng, bank, noise, sorts)
    level = 10 * np.log10(scene + 10 ** rng.uniform(-11, -8)) + rng.uniform(-30, 5)
    if rng.random() < 0.25:  # lossy sound loses its top
        level[:, int(rng.integers(48, N_MELS)) :] -= rng.uniform(10, 40)
    level = 10 * np.log10(10 ** (level / 10) + POWER_FLOOR)
    steps = (n // FRAMES_PER_STEP, FRAMES_PER_STEP)
    sounding = np.asarray(call.reshape(steps).any(axis=1), np.float32)
    return Composed(
        level.astype(np.float32),
        sounding,
        kinds.reshape(*steps, -1).max(axis=1),
        sorts.reshape(*steps, -1).max(axis=1),
        weight.reshape(steps).min(axis=1),
    )
