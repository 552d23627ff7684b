"""Loudness against EBU Tech 3341 and 3342, BS.1770-4's own tables and an independent meter."""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest
import soundfile as sf
from scipy.signal import butter, sosfilt

from calltag.errors import InputError
from calltag.sound.loudness.k_weighting import k_weighting
from calltag.sound.loudness.meters import (
    LoudnessMeter,
    SpectrumLoudness,
    integrated_lufs,
    ungated_lufs,
)
from calltag.sound.loudness.take_loudness import beside
from calltag.sound.loudness.true_peak import true_peak_dbtp
from calltag.sound.spectrum import power_spectrum

RATE_HZ = 48_000


def steps(*levels_and_lengths, rate_hz=RATE_HZ, frequency_hz=1000.0):
    """A stereo tone that steps from level to level (dBFS, seconds), with no jump in phase."""
    amplitude = np.concatenate(
        [np.full(round(s * rate_hz), 10 ** (db / 20)) for db, s in levels_and_lengths]
    )
    tone = amplitude * np.sin(2 * np.pi * frequency_hz * np.arange(len(amplitude)) / rate_hz)
    return np.stack([tone, tone]).astype(np.float32)


# EBU Tech 3341, table 1, signals 1 to 5: each within 0.1 LU.
TECH_3341 = [
    ([(-23, 20)], -23.0),
    ([(-33, 20)], -33.0),
    ([(-36, 10), (-23, 60), (-36, 10)], -23.0),
    ([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], -23.0),
    ([(-26, 20), (-20, 20.1), (-26, 20)], -23.0),
]


@pytest.mark.parametrize(("signal", "published"), TECH_3341)
def test_ebu_tech_3341(signal, published):
    sound = steps(*signal)
    assert integrated_lufs(sound, RATE_HZ) == pytest.approx(published, abs=0.1)
    running = SpectrumLoudness()
    running.add(power_spectrum(sound[0]), beside(sound, 0)[0])
    assert running.integrated_lufs() == pytest.approx(published, abs=0.1)


def test_ebu_tech_3341_momentary():
    """Signal 12 of table 1 (from memory): -23 LUFS over any 0.4 s; and a burst off the steps."""
    meter = LoudnessMeter(RATE_HZ, 2)
    meter.add(steps(*[(-20, 0.18), (-30, 0.22)] * 25))
    assert meter.loudest_lufs() == pytest.approx(-23.0, abs=0.1)
    burst = LoudnessMeter(RATE_HZ, 2)
    burst.add(steps((-200, 1.05), (-23, 0.4), (-200, 1)))
    assert -23.7 < burst.loudest_lufs() < -23.0
    assert LoudnessMeter(RATE_HZ, 2).loudest_lufs() == float("-inf")


# EBU Tech 3342, table 1, signals 1 to 4 (the last from memory): each within 1 LU.
@pytest.mark.parametrize(
    ("signal", "published"),
    [
        ([(-20, 20), (-30, 20)], 10),
        ([(-20, 20), (-15, 20)], 5),
        ([(-40, 20), (-20, 20)], 20),
        ([(-50, 20), (-35, 20), (-20, 20), (-35, 20), (-50, 20)], 15),
    ],
)
def test_ebu_tech_3342_loudness_range(signal, published):
    meter = LoudnessMeter(RATE_HZ, 2)
    meter.add(steps(*signal))
    assert meter.range_lu() == pytest.approx(published, abs=1)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_997_hz_at_full_scale_in_one_channel_is_3_01_below(rate_hz):
    # BS.1770-4, annex 1: the reading that fixes the offset of -0.691
    tone = steps((0, 5), rate_hz=rate_hz, frequency_hz=997.0)[0]
    assert integrated_lufs(tone, rate_hz) == pytest.approx(-3.01, abs=0.05)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("frequency_hz", [40, 120, 1000, 2000, 6000])
def test_every_tone_reads_its_place_on_the_weighting_curve(rate_hz, frequency_hz):
    tone = steps((-20, 3), rate_hz=rate_hz, frequency_hz=frequency_hz)[0]
    expected = -20 - 3.01 - 0.691 + 10 * np.log10(k_weighting(frequency_hz))
    assert integrated_lufs(tone, rate_hz) == pytest.approx(expected, abs=0.05)


def test_the_shelf_rises_to_4_db():
    # BS.1770-4, annex 1: a spherical head lifts the high frequencies by about 4 dB
    assert 10 * np.log10(k_weighting(15_000)) == pytest.approx(4.0, abs=0.1)


def test_the_range_lies_between_the_10th_and_the_95th_percentile():
    # EBU Tech 3342 in closed form: over a swell of 0.9 dB a second that lasts 20 s, windows of 3 s
    # have levels that lie evenly over 17 s of it, and none is 20 LU below their mean.
    meter = LoudnessMeter(RATE_HZ, 2)
    meter.add(steps(*((-40 + 0.09 * i, 0.1) for i in range(200))))
    assert meter.range_lu() == pytest.approx((0.95 - 0.10) * 0.9 * 17, abs=0.05)


