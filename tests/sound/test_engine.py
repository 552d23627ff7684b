"""Engines and hum: the trade's arithmetic, engines made by rule, and real machines against rain."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile as sf
import soxr
from scipy.signal import butter, sosfilt

from calltag.errors import InputError
from calltag.sound.engine import (
    blade_rate_hz,
    describe_machine,
    engine_rpm,
    find_engine,
    find_hum,
    firing_rate_hz,
)

RATE_HZ = 48_000


def engine(rng, rate_hz, seconds=5.0, wobble=0.02, noise_db=-10.0):
    """Firing pulses, each ringing in a box of its own, with speed that wobbles; noise below it."""
    n = round(seconds * RATE_HZ)
    # speed drifts over tenths of a second, by `wobble` of itself
    knots = rng.normal(0, wobble, round(seconds * 5) + 2)
    speed = rate_hz * (1 + np.interp(np.arange(n) / RATE_HZ * 5, np.arange(len(knots)), knots))
    fired = np.diff(np.floor(np.cumsum(speed) / RATE_HZ), prepend=0) > 0
    pulses = fired * rng.normal(1, 0.2, n)
    rung = sosfilt(butter(1, [60, 900], "band", fs=RATE_HZ, output="sos"), pulses)
    rung /= rung.std()
    return 0.1 * (rung + 10 ** (noise_db / 20) * rng.standard_normal(n))


def hum(mains_hz, lines, seconds=6.0, level=0.01):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return level * sum(np.sin(2 * np.pi * mains_hz * k * t + k) / k for k in lines)


# Maker's sheet of a 46 cm3 saw (idle, top speed); common practice for the others. A four-cylinder
# four-stroke with a two-blade propeller fires as often as its blades pass.
@pytest.mark.parametrize(
    ("rpm", "cylinders", "strokes", "published_hz"),
    [
        (3000, 1, 2, 50),
        (13_000, 1, 2, 217),
        (2800, 1, 2, 47),
        (9000, 1, 2, 150),
        (5500, 4, 4, 183),
        (4500, 1, 4, 37.5),
        (2400, 4, 4, 80),
    ],
)
def test_firing_rates(rpm, cylinders, strokes, published_hz):
    rate = firing_rate_hz(rpm, cylinders=cylinders, strokes=strokes)
    assert rate == pytest.approx(published_hz, abs=0.5)
    assert engine_rpm(rate, cylinders=cylinders, strokes=strokes) == pytest.approx(rpm)


def test_blades_pass():
    assert blade_rate_hz(2400, blades=2) == 80
    assert blade_rate_hz(390, blades=4) == 26
    with pytest.raises(InputError, match="strokes"):
        firing_rate_hz(3000, strokes=3)


@pytest.mark.parametrize("rate_hz", [18, 26, 50, 80, 120, 183, 217])
def test_the_rate_of_a_made_engine(rng, rate_hz):
    found = find_engine(engine(rng, rate_hz), RATE_HZ)
    assert found is not None
    assert found.rate_hz == pytest.approx(rate_hz, rel=0.03)
    assert found.share > 0.5
    assert found.strength_db > 5


def test_what_is_no_engine(rng):
    noise = rng.normal(0, 0.1, 5 * RATE_HZ)
    assert find_engine(noise, RATE_HZ) is None
    # a whistle is one line, no comb
    whistle = np.sin(2 * np.pi * 700 * np.arange(5 * RATE_HZ) / RATE_HZ)
    assert find_engine(noise + whistle, RATE_HZ) is None
    assert find_engine(noise[:1000], RATE_HZ) is None
    assert describe_machine(noise, RATE_HZ) == ""


@pytest.mark.parametrize("mains_hz", [50, 60])
@pytest.mark.parametrize("off", [-0.08, 0.0, 0.05])
def test_hum_of_the_mains(rng, mains_hz, off):
    sound = hum(mains_hz + off, [1, 2, 3, 5, 7]) + rng.normal(0, 0.02, 6 * RATE_HZ)
    found = find_hum(sound, RATE_HZ)
    assert found is not None
    assert found.mains_hz == mains_hz
    assert found.base_hz == pytest.approx(mains_hz + off, abs=0.01)
    assert {1, 2, 3} <= set(found.lines)
    assert not {4, 6} & set(found.lines)


@pytest.mark.parametrize("wobble", [0.005, 0.02])
def test_an_idling_saw_at_50_hz_is_no_hum(rng, wobble):
    saw = engine(rng, firing_rate_hz(3000), seconds=8, wobble=wobble)
    assert find_hum(saw, RATE_HZ) is None
    assert "3000 rpm" in describe_machine(saw, RATE_HZ)


def test_hum_under_an_idling_saw_is_told(rng):
    saw = engine(rng, 52, seconds=8)
    assert describe_machine(0.1 * saw + hum(50, range(1, 8), 8), RATE_HZ).startswith(
        "hum of the mains"
    )


def test_no_hum_in_noise_or_in_less_than_four_seconds(rng):
    assert find_hum(rng.normal(0, 0.1, 8 * RATE_HZ), RATE_HZ) is None
    assert find_hum(hum(50, [1, 2, 3], seconds=3.5), RATE_HZ) is None


@pytest.mark.field
def test_real_machines_against_real_water(field):
    told, hums = {}, {}
    for kind in ("chainsaw", "helicopter", "rain", "sea_waves"):
        paths = sorted((field / "esc10" / kind).glob("*.ogg"))[::3]
        sounds = []
        for path in paths:
            sound, rate_hz = sf.read(path, dtype="float32")
            heard = np.flatnonzero(np.abs(sound) > 1e-4)  # the clips are padded with silence
            sounds.append(soxr.resample(sound[heard[0] : heard[-1]], rate_hz, RATE_HZ))
        assert len(sounds) >= 8
        told[kind] = np.mean([find_engine(sound, RATE_HZ) is not None for sound in sounds])
        hums[kind] = np.mean([find_hum(sound, RATE_HZ) is not None for sound in sounds])
    assert told["chainsaw"] >= 0.6
    assert told["helicopter"] >= 0.7
    assert told["rain"] <= 0.1
    assert told["sea_waves"] <= 0.1
    assert hums["chainsaw"] <= 0.1
    assert hums["rain"] <= 0.1
