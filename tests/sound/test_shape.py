"""Measures of spectral shape where no library says what is right: onsets, pitch, peaks, bounds.

That the others equal librosa's is checked in tests/reference/test_librosa_examples.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from calltag.sound import shape
from calltag.sound.spectrum import BIN_HZ, N_BINS, N_MELS, RATE_HZ, power_spectrum

FRAMES = npst.arrays(
    np.float32,
    st.tuples(st.integers(1, 4), st.just(N_BINS)),
    elements=st.floats(0, 4, width=32),
    fill=st.sampled_from([0.0, 1e-12, 1e-6, 0.25]).map(np.float32),
)


@settings(deadline=None, max_examples=40)
@given(FRAMES)
def test_every_measure_stays_within_its_bounds(power):
    magnitude = np.sqrt(power)
    assert (shape.centroid_hz(magnitude) >= 0).all()
    assert (shape.centroid_hz(magnitude) <= 24_001).all()
    assert (shape.bandwidth_hz(magnitude) >= 0).all()
    assert (shape.bandwidth_hz(magnitude) <= 12_001).all()  # half the range, at most
    assert (shape.rolloff_hz(magnitude) <= 24_000).all()
    assert (shape.flatness(power) > 0).all()
    assert (shape.flatness(power) <= 1 + 1e-5).all()
    assert (shape.contrast_db(power) >= 0).all()
    assert (shape.peak_hz(magnitude) >= 0).all()
    assert (shape.peak_hz(magnitude) <= 24_000).all()
    pitch, strength = shape.pitch_track_hz(magnitude)
    assert (pitch > 79).all()
    assert (pitch < 4100).all()
    assert (strength <= 1 + 1e-4).all()
    for measured in (pitch, strength, shape.contrast_db(power), shape.peak_hz(magnitude)):
        assert np.isfinite(measured).all()


@pytest.mark.parametrize(
    "measure",
    [
        shape.centroid_hz,
        shape.bandwidth_hz,
        shape.rolloff_hz,
        shape.peak_hz,
        shape.contrast_db,
    ],
)
def test_no_frames_give_no_rows(measure):
    assert len(measure(np.zeros((0, N_BINS), np.float32))) == 0


def test_two_tones_of_one_level():
    magnitude = np.zeros((1, N_BINS), np.float32)
    magnitude[0, [100, 300]] = 1
    assert shape.centroid_hz(magnitude)[0] == pytest.approx(200 * BIN_HZ)
    assert shape.bandwidth_hz(magnitude)[0] == pytest.approx(100 * BIN_HZ)
    assert shape.rolloff_hz(magnitude, 0.5)[0] == 100 * BIN_HZ
    assert shape.rolloff_hz(magnitude, 0.51)[0] == 300 * BIN_HZ


def test_contrast_of_one_loud_octave():
    magnitude = np.full((1, N_BINS), 0.01, np.float32)
    bins = shape.BINS_HZ
    magnitude[0, (bins > 1000) & (bins < 1020)] = 1.0
    contrast = shape.contrast_db(np.square(magnitude))[0]
    # 800 to 1600 Hz has one bin above the rest: the top 2 % of its 35 bins is that bin
    assert contrast[3] == pytest.approx(20, abs=0.01)
    assert contrast[[0, 1, 2, 4, 5, 6]] == pytest.approx(0, abs=0.01)


# --- onsets ---------------------------------------------------------------------------------------


def test_onset_strength_is_the_mean_rise():
    level = np.zeros((4, N_MELS), np.float32)
    level[1] += 10
    level[2, :32] += 20  # half the bands rise by 10 more, half fall by 10
    assert shape.onset_strength(level).tolist() == [0, 10, 5, 0]


def test_onset_frames_of_a_rhythm():
    strength = np.zeros(300, np.float32)
    strength[20::25] = 5
    assert shape.onset_frames(strength) == list(range(20, 300, 25))
    assert shape.onset_frames(strength / 5) == []  # their own part in the mean around them


def test_peaks_next_to_each_other_count_once_and_plateaus_at_their_first_frame():
    strength = np.zeros(100, np.float32)
    strength[[30, 32]] = 5
    strength[60:63] = 4
    assert shape.onset_frames(strength) == [30, 60]


def test_no_onsets_in_nothing():
    assert shape.onset_frames(np.zeros(0, np.float32)) == []
    assert shape.onset_frames(np.zeros(50, np.float32)) == []
    assert shape.onset_frames(np.full(50, 3.0, np.float32)) == []


# --- pitch and peaks ------------------------------------------------------------------------------


def test_noise_has_no_strong_pitch_and_a_tone_has():
    rng = np.random.default_rng(9)
    noise = power_spectrum(rng.normal(0, 0.1, RATE_HZ).astype(np.float32))[5:-5]
    tone = np.sin(2 * np.pi * 900 * np.arange(RATE_HZ) / RATE_HZ).astype(np.float32)
    _, of_noise = shape.pitch_track_hz(np.sqrt(noise))
    pitch, of_tone = shape.pitch_track_hz(np.sqrt(power_spectrum(tone)[5:-5]))
    assert np.median(of_noise) < 0.2
    assert of_tone.min() > 0.95
    np.testing.assert_allclose(pitch, 900, rtol=0.002)


def test_pitch_of_a_stack_without_its_fundamental():
    # Harmonics 3 to 8 of 300 Hz: the period is still 1/300 s.
    t = np.arange(RATE_HZ) / RATE_HZ
    sound = sum(np.sin(2 * np.pi * 300 * k * t) for k in range(3, 9)).astype(np.float32) / 6
    pitch, _ = shape.pitch_track_hz(np.sqrt(power_spectrum(sound)[5:-5]))
    np.testing.assert_allclose(pitch, 300, rtol=0.005)


def test_pitch_looks_only_where_told():
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    sound = sum(np.sin(2 * np.pi * 500 * k * t) / k for k in range(1, 6)).astype(np.float32)
    power = power_spectrum(sound)[5:-5]
    pitch, _ = shape.pitch_track_hz(np.sqrt(power), low_hz=80, high_hz=400)
    np.testing.assert_allclose(pitch, 250, rtol=0.01)  # two periods, for one is out of reach


@pytest.mark.parametrize("frequency_hz", [100, 1234.5, 7000, 15_003])
def test_peak_follows_a_tone_between_bins(frequency_hz):
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    power = power_spectrum(np.sin(2 * np.pi * frequency_hz * t).astype(np.float32))[5:-5]
    np.testing.assert_allclose(shape.peak_hz(np.sqrt(power)), frequency_hz, atol=0.02 * BIN_HZ)
