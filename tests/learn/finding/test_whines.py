"""Tones that a machine holds: told as a machine, and calls found through them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from scipy.signal import lfilter, square

from calltag.arrays import FloatArray
from calltag.learn.finding.finder import Finder, Findings
from calltag.learn.finding.whines import HELD_S, Whine, find_whines
from calltag.learn.networks.starter_model import StarterModel, starter_model
from calltag.media.probe import probe
from calltag.sound.spectrum import RATE_HZ, mel_edges_hz, mel_power, power_spectrum, to_db


@pytest.fixture(scope="module")
def hearing() -> StarterModel:
    return StarterModel(starter_model())


def seconds(length_s: float) -> FloatArray:
    return np.arange(round(length_s * RATE_HZ)) / RATE_HZ


def air(length_s: float) -> FloatArray:
    hiss = np.random.default_rng(0).standard_normal(round(length_s * RATE_HZ))
    return 0.015 * lfilter([1.0], [1, -0.9], hiss)


def tone(length_s: float, hz: float, *, wander: float = 0.0, harmonics: int = 1) -> FloatArray:
    """A tone whose pitch may swing slowly."""
    t = seconds(length_s)
    cycles = hz * (t - wander * 4 / (2 * np.pi) * np.cos(2 * np.pi * t / 4))
    return 0.2 * sum(np.sin(2 * np.pi * k * cycles) / k for k in range(1, harmonics + 1))


def with_calls(sound: FloatArray, starts_s: list[float], hz: float) -> FloatArray:
    t = seconds(0.6)
    call = 0.25 * np.sin(2 * np.pi * (hz * t + 200 * t**2)) * np.hanning(len(t))
    sound = sound.copy()
    for start_s in starts_s:
        first = round(start_s * RATE_HZ)
        sound[first : first + len(call)] += call
    return sound


def logged(finder: Finder, sound: FloatArray, path: Path) -> Findings:
    sf.write(path, sound / np.abs(sound).max() * 0.5, RATE_HZ)
    return finder.analyse(path, probe(path))


def whines_in(hearing: StarterModel, sound: FloatArray) -> list[Whine]:
    sound = (sound / np.abs(sound).max() * 0.5).astype(np.float32)
    level_db = to_db(mel_power(power_spectrum(sound)))
    return find_whines(
        hearing.listen(level_db).call,
        level_db,
        lambda a, b: sound[round(a * RATE_HZ) : round(b * RATE_HZ)],
    )


WHINES = {
    "a tone": {"hz": 4000.0},
    "a lower tone": {"hz": 1500.0},
    "one that swings": {"hz": 3000.0, "wander": 0.04},
    "one with harmonics": {"hz": 800.0, "wander": 0.01, "harmonics": 3},
}


@pytest.mark.parametrize("kind", WHINES)
def test_a_whine_is_a_machine_and_no_call(finder: Finder, tmp_path: Path, kind: str) -> None:
    found = logged(finder, air(30) + tone(30, **WHINES[kind]), tmp_path / "a.wav")
    assert found.calls == ()
    machine_s = sum(span.span.length_s for span in found.noise if span.kind == "machine")
    assert machine_s > 28


@pytest.mark.parametrize("kind", WHINES)
def test_calls_are_found_through_a_whine(finder: Finder, tmp_path: Path, kind: str) -> None:
    starts_s = [6.0, 14.0, 15.0, 24.0]
    sound = with_calls(air(30) + tone(30, **WHINES[kind]), starts_s, 5000.0)
    found = logged(finder, sound, tmp_path / "a.wav")
    assert [call.start_s for call in found.calls] == pytest.approx(starts_s, abs=0.15)
    assert all(call.confidence > 0.5 for call in found.calls)
    assert all(call.span.length_s < 1 for call in found.calls)


@pytest.mark.parametrize("begins_s", [57.0, 63.0, 68.0])
def test_a_whine_is_one_wherever_windows_meet(
    finder: Finder, tmp_path: Path, begins_s: float
) -> None:
    late = tone(100, 3000.0) * (seconds(100) > begins_s)
    found = logged(finder, air(100) + late, tmp_path / "a.wav")
    assert all(call.span.length_s < 1 for call in found.calls)
    (machine,) = [span for span in found.noise if span.kind == "machine"]
    assert machine.start_s == pytest.approx(begins_s, abs=1)
    assert machine.end_s == pytest.approx(100, abs=0.5)


def test_where_a_whine_lies_is_followed(hearing: StarterModel) -> None:
    (whine, *skirts) = whines_in(hearing, air(20) + tone(20, 3000.0, wander=0.05))
    assert (whine.first, whine.last) == pytest.approx((0, 2000), abs=15)
    edges_hz = mel_edges_hz()
    at_s = np.arange(whine.first, whine.last) / 100
    hz = 3000 * (1 + 0.05 * np.sin(2 * np.pi * at_s / 4))
    inside = (edges_hz[whine.bands] <= hz + 150) & (hz - 150 <= edges_hz[whine.bands + 2])
    assert inside.mean() > 0.98
    assert all(abs(np.median(other.bands) - np.median(whine.bands)) > 2 for other in skirts)


def cricket(length_s: float) -> FloatArray:
    t = seconds(length_s)
    return 0.2 * np.sin(2 * np.pi * 4500 * t) * (square(2 * np.pi * 30 * t) > 0)


def reel(length_s: float) -> FloatArray:
    t = seconds(length_s)
    return 0.2 * np.sin(2 * np.pi * 6000 * t) * np.sin(np.pi * 26 * t) ** 2


def series(length_s: float) -> FloatArray:
    """Hoots of 1.2 s with pauses of 0.8 s."""
    return tone(length_s, 900.0) * (seconds(length_s) % 2 < 1.2)


def whistle(length_s: float) -> FloatArray:
    return tone(length_s, 2500.0) * (np.abs(seconds(length_s) - length_s / 2) < HELD_S / 2 - 0.4)


@pytest.mark.parametrize("animal", [cricket, reel, series, whistle])
def test_what_animals_hold_is_no_whine(hearing: StarterModel, animal) -> None:
    assert whines_in(hearing, air(20) + animal(20)) == []


def test_low_tones_that_nobody_takes_for_calls_change_nothing(
    finder: Finder, tmp_path: Path
) -> None:
    starts_s = [3.0, 8.0, 12.0]
    plain = logged(finder, with_calls(air(20), starts_s, 2200.0), tmp_path / "a.wav")
    hum = 0.1 * np.sin(2 * np.pi * 100 * seconds(20))
    humming = logged(finder, with_calls(air(20) + hum, starts_s, 2200.0), tmp_path / "b.wav")
    assert [c.start_s for c in humming.calls] == pytest.approx(
        [c.start_s for c in plain.calls], abs=0.1
    )
    assert len(plain.calls) == 3


@pytest.mark.parametrize("ends_s", [67.0, 70.0, 72.0])
def test_a_cricket_is_one_wherever_windows_meet(
    finder: Finder, tmp_path: Path, ends_s: float
) -> None:
    chirping = cricket(100) * (seconds(100) < ends_s)
    found = logged(finder, air(100) + chirping, tmp_path / "a.wav")
    (call,) = found.calls
    assert call.span == pytest.approx((0, ends_s), abs=0.3)
