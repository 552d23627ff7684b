"""Engines and rotors: the trade's arithmetic, machines made by rule, real ones against rain."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile as sf
import soxr
from scipy.signal import butter, sosfilt

from calltag.sound.beats.engine import (
    Engine,
    describe_engines,
    describe_machine,
    find_engine,
    listen_for_beat,
)
from calltag.sound.beats.hum import find_hum

RATE_HZ = 48_000


# Maker's sheet of a saw of 46 cm3 with one cylinder and two strokes: idle, top speed.
@pytest.mark.parametrize(("firing_hz", "published_rpm"), [(50, 3000), (217, 13_000), (150, 9000)])
def test_the_turns_of_a_two_stroke(firing_hz, published_rpm):
    beat = Engine(
        rate_hz=firing_hz, slowest_hz=firing_hz, fastest_hz=firing_hz, strength_db=9, share=1
    )
    assert f"({published_rpm} rpm if a one-cylinder two-stroke)" in describe_engines([beat])


@pytest.mark.parametrize("rate_hz", [18, 26, 50, 80, 120, 183, 217])
def test_the_rate_of_a_made_engine(rng, made, rate_hz):
    found = find_engine(made.engine(rng, rate_hz), RATE_HZ)
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


@pytest.mark.parametrize("wobble", [0.005, 0.02])
def test_an_idling_saw_at_50_hz_is_told(rng, made, wobble):
    saw = made.engine(rng, 50, 8, wobble)
    assert "3000 rpm" in describe_machine(saw, RATE_HZ)


def test_hum_under_an_idling_saw_is_told(rng, made):
    saw = made.engine(rng, 52, 8)
    under = 0.1 * saw + made.hum(50, range(1, 8), 8)
    assert describe_machine(under, RATE_HZ).startswith("hum of the mains")


# --- evidence -------------------------------------------------------------------------------------


@pytest.mark.parametrize("over_rain_db", [0, 6])
@pytest.mark.parametrize("rate_hz", [26, 50, 80, 140])
@pytest.mark.parametrize("drift", [0, 0.15])
def test_an_engine_in_rain_is_evident(rng, made, over_rain_db, rate_hz, drift):
    sound = made.engine(rng, rate_hz, 4, 0.01, drift=drift) * 10 ** (over_rain_db / 20)
    beat = listen_for_beat(sound + made.rain(rng, 4), RATE_HZ)
    assert beat.evidence > 3


@pytest.mark.parametrize("over_rain_db", [0, 6])
@pytest.mark.parametrize("rate_hz", [11, 17, 26, 33, 48, 60])
def test_a_rotor_or_a_rasping_saw_in_rain_is_evident_and_its_rate_is_told(
    rng, made, over_rain_db, rate_hz
):
    sound = made.rasp(rng, rate_hz, 4, wobble=0.004) * 10 ** (over_rain_db / 20)
    beat = listen_for_beat(sound + made.rain(rng, 4), RATE_HZ)
    assert beat.evidence > 3
    assert beat.engine is not None
    assert beat.engine.rate_hz == pytest.approx(rate_hz, abs=0.6)


def test_other_sounds_are_no_evidence(rng, made):
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    gusts = sosfilt(butter(2, 150, fs=RATE_HZ, output="sos"), rng.standard_normal(len(t)))
    surf = sosfilt(
        butter(2, [100, 4000], "band", fs=RATE_HZ, output="sos"), rng.normal(0, 1, len(t))
    )
    sounds = [
        rng.normal(0, 0.1, len(t)),
        made.rain(rng, 4),
        gusts * np.sin(2 * np.pi * t / 3) ** 2,
        surf * (0.3 + np.sin(2 * np.pi * t / 6) ** 2),
    ]
    for sound in sounds:
        beat = listen_for_beat(0.1 * sound, RATE_HZ)
        assert beat.evidence < 1.5
        assert beat.engine is None


@pytest.mark.parametrize("rate_hz", [10, 18, 26, 35, 50])
def test_animals_that_beat_are_no_evidence(rng, rate_hz):
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    air = sosfilt(
        butter(1, [100, 6000], "band", fs=RATE_HZ, output="sos"), rng.normal(0, 2e-3, len(t))
    )
    hiss = sosfilt(
        butter(2, [1500, 8000], "band", fs=RATE_HZ, output="sos"), rng.normal(0, 1, len(t))
    )
    swell = np.sin(np.pi * rate_hz * t) ** 2
    pulses = np.zeros(len(t))
    croak = np.exp(-t[:3000] / 0.006) * np.sin(2 * np.pi * 1400 * t[:3000])
    for of_rate in (0.93, 1.0, 1.06):  # three frogs
        starts = np.arange(0, 3.9, 1 / (rate_hz * of_rate)) + rng.normal(0, 1e-3)
        for start in np.maximum(starts * RATE_HZ, 0).astype(int):
            pulses[start : start + 3000] += rng.uniform(0.8, 1.2) * croak[: len(t) - start]
    trill, churr, frogs = (
        0.05 * np.sin(2 * np.pi * 3200 * t) * swell,
        0.03 * hiss * swell,
        0.1 * pulses,
    )
    for animal in (trill, churr, frogs):
        beat = listen_for_beat(animal + air, RATE_HZ)
        assert beat.evidence < 1


@pytest.mark.parametrize("rate_hz", [40, 80, 140])
def test_an_engine_has_lines_in_every_second(rng, made, rate_hz):
    """What drums, however low, has none; and what cries has them as long as it cries."""
    engine = made.engine(rng, rate_hz, 4, 0.005)
    air = 0.003 * rng.standard_normal(len(engine))
    assert listen_for_beat(engine + air, RATE_HZ).least_lines > 1.5
    ended = np.where(np.arange(len(engine)) < 2.5 * RATE_HZ, engine, 0)
    roar = listen_for_beat(ended + air, RATE_HZ)
    assert roar.evidence > 3
    assert roar.least_lines < 0.8
    drum = listen_for_beat(made.rasp(rng, rate_hz / 4, 4) + air, RATE_HZ)
    assert drum.evidence > 3
    assert drum.least_lines < 0.8
    # where lines are asked for, what has them is told as without that, and what lacks them is not
    told = listen_for_beat(engine + air, RATE_HZ, lines_above=1.0)
    assert told == listen_for_beat(engine + air, RATE_HZ)
    for without in (ended + air, made.rasp(rng, rate_hz / 4, 4) + air):
        assert listen_for_beat(without, RATE_HZ, lines_above=1.0) is None


def test_a_revving_engine_has_a_range(rng, made):
    steady, revving = (
        find_engine(made.engine(rng, 90, 7, 0.004, drift=drift), RATE_HZ) for drift in (0, 0.3)
    )
    assert steady.fastest_hz / steady.slowest_hz < 1.1
    # from 90 Hz up to 117 and down to 63, as means of seconds
    assert revving.slowest_hz == pytest.approx(63, rel=0.06)
    assert revving.fastest_hz == pytest.approx(117, rel=0.06)
    assert "rpm" in describe_engines([revving])
    assert " to " in describe_engines([revving])
    assert " to " not in describe_engines([steady])


def test_an_engine_that_leaps_from_idle_to_full_speed_has_a_range(rng, made):
    idle, full = made.engine(rng, 48, 3, 0.004), made.engine(rng, 150, 3, 0.004)
    found = find_engine(np.concatenate([idle, full]), RATE_HZ)
    assert (found.slowest_hz, found.fastest_hz) == pytest.approx((48, 150), rel=0.03)


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
