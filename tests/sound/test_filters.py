"""Filters against the closed forms of their responses, and that they move nothing in time."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from calltag.errors import InputError
from calltag.sound.filters import (
    Piece,
    filtered,
    filtered_in_pieces,
    gain_db,
    high_cut,
    hum_notch,
    low_cut,
    settling_s,
)

RATE_HZ = 48_000


def run(sound, sections, block=None):
    sound = np.atleast_2d(sound)
    size = block or sound.shape[1]
    blocks = (sound[:, i : i + size] for i in range(0, sound.shape[1], size))
    return np.concatenate(list(filtered(blocks, sections, RATE_HZ)), axis=1)


def test_high_cut_is_a_low_cut_turned_about():
    """On the bilinear transform's frequency axis, tan(pi f / rate), f and its inverse mirror."""
    for cutoff_hz in (300.0, 2000.0, 9000.0):
        assert gain_db(high_cut(cutoff_hz, RATE_HZ), cutoff_hz, RATE_HZ) == pytest.approx(
            -10 * np.log10(2), abs=1e-6
        )
        frequency_hz = np.array([100.0, 500.0, 4000.0, 12_000.0])
        turned_hz, turned_cutoff_hz = RATE_HZ / 2 - frequency_hz, RATE_HZ / 2 - cutoff_hz
        np.testing.assert_allclose(
            gain_db(high_cut(cutoff_hz, RATE_HZ), frequency_hz, RATE_HZ),
            gain_db(low_cut(turned_cutoff_hz, RATE_HZ), turned_hz, RATE_HZ),
            atol=1e-6,
        )
    with pytest.raises(InputError, match="high cut"):
        high_cut(24_000.0, RATE_HZ)


@pytest.mark.parametrize("order", [2, 4])
@pytest.mark.parametrize("cutoff_hz", [80.0, 1000.0, 4000.0])
def test_low_cut_is_a_butterworth_twice(order, cutoff_hz):
    # Butterworth 1930: |H|^2 = 1 / (1 + (fc/f)^2n), on the bilinear transform's warped axis; twice
    frequency_hz = np.geomspace(cutoff_hz / 4, 20_000, 40)
    warped = np.tan(np.pi * frequency_hz / RATE_HZ)
    corner = np.tan(np.pi * cutoff_hz / RATE_HZ) * (np.sqrt(2) - 1) ** (1 / (2 * order))
    closed_form = -20 * np.log10(1 + (corner / warped) ** (2 * order))
    measured = gain_db(low_cut(cutoff_hz, RATE_HZ, order=order), frequency_hz, RATE_HZ)
    np.testing.assert_allclose(measured, closed_form, atol=1e-6)
    assert gain_db(low_cut(cutoff_hz, RATE_HZ), cutoff_hz, RATE_HZ) == pytest.approx(
        -3.01, abs=0.01
    )


def test_an_octave_below_the_cut_falls_by_its_slope():
    low, lower = gain_db(low_cut(2000, RATE_HZ), [125, 62.5], RATE_HZ)
    assert low - lower == pytest.approx(48.2, abs=0.1)  # 2 * 4 * 6.02 dB an octave


def test_notch_closed_form():
    # a second-order notch on the warped axis: |H| = |w^2 - w0^2| / sqrt((w^2 - w0^2)^2 + (B w)^2)
    base_hz, width_hz = 50.0, 1.0
    frequency_hz = np.array([45.0, 49.0, 49.5, 50.5, 51.0, 60.0, 1000.0])
    w = np.tan(np.pi * frequency_hz / RATE_HZ)
    w0 = np.tan(np.pi * base_hz / RATE_HZ)
    bandwidth = np.tan(np.pi * width_hz / RATE_HZ) * (1 + w0**2)
    apart = np.abs(w**2 - w0**2)
    closed_form = 40 * np.log10(apart / np.hypot(apart, bandwidth * w))
    notch = hum_notch(base_hz, [1], RATE_HZ, width_hz=width_hz)
    np.testing.assert_allclose(gain_db(notch, frequency_hz, RATE_HZ), closed_form, atol=1e-3)
    assert gain_db(notch, base_hz, RATE_HZ) < -100


def test_every_line_is_taken_and_what_lies_between_is_left():
    notch = hum_notch(50.02, [1, 2, 3, 10], RATE_HZ)
    assert (gain_db(notch, 50.02 * np.array([1, 2, 3, 10]), RATE_HZ) < -80).all()
    assert (gain_db(notch, [75, 125, 250, 520, 5000], RATE_HZ) > -0.01).all()


@pytest.mark.parametrize("cutoff_hz", [200.0, 3000.0])
def test_a_call_stays_on_its_sample(cutoff_hz):
    t = np.arange(RATE_HZ) / RATE_HZ
    click = np.exp(-(((t - 0.5) / 0.002) ** 2)) * np.cos(2 * np.pi * 6000 * (t - 0.5))
    out = run(click, low_cut(cutoff_hz, RATE_HZ))[0]
    assert np.abs(out).argmax() == np.abs(click).argmax()
    # symmetrical about its middle before and after: no frequency was delayed
    middle = RATE_HZ // 2
    np.testing.assert_allclose(
        out[middle - 900 : middle], out[middle + 900 : middle : -1], atol=1e-6
    )