@pytest.mark.parametrize("fraction", [0.013, 0.1, 0.731])
def test_blocks_of_any_length_read_the_same(rng, fraction):
    sound = rng.normal(0, 0.1, (2, 3 * RATE_HZ)) * np.linspace(0.1, 1, 3 * RATE_HZ)
    meter = LoudnessMeter(RATE_HZ, 2)
    size = int(fraction * RATE_HZ)
    for first in range(0, sound.shape[1], size):
        meter.add(sound[:, first : first + size])
    assert meter.integrated_lufs() == pytest.approx(integrated_lufs(sound, RATE_HZ), abs=1e-9)


@pytest.mark.parametrize("rate_hz", [32_000, 44_100, 48_000, 96_000])
def test_an_independent_meter_agrees_on_noise(rng, rate_hz):
    sound = rng.normal(0, 0.05, (2, 4 * rate_hz))
    theirs = pyloudnorm.Meter(rate_hz).integrated_loudness(sound.T)
    # its shelf sits 0.04 LU below the recommendation's table
    assert integrated_lufs(sound, rate_hz) == pytest.approx(theirs + 0.04, abs=0.03)


@pytest.mark.field
def test_both_meters_on_real_recordings(field):
    by_samples, by_spectrum = [], []
    for path in sorted((field / "esc10").glob("*/*.ogg"))[::12]:
        sound, rate_hz = sf.read(path, dtype="float32")
        theirs = pyloudnorm.Meter(rate_hz).integrated_loudness(sound)
        if not np.isfinite(theirs):
            continue
        by_samples.append(integrated_lufs(sound, rate_hz) - theirs)
        # the spectrum knows 48 kHz alone; so the same samples are taken as 48 kHz by both meters
        running = SpectrumLoudness()
        running.add(power_spectrum(sound))
        by_spectrum.append(running.integrated_lufs() - integrated_lufs(sound, RATE_HZ))
    assert len(by_samples) > 14
    assert np.abs(by_samples).max() < 0.25
    assert np.percentile(np.abs(by_spectrum), 90) < 0.2
    assert np.abs(np.mean(by_spectrum)) < 0.05


@pytest.mark.parametrize("rate_hz", [8000, 11_025, 16_000, 22_050, 32_000, 44_100, 96_000, 192_000])
@pytest.mark.parametrize("frequency_hz", [300, 1000, 2000, 3000])
def test_a_tone_is_as_loud_at_every_rate(rate_hz, frequency_hz):
    """BS.1770-4, annex 1: at other rates than 48 kHz the filters have the same response."""
    tone = 0.1 * np.sin(2 * np.pi * frequency_hz * np.arange(5 * rate_hz) / rate_hz)
    expected = -0.691 + 10 * np.log10(0.1**2 / 2 * k_weighting(frequency_hz))
    for measured in (integrated_lufs, ungated_lufs):
        assert measured(tone, rate_hz) == pytest.approx(expected, abs=0.03)


@pytest.mark.parametrize("upper_hz", [15, 40, 150])
def test_a_gale_far_louder_than_all_else_reads_right_off_the_spectrum(rng, upper_hz):
    noise = rng.standard_normal(20 * RATE_HZ)
    gale = sosfilt(butter(3, upper_hz, fs=RATE_HZ, output="sos"), noise)
    sound = (0.2 * gale / gale.std() + 1e-4 * noise).astype(np.float32)
    running = SpectrumLoudness()
    running.add(power_spectrum(sound))
    assert running.integrated_lufs() == pytest.approx(integrated_lufs(sound, RATE_HZ), abs=0.2)


# EBU Tech 3341, signals 15 to 19 restated: a quarter of the rate, the crests between the samples.
@pytest.mark.parametrize(
    ("amplitude", "phase_deg", "published"),
    [(0.5, 0, -6.0), (0.5, 45, -6.0), (0.5, 60, -6.0), (0.5, 67.5, -6.0), (1.41, 45, 3.0)],
)
def test_ebu_tech_3341_true_peak(amplitude, phase_deg, published):
    n = np.arange(RATE_HZ)
    # faded in and out: the published signals do not begin with a jump
    fade = np.minimum(1, np.minimum(n, n[::-1]) / 480)
    tone = amplitude * fade * np.sin(np.pi / 2 * n + np.radians(phase_deg))
    assert -0.4 <= true_peak_dbtp(tone) - published <= 0.2


def test_true_peak_is_the_same_in_pieces(rng, monkeypatch):
    sound = rng.normal(0, 0.1, (2, (1 << 20) + 5000))
    sound[0, (1 << 20) - 2 : (1 << 20) + 2] = [0.9, -0.95, 0.95, -0.9]  # across the seam
    assert true_peak_dbtp(sound) == pytest.approx(true_peak_dbtp(sound[:, -9000:]), abs=1e-6)


def test_nothing_to_measure():
    assert integrated_lufs(np.zeros((2, RATE_HZ)), RATE_HZ) == float("-inf")
    assert integrated_lufs(np.ones((1, 100)), RATE_HZ) == float("-inf")
    assert integrated_lufs(np.zeros((2, 0)), RATE_HZ) == float("-inf")
    assert SpectrumLoudness().integrated_lufs() == float("-inf")
    assert LoudnessMeter(RATE_HZ, 1).range_lu() == 0
    assert true_peak_dbtp(np.zeros(100)) == float("-inf")
    with pytest.raises(InputError, match="0 channels"):
        LoudnessMeter(RATE_HZ, 0)
