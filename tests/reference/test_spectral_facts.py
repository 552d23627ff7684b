"""The shared spectrum against published figures of windows, tones, noise and the mel scale.

Harris 1978: F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier
transform", Proceedings of the IEEE 66(1), pp. 51-83, table 1. The spectrum's window is that table's
Hann window: side lobes at -32 dB (-31.5 where given finer) that fall by 18 dB an octave, a noise
bandwidth of 1.50 bins, a scallop loss of 1.42 dB; null to null it has 4 bins. Other values are
closed forms, derived beside each check.
"""

from __future__ import annotations

import numpy as np
import pytest

from calltag.sound import shape
from calltag.sound.spectrum import (
    BIN_HZ,
    FRAMES_PER_S,
    HOP,
    N_BINS,
    N_FFT,
    RATE_HZ,
    framed_power,
    hz_to_mel,
    mel_to_hz,
    power_spectrum,
)


def sine(bins, *, phase=0.3, n_samples=N_FFT):
    at = np.arange(n_samples)
    return np.sin(2 * np.pi * bins * at / N_FFT + phase).astype(np.float32)


def one_frame(sound):
    power = framed_power(np.asarray(sound, np.float32))
    assert len(power) == 1
    return power[0].astype(np.float64)


# --- the window, Harris 1978, table 1 -------------------------------------------------------------


@pytest.fixture(scope="module")
def lobe():
    """Power that a tone leaves at 0 to 12 bins from it, every 1/64 bin: as measured, in float32."""
    offsets = np.arange(0, 12 * 64 + 1) / 64
    return offsets, np.array([one_frame(sine(300 + x))[300] for x in offsets])


def test_harris_1978_null_to_null_is_4_bins(lobe):
    offsets, power = lobe
    first_null = offsets[np.flatnonzero(np.diff(power) > 0)[0]]
    assert 2 * first_null == pytest.approx(4, abs=1 / 16)
    assert power[offsets == 2][0] < 1e-9


def test_harris_1978_highest_side_lobe_is_31_5_db_down(lobe):
    offsets, power = lobe
    assert 10 * np.log10(power[offsets > 2].max()) == pytest.approx(-31.5, abs=0.1)


def test_harris_1978_side_lobes_fall_by_18_db_an_octave(lobe):
    offsets, power = lobe
    # tops of the lobes from 5 to 6 and from 10 to 11 bins: an octave apart, at 5.5 and 10.5 bins
    near = power[(offsets >= 5) & (offsets <= 6)].max()
    far = power[(offsets >= 10) & (offsets <= 11)].max()
    per_octave = 10 * np.log10(near / far) / np.log2(10.5 / 5.5)
    assert per_octave == pytest.approx(18, abs=1)


def test_harris_1978_noise_bandwidth_is_1_50_bins():
    # White noise of variance 1 reads, on the scale where a sine of amplitude 1 (mean square 1/2)
    # reads 1, twice its power per bin times the noise bandwidth: 2 * (2 / N_FFT) * bandwidth.
    noise = np.random.default_rng(1).standard_normal(400 * N_FFT).astype(np.float32)
    power = framed_power(noise)[:, 1:-1].mean(dtype=np.float64)
    assert power * N_FFT / 4 == pytest.approx(1.50, rel=0.005)


def test_harris_1978_scallop_loss_is_1_42_db():
    on, between = one_frame(sine(300.0)), one_frame(sine(300.5))
    assert 10 * np.log10(on[300]) == pytest.approx(0, abs=0.001)
    assert 10 * np.log10(between[300]) == pytest.approx(-1.42, abs=0.01)
    assert 10 * np.log10(between[301]) == pytest.approx(-1.42, abs=0.01)


# --- tones, noise, energy: closed forms -----------------------------------------------------------


def test_parseval():
    # Sum over both halves of the spectrum equals the energy of the windowed samples.
    sound = np.random.default_rng(2).standard_normal(N_FFT).astype(np.float32)
    power = one_frame(sound)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(N_FFT) / N_FFT)
    scale = (window.sum() / 2) ** 2
    both = (power[0] + power[-1] + 2 * power[1:-1].sum()) * scale / N_FFT
    assert both == pytest.approx(((sound * window) ** 2).sum(dtype=np.float64), rel=1e-6)


