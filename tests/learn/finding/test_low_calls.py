"""Booms that the starter model is deaf to at their own speed, and what is low and no call."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from scipy.signal import butter, lfilter, sosfilt

from calltag.arrays import FloatArray
from calltag.learn.finding import low_calls, one_pass
from calltag.learn.finding.finder import Finder
from calltag.media.probe import probe
from calltag.records.found import Call
from calltag.sound.spectrum import RATE_HZ

LENGTH_S = 60.0
BOOMS_S = (6.0, 9.5, 13.0, 31.0, 36.0)


def times() -> FloatArray:
    return np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ


def air(seed: int = 0) -> FloatArray:
    """Noise that falls by 6 dB an octave, as the open air does."""
    hiss = np.random.default_rng(seed).standard_normal(round(LENGTH_S * RATE_HZ))
    return 0.01 * lfilter([1.0], [1, -0.99], hiss)


def band_rms(sound: FloatArray, hz: float) -> float:
    sos = butter(4, (0.85 * hz, 1.15 * hz), "band", fs=RATE_HZ, output="sos")
    return float(np.sqrt(np.mean(sosfilt(sos, sound) ** 2)))


def booming(hz: float, *, snr_db: float, length_s: float = 0.9) -> FloatArray:
    """Air with tones that swell and die, at a level over it in the band around them."""
    sound = air()
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    boom = np.sin(2 * np.pi * hz * (t - 0.02 * t**2)) * np.hanning(len(t))
    boom *= 10 ** (snr_db / 20) * band_rms(sound, hz) / np.sqrt(np.mean(boom**2))
    for start_s in BOOMS_S:
        first = round(start_s * RATE_HZ)
        sound[first : first + len(boom)] += boom
    return sound


def found(finder: Finder, sound: FloatArray, path: Path) -> list[Call]:
    sf.write(path, 0.3 * sound / np.abs(sound).max(), RATE_HZ, subtype="PCM_24")
    return [call for call in finder.analyse(path, probe(path)).calls if call.confidence >= 0.5]


@pytest.mark.parametrize(("hz", "snr_db"), [(95.0, 12), (140.0, 11), (190.0, 7)])
def test_booms_are_found(finder, tmp_path, hz, snr_db):
    calls = found(finder, booming(hz, snr_db=snr_db), tmp_path / "booms.wav")
    assert len(calls) == len(BOOMS_S)
    for call, start_s in zip(calls, BOOMS_S, strict=True):
        # what can be heard of a tone that swells and dies
        assert start_s - 0.05 < call.start_s < start_s + 0.35
        assert start_s + 0.55 < call.end_s < start_s + 1.0
        assert call.low_hz <= hz <= call.high_hz < low_calls.HIGHEST_HZ
        assert call.peak_hz == pytest.approx(hz, abs=25)
        assert np.isfinite(call.features).all()


@pytest.mark.parametrize("hz", [95.0, 140.0])
def test_they_are_found_by_listening_faster(finder, tmp_path, hz, monkeypatch):
    monkeypatch.setattr(one_pass, "find_low_calls", lambda *_: [])
    assert len(found(finder, booming(hz, snr_db=11), tmp_path / "booms.wav")) < 3


def hum() -> FloatArray:
    """Mains that is switched on and off."""
    t = times()
    on = np.clip(5 * np.sin(2 * np.pi * t / 24), 0, 1)
    return air() + 0.1 * on * (np.sin(2 * np.pi * 100 * t) + 0.3 * np.sin(2 * np.pi * 200 * t))


def gusts() -> FloatArray:
    t = times()
    low = butter(2, 150, fs=RATE_HZ, output="sos")
    wind = sosfilt(low, np.random.default_rng(1).standard_normal(len(t)))
    return air() + 2 * wind * np.maximum(0, np.sin(2 * np.pi * t / 7)) ** 6


def engine() -> FloatArray:
    """An engine that passes, its speed going up and down."""
    t = times()
    turns = 45 * t + 3 * np.sin(2 * np.pi * t / 5)
    near = np.exp(-(((t - 30) / 10) ** 2))
    return air() + 0.2 * near * sum(np.sin(2 * np.pi * k * turns) / k for k in range(1, 20))


def knocks() -> FloatArray:
    sound = air()
    t = np.arange(RATE_HZ // 5) / RATE_HZ
    for start_s in np.arange(2.0, 58.0, 3.7):
        first = round(start_s * RATE_HZ)
        sound[first : first + len(t)] += np.sin(2 * np.pi * 120 * t) * np.exp(-t / 0.03)
    return sound


@pytest.mark.parametrize("noise", [air, hum, gusts, engine, knocks])
def test_what_is_low_and_no_call_is_not_found(finder, tmp_path, noise):
    calls = found(finder, noise(), tmp_path / "noise.wav")
    assert [call for call in calls if call.high_hz < low_calls.HIGHEST_HZ] == []


@pytest.mark.parametrize("noise", [air, gusts, knocks])
def test_most_sound_is_not_listened_to_twice(finder, tmp_path, noise, monkeypatch):
    def listen(*_):
        pytest.fail("nothing pure rises here")

    monkeypatch.setattr(low_calls, "_listen", listen)
    found(finder, noise(), tmp_path / "noise.wav")


def test_a_boom_in_a_short_take(finder, tmp_path):
    sound = booming(150, snr_db=15)[round(4.5 * RATE_HZ) : round(8.5 * RATE_HZ)]
    (call,) = found(finder, sound, tmp_path / "short.wav")
    assert 1.4 < call.start_s < 1.9