@pytest.mark.parametrize("block", [4_800, 77_777])
@pytest.mark.parametrize(
    "sections",
    [low_cut(120, RATE_HZ), hum_notch(50, [1, 2, 3], RATE_HZ), low_cut(2000, RATE_HZ)],
    ids=["low cut 120", "notches", "low cut 2000"],
)
def test_blocks_equal_one_piece(rng, sections, block, monkeypatch):
    monkeypatch.setattr("calltag.sound.filters._BLOCK_S", 2.0)
    sound = rng.normal(0, 0.1, (2, 25 * RATE_HZ)).astype(np.float32)
    whole = scipy.signal.sosfiltfilt(sections, sound.astype(np.float64), axis=1)
    in_blocks = run(sound, sections, block)
    assert in_blocks.shape == sound.shape
    assert np.abs(in_blocks - whole).max() < 1e-5  # -100 dBFS


def test_settling_is_long_enough():
    for sections in (low_cut(40, RATE_HZ), hum_notch(50, range(1, 13), RATE_HZ)):
        n = round(settling_s(sections, RATE_HZ) * RATE_HZ)
        impulse = np.zeros(n + 2000)
        impulse[0] = 1
        tail = scipy.signal.sosfilt(sections, impulse)[n:]
        assert np.abs(tail).max() < 1e-6


def test_short_and_empty_sound():
    assert run(np.ones((2, 5)), low_cut(100, RATE_HZ)).shape == (2, 5)
    assert list(filtered([], low_cut(100, RATE_HZ), RATE_HZ)) == []


@pytest.mark.parametrize("cutoff_hz", [0.0, 24_000.0, -5.0])
def test_impossible_filters_are_named(cutoff_hz):
    with pytest.raises(InputError, match="low cut"):
        low_cut(cutoff_hz, RATE_HZ)
    with pytest.raises(InputError, match="no line"):
        hum_notch(50, [], RATE_HZ)


def test_pieces_are_filtered_and_the_rest_is_left(rng):
    sound = rng.normal(0, 0.1, (2, 90 * RATE_HZ)).astype(np.float32)
    cuts = [low_cut(300, RATE_HZ), low_cut(2000, RATE_HZ)]
    pieces = [Piece(0.0, 20.0, cuts[0]), Piece(50.0, 70.0, cuts[1]), Piece(70.0, 75.0, cuts[0])]
    blocks = [sound[:, i : i + 170_000] for i in range(0, sound.shape[1], 170_000)]
    out = np.concatenate(list(filtered_in_pieces(blocks, pieces, RATE_HZ)), axis=1)
    assert out.shape == sound.shape
    whole = [next(iter(filtered([sound], cut, RATE_HZ))) for cut in cuts]

    def same(one, other, start_s, end_s):
        span = slice(round(start_s * RATE_HZ), round(end_s * RATE_HZ))
        np.testing.assert_allclose(one[:, span], other[:, span], atol=2e-6)

    same(out, whole[0], 0, 19.9)
    same(out, sound, 20.1, 49.9)
    same(out, whole[1], 50.1, 69.9)
    same(out, whole[0], 70.1, 74.9)
    same(out, sound, 75.1, 90)
    # half-way through a crossing, each has half a share
    at = 70 * RATE_HZ
    expected = (whole[0][:, at] + whole[1][:, at]) / 2
    np.testing.assert_allclose(out[:, at], expected, atol=1e-3)


def test_the_slowest_of_several_filters_settles_too(rng, monkeypatch):
    monkeypatch.setattr("calltag.sound.filters._BLOCK_S", 2.0)
    sound = rng.normal(0, 0.1, (1, 30 * RATE_HZ)).astype(np.float32)
    notches = hum_notch(50, [1, 2, 3], RATE_HZ)
    assert settling_s(notches, RATE_HZ) > 20 * settling_s(low_cut(2000, RATE_HZ), RATE_HZ)
    pieces = [Piece(0.0, 5.0, low_cut(2000, RATE_HZ)), Piece(5.0, 30.0, notches)]
    blocks = [sound[:, i : i + 4_800] for i in range(0, sound.shape[1], 4_800)]
    out = np.concatenate(list(filtered_in_pieces(blocks, pieces, RATE_HZ)), axis=1)
    whole = scipy.signal.sosfiltfilt(notches, sound.astype(np.float64), axis=1)
    after = slice(round(5.1 * RATE_HZ), None)
    np.testing.assert_allclose(out[:, after], whole[:, after], atol=1e-5)  # -100 dBFS


@pytest.mark.parametrize("end_s", [44.9, 45.0, 45.1, 60.0])
def test_a_piece_up_to_the_end_is_filtered_up_to_the_end(rng, end_s):
    sound = rng.normal(0, 0.1, (1, 45 * RATE_HZ)).astype(np.float32)
    cut = low_cut(2000, RATE_HZ)
    blocks = [sound[:, i : i + 170_000] for i in range(0, sound.shape[1], 170_000)]
    pieces = [Piece(30.0, end_s, cut)]
    out = np.concatenate(list(filtered_in_pieces(blocks, pieces, RATE_HZ)), axis=1)
    whole = np.concatenate(list(filtered([sound], cut, RATE_HZ)), axis=1)
    after = slice(round(30.1 * RATE_HZ), None)
    np.testing.assert_allclose(out[:, after], whole[:, after], atol=2e-6)


def test_no_pieces_no_change(rng):
    sound = rng.normal(0, 0.1, (1, RATE_HZ)).astype(np.float32)
    np.testing.assert_array_equal(
        np.concatenate(list(filtered_in_pieces([sound], [], RATE_HZ)), 1), sound
    )
