"""The shared spectrum: the same in blocks as in one piece, levels in dBFS, bands without holes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from calltag.sound.spectrum import (
    BIN_HZ,
    FRAMES_PER_S,
    HOP,
    MEL_HIGH_HZ,
    MEL_LOW_HZ,
    N_BINS,
    N_FFT,
    N_MELS,
    RATE_HZ,
    framed_power,
    hz_to_mel,
    mel_edges_hz,
    mel_filters,
    mel_power,
    mel_to_hz,
    power_frames,
    power_spectrum,
    to_db,
)

SOUND = np.random.default_rng(5).normal(0, 0.1, 30_000).astype(np.float32)


def tone(frequency_hz, *, amplitude=1.0, seconds=0.5, phase=0.0):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return (amplitude * np.sin(2 * np.pi * frequency_hz * t + phase)).astype(np.float32)


# --- frames ---------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@example(n_samples=0, cuts=[])
@example(n_samples=1, cuts=[0])
@example(n_samples=HOP, cuts=[1, 1, 479])
@example(n_samples=30_000, cuts=[0, 0, 1024, 2048, 480, 25_000])
@given(st.integers(0, 30_000), st.lists(st.integers(0, 9000), max_size=20))
def test_blocks_of_any_length_give_the_spectrum_of_the_whole(n_samples, cuts):
    sound = SOUND[:n_samples]
    edges = [0, *np.minimum(np.cumsum(cuts, dtype=int), n_samples).tolist(), n_samples]
    blocks = [sound[a:b] for a, b in itertools.pairwise(edges)]
    in_blocks = list(power_frames(blocks))
    assert all(len(part) for part in in_blocks)
    whole = power_spectrum(sound)
    assert whole.shape == (1 + n_samples // HOP, N_BINS)
    assert whole.dtype == np.float32
    # the same arithmetic on the same frames: equal to the last bit
    np.testing.assert_array_equal(np.concatenate(in_blocks), whole)


@pytest.mark.parametrize("at_s", [0.0, 0.07, 0.25, 0.49])
def test_a_click_peaks_in_the_frame_of_its_time(at_s):
    sound = np.zeros(RATE_HZ // 2, np.float32)
    sound[round(at_s * RATE_HZ)] = 1.0
    loudest = power_spectrum(sound).sum(axis=1).argmax()
    assert loudest / FRAMES_PER_S == pytest.approx(at_s, abs=1e-9)


def test_the_last_frame_lies_within_the_sound():
    assert (len(power_spectrum(SOUND)) - 1) / FRAMES_PER_S <= len(SOUND) / RATE_HZ
    assert len(power_spectrum(SOUND[:479])) == 1
    assert len(power_spectrum(SOUND[:480])) == 2


@pytest.mark.parametrize("n_samples", [0, 1, N_FFT - 1])
def test_no_whole_frame_gives_no_row(n_samples):
    assert framed_power(SOUND[:n_samples]).shape == (0, N_BINS)


def test_frames_without_padding_are_those_of_the_padded_sound_further_in():
    # frame 16 of the padded sound begins 16 hops less half a window after the first sample
    inner = SOUND[16 * HOP - N_FFT // 2 :]
    np.testing.assert_array_equal(framed_power(inner)[:20], power_spectrum(SOUND)[16:36])


@pytest.mark.parametrize("hop", [HOP, 10 * HOP])
@pytest.mark.parametrize("n_before", [0, 1, HOP, N_FFT - 1, N_FFT, 5000, 29_000, 30_000])
def test_frames_reach_back_into_what_came_before(n_before, hop):
    before, samples = SOUND[:n_before], SOUND[n_before:]
    np.testing.assert_array_equal(
        framed_power(samples, hop, before), framed_power(SOUND, hop), strict=True
    )


def test_the_sound_itself_is_left_as_it_was():
    sound = SOUND.copy()
    power_spectrum(sound)
    np.testing.assert_array_equal(sound, SOUND)


# --- levels ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("level_dbfs", [0, -20, -60, -90])
@pytest.mark.parametrize("k", [10, 100, 900])
def test_a_tone_reads_its_level(level_dbfs, k):
    power = power_spectrum(tone(k * BIN_HZ, amplitude=10 ** (level_dbfs / 20), seconds=1))
    assert to_db(power[50, k]) == pytest.approx(level_dbfs, abs=0.1 if level_dbfs < -80 else 0.01)


def test_power_grows_with_the_square_of_the_sound():
    np.testing.assert_allclose(
        power_spectrum(SOUND * np.float32(0.25)), power_spectrum(SOUND) / 16, rtol=1e-6
    )


def test_silence_reads_the_floor_and_nothing_below():
    silence = to_db(power_spectrum(np.zeros(4800, np.float32)))
    assert silence.min() == pytest.approx(-110, abs=1e-4)
    assert silence.max() == pytest.approx(-110, abs=1e-4)
    assert to_db(np.float32([1.0, 0.1])).tolist() == pytest.approx([0, -10], abs=1e-5)
    assert to_db(np.float32([1.0])).dtype == np.float32


# --- mel bands ------------------------------------------------------------------------------------


@given(st.floats(0, 24_000))
def test_mels_and_hertz_are_inverse(frequency_hz):
    assert mel_to_hz(hz_to_mel(frequency_hz)) == pytest.approx(frequency_hz, rel=1e-12, abs=1e-9)


def test_bands_cover_their_range_without_a_hole():
    edges = mel_edges_hz()
    assert len(edges) == N_MELS + 2
    assert edges[0] == pytest.approx(MEL_LOW_HZ)
    assert edges[-1] == pytest.approx(MEL_HIGH_HZ)
    assert (np.diff(edges) > 0).all()
    weights = mel_filters()
    assert weights.shape == (N_BINS, N_MELS)
    assert (weights.max(axis=0) > 0.4).all()  # every band has a bin near its middle
    # between the first and the last band's middle, what one band lets go the next one takes
    inside = (np.arange(N_BINS) * BIN_HZ > edges[1]) & (np.arange(N_BINS) * BIN_HZ < edges[-2])
    np.testing.assert_allclose(weights[inside].sum(axis=1), 1, atol=1e-6)
    outside = (np.arange(N_BINS) * BIN_HZ < MEL_LOW_HZ) | (np.arange(N_BINS) * BIN_HZ > MEL_HIGH_HZ)
    assert not weights[outside].any()


@pytest.mark.parametrize("frequency_hz", [150, 440, 1000, 3000, 7000, 14_000])
def test_a_tone_has_the_same_level_in_bands_wherever_it_lies(frequency_hz):
    bands = mel_power(power_spectrum(tone(frequency_hz, seconds=1)))[50]
    # the window spreads a sine over 1.5 bins' worth of power (Harris 1978, table 1)
    assert 10 * np.log10(bands.sum() / 1.5) == pytest.approx(0, abs=0.05)
    edges = mel_edges_hz()
    assert edges[bands.argmax()] < frequency_hz < edges[bands.argmax() + 2]


def test_hops_and_rates_fit_together():
    assert HOP * FRAMES_PER_S == RATE_HZ
