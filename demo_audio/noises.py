"""The air over Ashmere, and what spoils a take there. All of it is computed.

Makers give samples of a stated length, and those whose noise comes and goes also the spans, in
seconds, in which it is there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from air import (
    RATE_HZ,
    Samples,
    at_level,
    band_gain,
    filtered,
    pink_gain,
    shaped_noise,
    swell,
    through,
    wander,
)
from scipy import signal

Spans = list[tuple[float, float]]
Points = tuple[tuple[float, float], ...]


def lakeside(rng: np.random.Generator, n_samples: int, level_dbfs: float) -> Samples:
    """Make quiet air by the water: soft broadband that moves slowly, a far rumble, lapping.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    n_samples : int
        Length.
    level_dbfs : float
        Level of the whole.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The air.
    """
    air = shaped_noise(rng, n_samples, lambda hz: pink_gain(hz) * band_gain(60, 14_000, 2)(hz))
    air = at_level(air, 0) * 10 ** (1.2 * wander(rng, n_samples, 0.4) / 20)
    rumble = shaped_noise(rng, n_samples, band_gain(45, 160, 1.5))
    rumble = at_level(rumble, -3) * 10 ** (2 * wander(rng, n_samples, 0.25) / 20)
    reeds = shaped_noise(rng, n_samples, band_gain(2500, 9000, 1.5))
    reeds = at_level(reeds, -17) * 10 ** (3 * wander(rng, n_samples, 0.7) / 20)
    return at_level(air + rumble + reeds + lapping(rng, n_samples, -9), level_dbfs)


def lapping(rng: np.random.Generator, n_samples: int, level_dbfs: float) -> Samples:
    """Make small waves at the edge: a soft swash every second or two, with bubbles in it.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    n_samples : int
        Length.
    level_dbfs : float
        Level of the whole.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The lapping.
    """
    wash = at_level(shaped_noise(rng, n_samples, band_gain(250, 1400, 1.6)), -8)
    water = np.zeros(n_samples)
    at_s = rng.uniform(0, 0.8)
    while (begin := round(at_s * RATE_HZ)) < n_samples:
        n = min(round(rng.uniform(0.5, 1.3) * RATE_HZ), n_samples - begin)
        strength = rng.uniform(0.3, 1)
        water[begin : begin + n] += strength * wash[begin : begin + n] * swell(n, 0.22, 0.5) ** 2
        for _ in range(int(rng.integers(3, 11))):
            bubble_at = begin + round(rng.beta(2, 3) * n)
            _add(water, strength * _bubble(rng), bubble_at)
        at_s += rng.uniform(0.7, 2.0)
    return at_level(water, level_dbfs)


def plop(rng: np.random.Generator) -> Samples:
    """Make the plop of a fish or a drip: a few bubbles close together.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The plop, 0.25 s, peak 1.
    """
    samples = np.zeros(RATE_HZ // 4)
    samples[:960] = 0.25 * rng.standard_normal(960) * swell(960, 0.001, 0.018)
    samples = filtered(samples, band_gain(300, 2600, 2))
    for i in range(3):
        _add(
            samples,
            0.7**i * _bubble(rng),
            round((0.012 + 0.03 * i * rng.uniform(0.7, 1.3)) * RATE_HZ),
        )
    return samples / float(np.abs(samples).max()) * swell(samples.size, 0.001, 0.05)


def engine(
    rng: np.random.Generator,
    n_samples: int,
    rpm: Points,
    *,
    cycles_per_turn: float,
    resonances: tuple[tuple[float, float, float], ...],
) -> tuple[Samples, Samples]:
    """Make the exhaust of a one-cylinder engine: a comb over the firing rate, no two shots alike.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    n_samples : int
        Length.
    rpm : tuple of (float, float)
        Seconds and crankshaft turns per minute there, with a smooth way from one to the next.
    cycles_per_turn : float
        1 for a two-stroke, 0.5 for a four-stroke.
    resonances : tuple of (float, float, float)
        Centre in Hz, width in Hz and gain of what the exhaust and the housing let ring.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The exhaust; louder when it turns faster.
    np.ndarray, shape (n_samples,)
        The firing rate in Hz.
    """
    length_s = n_samples / RATE_HZ
    firing_hz = cycles_per_turn / 60 * through(n_samples, *((t / length_s, r) for t, r in rpm))
    firing_hz = firing_hz * (
        1 + 0.012 * wander(rng, n_samples, 3) + 0.006 * wander(rng, n_samples, 14)
    )
    turned = np.cumsum(firing_hz) / RATE_HZ
    cycle = turned.astype(np.int64)
    shots = np.zeros(n_samples)
    fired = np.flatnonzero(np.diff(cycle)) + 1
    strength = 1 + 0.22 * rng.standard_normal(fired.size)
    shots[fired] = strength * (firing_hz[fired] / firing_hz.max()) ** 1.2
    crack = np.zeros(round(0.0031 * RATE_HZ))
    for length_s, gain in ((0.0031, 1.0), (0.0013, 0.5), (0.0005, 0.25)):
        piece = np.diff(np.hanning(round(length_s * RATE_HZ)), prepend=0.0)
        crack[: piece.size] += gain * piece / np.abs(piece).max()
    shots = signal.fftconvolve(shots, crack)[:n_samples]
    hiss = rng.standard_normal(n_samples) * (1 - turned % 1) ** 3 * (firing_hz / firing_hz.max())
    source = shots + 0.05 * hiss
    exhaust = 0.25 * source
    for centre_hz, width_hz, gain in resonances:
        b, a = signal.iirpeak(centre_hz, centre_hz / width_hz, fs=RATE_HZ)
        exhaust += gain * signal.lfilter(b, a, source)
    return filtered(exhaust, band_gain(35, 12_000, 1.5)), firing_hz


def hedge_trimmer(
    rng: np.random.Generator, n_samples: int, rpm: Points, level_dbfs: float
) -> Samples:
    """Make a hedge trimmer: a one-cylinder two-stroke, and the rasp of its blades.

    It idles at 2800 rpm and goes up to 9000: common practice.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    n_samples : int
        Length.
    rpm : tuple of (float, float)
        The throttle's movements: seconds, turns per minute.
    level_dbfs : float
        Level of the whole.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The trimmer, close to.
    """
    exhaust, firing_hz = engine(
        rng,
        n_samples,
        rpm,
        cycles_per_turn=1,
        resonances=((210, 120, 1.0), (640, 260, 0.7), (1500, 600, 0.35)),
    )
    # The blades are geared down, two strokes to their turn, and only grip above the clutch's speed.
    strokes = 2 * np.cumsum(firing_hz) / RATE_HZ / 4.6
    grip = np.clip((firing_hz - 62) / 45, 0, 1)
    clatter = shaped_noise(rng, n_samples, band_gain(2300, 6500, 2))
    blades = at_level(clatter, -6) * (0.35 + np.abs(np.sin(np.pi * strokes)) ** 6) * grip
    return at_level(at_level(exhaust, 0) + 0.28 * blades, level_dbfs)


def outboard(rng: np.random.Generator, n_samples: int, level_dbfs: float) -> Samples:
    """Make a small outboard far off: a one-cylinder four-stroke at some 5000 rpm, and its wash.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    n_samples : int
        Length.
    level_dbfs : float
        Level of the whole.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The outboard as it comes over the water.
    """
    length_s = n_samples / RATE_HZ
    exhaust, _ = engine(
        rng,
        n_samples,
        ((0, 4700), (0.4 * length_s, 5100), (0.7 * length_s, 5000), (length_s, 4600)),
        cycles_per_turn=0.5,
        resonances=((130, 70, 1.0), (330, 160, 0.5)),
    )
    wash = at_level(shaped_noise(rng, n_samples, band_gain(150, 700, 1)), -12)
    boat = filtered(at_level(exhaust, 0) + wash, band_gain(50, 520, 2))
    return at_level(boat * 10 ** (2.5 * wander(rng, n_samples, 0.3) / 20), level_dbfs)


def wind(
    rng: np.random.Generator, n_samples: int, strength: Points, level_dbfs: float
) -> tuple[Samples, Spans]:
    """Make wind on the microphone: low gusts whose tail reaches up to 1 kHz when they are hard.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    n_samples : int
        Length.
    strength : tuple of (float, float)
        Seconds, and how hard it blows there, 0 to 1.
    level_dbfs : float
        Level of a steady wind of strength 1.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The wind.
    list of tuple of two float
        Where it blows harder than 0.25.
    """
    length_s = n_samples / RATE_HZ
    force = through(n_samples, *((t / length_s, s) for t, s in strength))
    force = np.clip(force * (1 + 0.18 * wander(rng, n_samples, 2.5)), 0, None)
    buffet = 1 + 0.5 * wander(rng, n_samples, 9)
    low = at_level(shaped_noise(rng, n_samples, band_gain(18, 75, 1.7)), 0)
    middle = at_level(shaped_noise(rng, n_samples, band_gain(70, 240, 1.7)), -9)
    high = at_level(shaped_noise(rng, n_samples, band_gain(220, 700, 2.6)), -20)
    reeds = at_level(shaped_noise(rng, n_samples, band_gain(2200, 8000, 1.2)), -40)
    gusts = low * force**1.5 * buffet + middle * force**2 * buffet + high * force**3
    steady = np.sqrt(np.mean(low**2) + np.mean(middle**2) + np.mean(high**2)) * np.sqrt(2)
    blown = (gusts + reeds * (0.2 + force)) / steady * 10 ** (level_dbfs / 20)
    return blown, _spans(force > 0.25)


def murmur(
    rng: np.random.Generator, n_samples: int, phrases: Points, level_dbfs: float
) -> tuple[Samples, Spans]:
    """Make people talking low behind a boarded hide. There are no words in it.

    Pulses of the throat, 90 to 220 Hz, go through three formants that move with every syllable.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.
    n_samples : int
        Length.
    phrases : tuple of (float, float)
        Start of each phrase in seconds, and the speaker's middle pitch in Hz.
    level_dbfs : float
        Level of the voices while they speak.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The murmur.
    list of tuple of two float
        The phrases.
    """
    spoken = np.zeros(n_samples)
    spans: Spans = []
    for start_s, pitch_hz in phrases:
        phrase = _phrase(rng, pitch_hz)
        # A board wall lets the lows through and little above 3 kHz.
        phrase = at_level(
            filtered(phrase, band_gain(110, 2600, 1.5)), level_dbfs + rng.normal(0, 1)
        )
        _add(spoken, phrase, round(start_s * RATE_HZ))
        spans.append((start_s, min(start_s + phrase.size / RATE_HZ, n_samples / RATE_HZ)))
    return spoken, spans


def thump(rng: np.random.Generator) -> Samples:
    """Make a knock on the tripod: its legs ring low, the fitting clicks, the sleeve brushes along.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from.

    Returns
    -------
    np.ndarray, shape (n_samples,)
        The knock, 0.6 s, peak 1.
    """
    n = round(0.6 * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    knock = np.zeros(n)
    for hz, gain, decay_s in (
        (rng.uniform(52, 75), 1.0, 0.07),
        (rng.uniform(105, 150), 0.6, 0.045),
        (rng.uniform(380, 620), 0.18, 0.016),
        (rng.uniform(900, 1500), 0.07, 0.008),
    ):
        knock += gain * np.sin(2 * np.pi * hz * t + rng.uniform(0, 2)) * np.exp(-t / decay_s)
    knock *= 1 - np.exp(-t / 0.0015)
    brush = shaped_noise(rng, n, band_gain(250, 1800, 3)) * swell(n, 0.15, 0.4) ** 2
    knock += rng.uniform(0.03, 0.08) * brush / brush.std() * np.abs(wander(rng, n, 35))
    return knock / float(np.abs(knock).max()) * swell(n, 0.001, 0.1)


def _phrase(rng: np.random.Generator, pitch_hz: float) -> Samples:
    """Make four to nine syllables, falling in pitch towards the end."""
    vowels = ((320, 2100), (480, 1800), (690, 1200), (520, 950), (340, 820), (450, 1450))
    pieces = []
    count = int(rng.integers(4, 10))
    tune = pitch_hz * np.linspace(1.1, 0.87, count + 1) * rng.normal(1, 0.05, count + 1)
    for i in range(count):
        n = round(rng.uniform(0.13, 0.24) * RATE_HZ)
        top_hz = 1.06 * max(tune[i], tune[i + 1])
        f0 = np.clip(through(n, (0, tune[i]), (0.45, top_hz), (1, tune[i + 1])), 90, 220)
        begin, end = rng.integers(0, len(vowels), 2)
        formants = [
            (through(n, (0, vowels[begin][k]), (0.45, vowels[end][k]), (1, vowels[end][k])), width)
            for k, width in ((0, 80), (1, 110))
        ]
        formants.append((np.full(n, rng.normal(2550, 90)), 170))
        syllable = _glottal(rng, f0, formants) * swell(n, 0.035, 0.06) * rng.uniform(0.6, 1)
        pieces.append(syllable)
        gap = round(rng.choice((0.015, 0.04, 0.07)) * RATE_HZ)
        breath = shaped_noise(rng, gap, band_gain(1500, 6000, 1)) * swell(gap, 0.005, 0.005)
        pieces.append(0.06 * rng.uniform(0, 1) * breath / max(breath.std(), 1e-9) * syllable.std())
    return np.concatenate(pieces)


def _glottal(
    rng: np.random.Generator, f0: Samples, formants: Sequence[tuple[Samples, float]]
) -> Samples:
    """Sum the throat's harmonics, each as loud as the formants make it at its place."""
    phase = 2 * np.pi * np.cumsum(f0 * (1 + 0.008 * wander(rng, f0.size, 30))) / RATE_HZ
    every = slice(None, None, 240)
    at = np.arange(f0.size)
    voice = np.zeros(f0.size)
    for order in range(1, int(3500 / f0.min())):
        hz = order * f0[every]
        gain = np.full(hz.size, 1 / order)  # -12 dB per octave of the throat, +6 of the lips
        for centre, width_hz in formants:
            centre_hz = centre[every]
            gain = gain * centre_hz**2 / np.hypot(centre_hz**2 - hz**2, hz * width_hz)
        voice += np.interp(at, at[every], gain) * np.sin(order * phase)
    return voice


def _bubble(rng: np.random.Generator) -> Samples:
    """Make one bubble: a short ring that rises as the bubble nears the surface."""
    hz = rng.uniform(450, 1700)
    n = round(0.06 * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    ring = np.sin(2 * np.pi * hz * (t + rng.uniform(1, 3.5) * t**2))
    return float(rng.uniform(0.2, 1)) * ring * np.exp(-t * hz / 11) * swell(n, 0.002, 0.01)


def _add(samples: Samples, piece: Samples, begin: int) -> None:
    """Lay a piece into a longer sound, cut at its end."""
    piece = piece[: max(0, samples.size - begin)]
    samples[begin : begin + piece.size] += piece


def _spans(on: np.ndarray) -> Spans:
    """Give the stretches in which `on` is true, in seconds."""
    turns = np.flatnonzero(np.diff(np.concatenate(([False], on, [False])).astype(np.int8)))
    return [(a / RATE_HZ, b / RATE_HZ) for a, b in turns.reshape(-1, 2).tolist()]
