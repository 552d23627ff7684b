"""Throb: noise that is modulated by rule, at rates and depths that are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from calltag.sound.beats.throb import BANDS_HZ, ENVELOPE_HZ, THROB, envelopes, measure_throb

RATE_HZ = 48_000


def band(rng, seconds, low_hz, high_hz):
    noise = rng.standard_normal(round(seconds * RATE_HZ))
    return sosfilt(butter(2, [low_hz, high_hz], "band", fs=RATE_HZ, output="sos"), noise)


def modulated(sound, rate_hz, depth):
    t = np.arange(len(sound)) / RATE_HZ
    return sound * (1 + depth * np.cos(2 * np.pi * rate_hz * t))


def test_the_envelope_of_a_modulated_tone_in_closed_form():
    # a tone of 1 kHz, modulated by 80 % at 20 Hz: its envelope is 1 + 0.8 cos
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    found = envelopes(modulated(np.sin(2 * np.pi * 1000 * t), 20, 0.8), RATE_HZ)
    assert found.shape == (len(BANDS_HZ), 2 * ENVELOPE_HZ)
    at = (np.arange(2 * ENVELOPE_HZ) + 0.5) / ENVELOPE_HZ
    expected = np.log(1 + 0.8 * np.cos(2 * np.pi * 20 * at))
    inner = slice(100, -100)
    shifted = found[1] - found[1][inner].mean() + expected[inner].mean()
    np.testing.assert_allclose(shifted[inner], expected[inner], atol=0.05)


def test_an_envelope_is_the_level_of_its_band_and_of_no_other():
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    for band, tone_hz in enumerate((150, 1000, 3000)):
        found = envelopes(0.1 * np.sin(2 * np.pi * tone_hz * t), RATE_HZ).mean(axis=1)
        assert found[band] == pytest.approx(np.log(0.1 / np.sqrt(2)), abs=0.001)
        others = np.delete(found, band)
        assert (others < found[band] - np.log(1000)).all()  # 60 dB


@pytest.mark.parametrize("rate_hz", [9, 11.5, 17, 26, 33, 48, 65])
@pytest.mark.parametrize("depth", [0.5, 1.0])
def test_modulated_noise_throbs_at_its_rate(rng, rate_hz, depth):
    sound = modulated(0.1 * rng.standard_normal(4 * RATE_HZ), rate_hz, depth)
    beat = measure_throb(sound, RATE_HZ).beat
    assert THROB.rates_hz[beat.argmax()] == pytest.approx(rate_hz, abs=1)


@pytest.mark.parametrize("rate_hz", [9, 17, 26, 33, 48, 65])
def test_bursts_throb_at_their_rate(rng, made, rate_hz):
    throb = measure_throb(made.rasp(rng, rate_hz, 4, wobble=0.003), RATE_HZ)
    assert THROB.rates_hz[throb.beat.argmax()] == pytest.approx(rate_hz, abs=0.5)
    assert throb.beat.max() > 2
    assert throb.strength_db.max() > 10


def test_noise_does_not_throb(rng):
    best = [
        measure_throb(0.1 * rng.standard_normal(4 * RATE_HZ), RATE_HZ).evidence.max(axis=1).mean()
        for _ in range(20)
    ]
    # the highest of the rates, of the lowest band or the mean: as of rain and surf, 0.63
    assert np.mean(best) == pytest.approx(0.63, abs=0.1)
    assert max(best) < 1.0


@pytest.mark.parametrize("rate_hz", [10, 18, 26, 35, 50])
def test_what_throbs_in_its_own_band_only_is_no_machine(rng, rate_hz):
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    trill = 0.2 * np.sin(2 * np.pi * 3200 * t) * np.sin(np.pi * rate_hz * t) ** 2
    churr = 0.2 * band(rng, 4, 2000, 8000) * np.sin(np.pi * rate_hz * t) ** 2
    rumble = band(rng, 4, 40, 400)
    for animal in (trill, churr):
        throb = measure_throb(animal + 0.05 * rumble, RATE_HZ)
        assert throb.beat.max() < 1.0  # where one in two is sure


def test_how_much_bass_there_is(rng):
    def of(low, high):
        sound = low * band(rng, 4, 80, 350) + high * band(rng, 4, 2000, 7000)
        return measure_throb(sound, RATE_HZ).low_db

    assert of(1, 0.01) == 0
    assert of(0.01, 1) < -20
    # a call in a third of the time leaves the bass of the rest
    call = np.zeros(4 * RATE_HZ)
    call[:RATE_HZ] = np.sin(2 * np.pi * 3000 * np.arange(RATE_HZ) / RATE_HZ)
    assert measure_throb(0.1 * band(rng, 4, 80, 350) + call, RATE_HZ).low_db > -3


@pytest.mark.parametrize("rate_hz", [4000, 8000, 16_000, 44_100, 96_000])
def test_other_rates(rng, made, rate_hz):
    import soxr

    sound = soxr.resample(made.rasp(rng, 26, 4, wobble=0.0), RATE_HZ, rate_hz)
    beat = measure_throb(sound, rate_hz).beat
    assert THROB.rates_hz[beat.argmax()] == pytest.approx(26, abs=0.5)


def test_short_and_silent():
    assert measure_throb(np.zeros(RATE_HZ - 1), RATE_HZ) is None
    assert len(measure_throb(np.ones(RATE_HZ), RATE_HZ).evidence) == 1
    silent = measure_throb(np.zeros(3 * RATE_HZ), RATE_HZ)
    assert np.isfinite(silent.evidence).all()
    assert silent.evidence.max() < 1