@pytest.mark.parametrize("bins", [20.0, 100.13, 250.25, 400.5, 700.81])
def test_the_parabola_through_the_logarithm_errs_by_at_most_0_02_bin(bins):
    # J. O. Smith, "Spectral audio signal processing", on interpolating peaks of a Hann window
    found = shape.peak_hz(np.sqrt(one_frame(sine(bins))[None]).astype(np.float32))[0] / BIN_HZ
    assert found == pytest.approx(bins, abs=0.02)


def test_a_chirp_of_2_khz_a_second_rises_by_21_33_hz_each_512_samples():
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    chirp = np.sin(2 * np.pi * (1000 * t + 1000 * t**2)).astype(np.float32)
    track = shape.peak_hz(np.sqrt(power_spectrum(chirp)))[20:180].astype(np.float64)
    slope_hz_s = np.polyfit(np.arange(len(track)) / FRAMES_PER_S, track, 1)[0]
    assert slope_hz_s == pytest.approx(2000, abs=0.5)
    assert slope_hz_s * 512 / RATE_HZ == pytest.approx(21.33, abs=0.01)
    assert track[0] == pytest.approx(1000 + 2000 * 0.20, abs=0.5)  # frames are centred


def test_white_noise_has_its_centroid_in_the_middle():
    noise = np.random.default_rng(3).standard_normal(20 * RATE_HZ).astype(np.float32)
    power = power_spectrum(noise)[5:-5]
    magnitude = np.sqrt(power)
    # constant expectation per bin: centroid at half of 24 kHz, 85 % of it at 0.85 * 24 kHz
    assert shape.centroid_hz(magnitude).mean() == pytest.approx(12_000, rel=0.002)
    assert shape.rolloff_hz(magnitude).mean() == pytest.approx(20_400, rel=0.002)
    # uniform from 0 to 24 kHz: a spread of 24 kHz / sqrt(12)
    assert shape.bandwidth_hz(magnitude).mean() == pytest.approx(24_000 / 12**0.5, rel=0.005)
    # exponentially distributed power: geometric over arithmetic mean is exp(-gamma) = 0.5615
    assert shape.flatness(power).mean() == pytest.approx(np.exp(-np.euler_gamma), rel=0.005)


def test_a_tone_has_its_centroid_and_roll_off_at_its_frequency():
    # 1000.5 and 1007.8 Hz are librosa 0.11's readings; the closed form is 1000 Hz, to half a bin
    power = power_spectrum(sine(1000 / BIN_HZ, n_samples=RATE_HZ))[20:80]
    magnitude = np.sqrt(power)
    assert shape.centroid_hz(magnitude).mean() == pytest.approx(1000.5, abs=0.5)
    assert shape.rolloff_hz(magnitude).mean() == pytest.approx(1007.8, abs=0.05)
    assert shape.flatness(power).max() < 1e-6


def test_silence_is_flat_and_so_looks_like_noise():
    silence = np.zeros((1, N_BINS), np.float32)
    assert shape.flatness(silence)[0] == pytest.approx(1.0)
    assert shape.centroid_hz(silence)[0] == 0
    assert shape.bandwidth_hz(silence)[0] == 0


def test_frame_geometry_at_48_khz():
    assert BIN_HZ == 23.4375
    assert pytest.approx(0.04267, abs=1e-5) == N_FFT / RATE_HZ
    assert HOP / RATE_HZ == 0.01


# --- the mel scale --------------------------------------------------------------------------------

# M. Slaney, "Auditory Toolbox", 1998: 200/3 Hz a mel up to 1 kHz, then 27 mels for a factor of 6.4.
SLANEY = {0: 0.0, 60: 0.9, 440: 6.6, 1000: 15.0, 4000: 35.164, 6400: 42.0, 8000: 45.246}


@pytest.mark.parametrize(("frequency_hz", "mel"), SLANEY.items())
def test_mel_scale_of_slaney_1998(frequency_hz, mel):
    assert hz_to_mel(frequency_hz) == pytest.approx(mel, abs=5e-4)
    assert mel_to_hz(hz_to_mel(frequency_hz)) == pytest.approx(frequency_hz, abs=1e-9)


def test_mel_scale_is_not_the_other_one_in_use():
    # The scale of O'Shaughnessy 1987, 2595 log10(1 + f/700), has 1000 Hz at 1000 mels.
    assert hz_to_mel(1000) == 15
