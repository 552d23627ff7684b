"""How levels move, against the closed form of amplitude modulation and IEC 61260-1's octaves."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.sound.modulation import OCTAVES_HZ, RATES_HZ, modulation_spectrum, texture
from calltag.sound.spectrum import FRAMES_PER_S, N_BINS, RATE_HZ, power_spectrum


def test_octaves_are_those_of_iec_61260_1():
    # Exact mid-band frequencies of the base-ten system, IEC 61260-1:2014, to five digits.
    exact = [125.89, 251.19, 501.19, 1000, 1995.3, 3981.1, 7943.3, 15849]
    assert pytest.approx(exact, rel=5e-5) == OCTAVES_HZ


@pytest.mark.parametrize("m", [0.2, 0.8])
def test_depth_of_an_envelope(m):
    # An envelope 1 + m sin has an RMS of m / sqrt(2) about its mean; a Hann taper keeps 3/8 of its
    # power, and rates above zero hold half of that.
    t = np.arange(400) / FRAMES_PER_S
    beat = (1 + m * np.sin(2 * np.pi * 10 * t)).astype(np.float32)
    edges_hz = (1.5, 5, 8, 12, 18, 50)
    bands = modulation_spectrum(beat, edges_hz)
    assert bands[2] == pytest.approx(m * np.sqrt(3 / 8) / 2, rel=0.05)
    assert np.delete(bands, 2).max() < 0.05 * bands[2]
    several = modulation_spectrum(np.stack([beat, 7 * beat, np.ones_like(beat)], axis=1), edges_hz)
    assert several[:, 0] == pytest.approx(bands)
    assert several[:, 1] == pytest.approx(bands, rel=1e-4)
    assert several[:, 2] == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("octave", [1, 3, 5, 7])
@pytest.mark.parametrize("rate", [1, 2, 3, 4])
def test_what_moves_in_one_octave_is_seen_there_and_at_its_rate(octave, rate):
    rng = np.random.default_rng(10 * octave + rate)
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    hum = sum(np.sin(2 * np.pi * (hz * t + rng.random())) for hz in OCTAVES_HZ)
    carrier = np.sin(2 * np.pi * OCTAVES_HZ[octave] * t)
    moving = hum + 2 * carrier * (1 + np.sin(2 * np.pi * RATES_HZ[rate] * t))
    found = texture(power_spectrum(moving.astype(np.float32)))
    assert found.shape == (len(OCTAVES_HZ), len(RATES_HZ))
    assert np.unravel_index(found.argmax(), found.shape) == (octave, rate)
    still = np.delete(found, octave, axis=0)[:, 1:]  # the ends of the sound are slow movement
    assert still.max() < np.log2(0.01) + 0.5


def test_hiss_moves_less_the_wider_the_octave():
    """The envelope of noise moves as much in any band, at rates up to the band's width.

    S. O. Rice, "Mathematical analysis of random noise", Bell System Technical Journal 24, 1945. So
    a range of slow rates holds less of a wider octave's movement, by 3 dB an octave.
    """
    hiss = np.random.default_rng(3).standard_normal(60 * RATE_HZ).astype(np.float32)
    movement = 2 ** texture(power_spectrum(hiss))[2:, :4] - 0.01
    assert np.diff(np.log2(movement), axis=0).mean() == pytest.approx(-0.5, abs=0.1)


def test_level_has_no_part_in_it():
    hiss = np.random.default_rng(4).standard_normal(RATE_HZ).astype(np.float32)
    power = power_spectrum(hiss)
    assert texture(power * np.float32(1e-6)) == pytest.approx(texture(power), abs=1e-3)


@pytest.mark.parametrize("n_frames", [1, 2, 5, 50])
def test_silence_does_not_move(n_frames):
    assert texture(np.zeros((n_frames, N_BINS), np.float32)) == pytest.approx(np.log2(0.01))
