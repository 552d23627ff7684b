"""How calls stand above all else: closed forms for tones in noise."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.records.found import Call
from calltag.records.span import Span
from calltag.sound.filters import filtered, gain_db, low_cut
from calltag.sound.loudness.k_weighting import k_weighting
from calltag.sound.loudness.meters import integrated_lufs
from calltag.sound.spectrum import BIN_HZ, N_BINS
from calltag.takes.rescue.call_spectra import spectra
from calltag.takes.rescue.standing import Gains, figures, loudness, stand_db

RATE_HZ = 48_000


def call(start_s, end_s, hz):
    return Call(
        start_s=start_s,
        end_s=end_s,
        low_hz=hz - 100,
        high_hz=hz + 100,
        peak_hz=hz,
        snr_db=20,
        level_dbfs=-20,
        call_probability=0.9,
    )


@pytest.fixture
def tone_in_noise(rng):
    sound = rng.normal(0, 0.05, 8 * RATE_HZ)
    t = np.arange(RATE_HZ) / RATE_HZ
    sound[3 * RATE_HZ : 4 * RATE_HZ] += 0.2 * np.sin(2 * np.pi * 3000 * t)
    return sound.astype(np.float32)


def test_closed_form(tone_in_noise):
    # power of the tone 0.2^2/2, of the noise 0.05^2 spread evenly over 0 to 24 kHz, both weighted
    noise = 0.05**2 * k_weighting(np.linspace(0, 24_000, 5000)).mean()
    expected = 10 * np.log10(0.2**2 / 2 * k_weighting(3000) / noise)
    heard = spectra([tone_in_noise], [call(3, 4, 3000)])
    assert stand_db(heard)[0] == pytest.approx(expected, abs=0.4)
    found = figures(heard)
    assert (found.standing, found.calls) == (1, 1)
    # the rest is the noise alone: its loudness by the meter that filters every sample
    rest = integrated_lufs(tone_in_noise[: 3 * RATE_HZ], RATE_HZ)
    assert found.rest_lufs == pytest.approx(rest, abs=0.1)


def test_a_low_cut_shows(tone_in_noise):
    heard = spectra([tone_in_noise], [call(3, 4, 3000)])
    gain = 10 ** (gain_db(low_cut(2500, RATE_HZ), np.arange(N_BINS) * BIN_HZ, RATE_HZ) / 10)
    bins_hz = np.arange(N_BINS) * BIN_HZ
    rest = (gain * k_weighting(bins_hz)).sum() / k_weighting(bins_hz).sum()
    expected = gain_db(low_cut(2500, RATE_HZ), 3000, RATE_HZ)[0] - 10 * np.log10(rest)
    assert stand_db(heard, gain)[0] - stand_db(heard)[0] == pytest.approx(expected, abs=0.1)
    # a cut above the call leaves nothing of it
    gone = 10 ** (gain_db(low_cut(9000, RATE_HZ), np.arange(N_BINS) * BIN_HZ, RATE_HZ) / 10)
    assert stand_db(heard, gone)[0] < -20


def test_a_call_that_a_cut_takes_in_part_does_not_stand(tone_in_noise):
    heard = spectra([tone_in_noise], [call(3, 4, 3000)])
    bins_hz = np.arange(N_BINS) * BIN_HZ
    for cutoff_hz, standing in ((1500, 1), (3000, 0)):  # the latter takes 3 dB
        sections = low_cut(cutoff_hz, RATE_HZ)
        gain = 10 ** (gain_db(sections, bins_hz, RATE_HZ) / 10)
        (treated,) = filtered([tone_in_noise[None]], sections, RATE_HZ)
        after = spectra([treated[0]], [call(3, 4, 3000)])
        assert stand_db(after)[0] > 6
        assert figures(heard, Gains(gain, gain)).standing == standing
        assert figures(after, was=loudness(heard)).standing == standing


@pytest.mark.parametrize("size", [10_000, 48_000, 100_001])
def test_blocks_of_any_length_read_the_same(tone_in_noise, size):
    calls = [call(3, 4, 3000), call(7.5, 8.0, 1000)]
    whole = spectra([tone_in_noise], calls)
    pieces = [tone_in_noise[i : i + size] for i in range(0, len(tone_in_noise), size)]
    np.testing.assert_allclose(stand_db(spectra(pieces, calls)), stand_db(whole), atol=1e-3)


def test_a_call_that_fills_its_take_is_held_against_what_there_is(tone_in_noise):
    heard = spectra([tone_in_noise], [call(0, 8, 3000)])
    assert np.isfinite(stand_db(heard)).all()


def test_a_call_is_held_against_what_is_near_it(tone_in_noise, rng):
    loud = rng.normal(0, 0.5, 8 * RATE_HZ).astype(np.float32)
    near, alone = (
        stand_db(spectra(blocks, [call(3, 4, 3000)]))[0]
        for blocks in ([tone_in_noise, loud], [tone_in_noise])
    )
    assert near == pytest.approx(alone, abs=0.2)


def test_a_call_amid_others_is_held_against_the_rest_of_the_take(tone_in_noise, rng):
    more = rng.normal(0, 0.05, 8 * RATE_HZ).astype(np.float32)
    among = [call(0.5 * n, 0.5 * n + 0.5, 8000) for n in range(20) if n not in (6, 7)]
    heard = spectra([tone_in_noise, more], [call(3, 4, 3000), *among])
    alone = spectra([tone_in_noise, more], [call(3, 4, 3000)])
    assert stand_db(heard)[0] == pytest.approx(stand_db(alone)[0], abs=0.2)


def test_without_calls(tone_in_noise):
    found = figures(spectra([tone_in_noise], []))
    assert found.calls == 0
    assert "LUFS" in str(found)


def test_the_quietest_stretch(rng):
    sound = rng.normal(0, 0.1, 40 * RATE_HZ).astype(np.float32)
    sound[20 * RATE_HZ : 34 * RATE_HZ] *= 0.01
    assert spectra([sound], []).quiet_s == pytest.approx(21, abs=1.1)


@pytest.mark.parametrize("block_s", [0.3, 7.77, 60.0, 200.0])
def test_the_quietest_stretch_is_told_to_the_second_in_any_blocks(rng, block_s):
    sound = rng.normal(0, 0.1, 150 * RATE_HZ).astype(np.float32)
    sound[70 * RATE_HZ : 82 * RATE_HZ] *= 0.01
    n = round(block_s * RATE_HZ)
    blocks = (sound[i : i + n] for i in range(0, len(sound), n))
    assert spectra(blocks, []).quiet_s == 70.0


def test_the_rest_of_each_region_is_kept_apart_and_counts_for_its_length(rng):
    sound = rng.normal(0, 0.01, 10 * RATE_HZ).astype(np.float32)
    sound[6 * RATE_HZ : 8 * RATE_HZ] *= 10
    calls = [call(1, 2, 3000)]
    whole, parts = (spectra([sound], calls, regions) for regions in ((), (Span(6, 8),)))
    assert parts.rest_s[1] == pytest.approx(2, abs=0.05)
    assert parts.rest_s.sum() == pytest.approx(whole.rest_s.sum())
    outside, inside = parts.rest.mean(axis=1)
    assert 10 * np.log10(inside / outside) == pytest.approx(20, abs=0.5)
    # A gain of one everywhere changes nothing, whether it is told by region or not.
    assert figures(parts).rest_lufs == pytest.approx(figures(whole).rest_lufs, abs=0.01)


def test_a_call_over_the_whole_take_has_only_itself_to_be_held_against(tone_in_noise):
    heard = spectra([tone_in_noise], [call(0, 8, 3000)], [Span(2, 3)])
    assert not heard.rest_s.any()
    assert np.isfinite(figures(heard).rest_lufs)
