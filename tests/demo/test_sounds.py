"""Calls and noises against values from outside: physics, standards, common practice."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import signal

RATE_HZ = 48_000


def spectrum(sound: np.ndarray, n_fft: int = 1 << 15) -> tuple[np.ndarray, np.ndarray]:
    return signal.welch(sound, RATE_HZ, nperseg=min(n_fft, sound.size), scaling="spectrum")


@pytest.mark.parametrize("seed", range(4))
def test_boom_falls_by_a_minor_third(seed: int, program: SimpleNamespace) -> None:
    """A just minor third is 6:5 (acoustics handbooks); the two notes vary by a few per cent."""
    call = program.animals.boom(np.random.default_rng(seed), 1.0)
    first, second = call[4000:9000], call[16_000:26_000]
    peaks = []
    for note in (first, second):
        level = np.abs(np.fft.rfft(note * np.hanning(note.size), 1 << 18))
        peaks.append(level.argmax() * RATE_HZ / (1 << 18))
    assert peaks[0] / peaks[1] == pytest.approx(6 / 5, rel=0.03)


@pytest.mark.parametrize(("rpm", "firing_hz"), [(2800, 46.7), (9000, 150.0)])
def test_trimmer_fires_once_a_turn(rpm: int, firing_hz: float, program: SimpleNamespace) -> None:
    """A one-cylinder two-stroke fires rpm / 60 times a second; the speeds are common practice."""
    n = 4 * RATE_HZ
    sound = program.noises.hedge_trimmer(np.random.default_rng(3), n, ((0, rpm), (4, rpm)), -20)
    # The period: the first lag, past the shape of one shot, at which the sound is most like itself.
    likeness = signal.correlate(sound, sound, "full", "fft")[sound.size - 1 :]
    lags = slice(RATE_HZ // 230, RATE_HZ // 30)
    period = lags.start + likeness[lags].argmax()
    assert RATE_HZ / period == pytest.approx(firing_hz, rel=0.03)


def test_engine_is_louder_flat_out(program: SimpleNamespace) -> None:
    n = 8 * RATE_HZ
    points = ((0, 2800), (3.5, 2800), (4.2, 9000), (8, 9000))
    sound = program.noises.hedge_trimmer(np.random.default_rng(3), n, points, -20)
    idle, full = sound[: 3 * RATE_HZ].std(), sound[5 * RATE_HZ :].std()
    assert 20 * np.log10(full / idle) > 6


@pytest.mark.parametrize(("hz", "db_per_km"), [(2000, 9.66), (4000, 32.8), (8000, 117)])
def test_air_takes_the_highs(hz: float, db_per_km: float, program: SimpleNamespace) -> None:
    """ISO 9613-1 at 10 °C and 70 % humidity."""
    lost_db = program.air.air_absorption_db(np.array([hz]), 1000)[0]
    assert lost_db == pytest.approx(db_per_km, rel=0.05)


def test_murmur_has_a_voice_s_pitch(program: SimpleNamespace) -> None:
    """85-255 Hz: the range of speaking voices (Fitch and Holbrook; Traunmüller and Eriksson)."""
    n = 6 * RATE_HZ
    phrases = ((0.2, 115), (3.0, 190))
    sound, spans = program.noises.murmur(np.random.default_rng(4), n, phrases, -20)
    pitches = []
    for start_s, end_s in spans:
        for at_s in np.arange(start_s + 0.05, end_s - 0.1, 0.05):
            piece = sound[round(at_s * RATE_HZ) :][:3840]
            if piece.std() < 0.3 * sound.std():
                continue
            likeness = np.correlate(piece, piece, "full")[piece.size - 1 :]
            lags = slice(RATE_HZ // 400, RATE_HZ // 70)
            pitches.append(RATE_HZ / (lags.start + likeness[lags].argmax()))
    assert len(pitches) > 20
    assert np.mean([85 <= pitch <= 255 for pitch in pitches]) > 0.9
    # No steady tone: the pitch moves within every phrase.
    assert np.std(pitches) > 10


def test_murmur_comes_in_syllables(program: SimpleNamespace) -> None:
    """Speech is strongest in modulation at some 2 to 8 Hz (Houtgast and Steeneken 1985)."""
    n = 12 * RATE_HZ
    phrases = tuple((float(at), 120.0) for at in range(0, 11, 2))
    sound, _ = program.noises.murmur(np.random.default_rng(4), n, phrases, -20)
    envelope = np.sqrt(sound.reshape(-1, 480).__pow__(2).mean(axis=1))
    power = np.abs(np.fft.rfft((envelope - envelope.mean()) * np.hanning(envelope.size))) ** 2
    hz = np.fft.rfftfreq(envelope.size, 0.01)
    speech, fast = power[(hz >= 2) & (hz < 8)].sum(), power[(hz >= 12) & (hz < 18)].sum()
    assert speech > 10 * fast


def test_wind_is_low(program: SimpleNamespace) -> None:
    """Strongest below some 200 Hz, with a tail that has gone by 2 kHz: common practice."""
    sound, spans = program.noises.wind(
        np.random.default_rng(6), 8 * RATE_HZ, ((0, 0.0), (3, 1.0), (5, 1.0), (8, 0.0)), -10
    )
    hz, power = spectrum(sound, 1 << 13)
    assert power[hz < 200].sum() > 0.8 * power.sum()
    assert power[(hz > 300) & (hz < 800)].mean() > 100 * power[(hz > 2000) & (hz < 4000)].mean()
    assert sum(end_s - start_s for start_s, end_s in spans) > 3
    quiet = np.ones(sound.size, bool)
    for start_s, end_s in spans:
        quiet[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)] = False
    assert 20 * np.log10(sound[~quiet].std() / sound[quiet].std()) > 15


def test_knock_is_low_and_short(program: SimpleNamespace) -> None:
    knock = program.noises.thump(np.random.default_rng(7))
    hz, power = spectrum(knock[: RATE_HZ // 10])
    assert power[hz < 200].sum() > 0.8 * power.sum()
    assert np.abs(knock[: RATE_HZ // 10]).max() == 1
    assert np.abs(knock[RATE_HZ // 2 :]).max() < 0.2


def test_air_by_the_lake_falls_with_frequency(program: SimpleNamespace) -> None:
    """Pink noise loses 3 dB an octave in power density; there are some reeds on top of it."""
    sound = program.noises.lakeside(np.random.default_rng(8), 20 * RATE_HZ, -50)
    hz, power = spectrum(sound, 1 << 12)
    levels = [10 * np.log10(power[(hz >= a) & (hz < 2 * a)].mean()) for a in (250, 500, 1000, 2000)]
    steps = np.diff(levels)
    assert np.all((steps < 0) & (steps > -8))
    assert 20 * np.log10(np.sqrt(2) * sound.std()) == pytest.approx(-50, abs=0.1)


def test_no_two_calls_are_alike(program: SimpleNamespace) -> None:
    rng = np.random.default_rng(9)
    for kind in program.animals.CALL_TYPES:
        calls = [kind.make(rng, 1.0) for _ in range(6)]
        lengths = {call.size for call in calls}
        assert len(lengths) > 1
        peaks = {int(np.abs(np.fft.rfft(call, 1 << 17)).argmax()) for call in calls}
        assert len(peaks) > 2
