"""The cut of a whole take, on spectra of single bins: a Butterworth filter by its closed form."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.records.found import NoiseSpan
from calltag.sound.loudness.k_weighting import k_weighting
from calltag.takes.filter_cuts import UNCUT
from calltag.takes.masking import Effect, Left
from calltag.takes.rescue.call_spectra import Spectra
from calltag.takes.rescue.whole_cut import cut_of_whole
from calltag.takes.thresholds import read_thresholds

from ..conftest import call_at, tones

STEP = 2 ** (1 / 12)  # cuts are tried twelve to the octave


def cut_for(
    calls: list[tuple[float, float]], *around: tuple[float, float], in_noise: bool | None = None
):
    """The cut for calls, each a tone, among steady tones; all in hertz and decibels.

    `in_noise` says whether they stand in a noise at the same time, if there is one.
    """
    spectra = Spectra(
        calls=np.stack([tones(call) for call in calls]),
        backgrounds=np.stack([tones(*around)] * len(calls)),
        rest=tones(*around)[None],
        rest_s=np.array([10.0]),
        quiet_s=0.0,
    )
    found = tuple(call_at(1, hz) for hz, _ in calls)
    wind = NoiseSpan(
        start_s=0, end_s=9, kind="wind", confidence=0.9, level_dbfs=-30, low_hz=50, high_hz=900
    )
    noise = Effect(wind, Left.ABOVE, calls=found, standing=found if in_noise else ())
    noises = () if in_noise is None else (noise,)
    return cut_of_whole(spectra, found, noises, read_thresholds())


def needed_hz(hz: float, call_db: float, noise_hz: float, noise_db: float) -> float:
    """Where a low cut has to lie for the call to stand 14 dB above the noise.

    Fifteen are enough, and a decibel less is nearly that. Two passes of the fourth order that take
    3 dB together at fc take 20 log10(1 + (sqrt(2) - 1) (fc/f)^8) at f.
    """
    weight_db = 10 * np.log10(k_weighting(np.array([hz, noise_hz])))
    taken_db = 14 - (call_db + weight_db[0] - noise_db - weight_db[1])
    return noise_hz * ((10 ** (taken_db / 20) - 1) / (2**0.5 - 1)) ** (1 / 8)


def test_the_mildest_cut_that_gains_nearly_most_is_made():
    cut = cut_for([(6000, -50)], (1000, -30))
    assert 1 <= cut.low_hz / needed_hz(6000, -50, 1000, -30) <= STEP
    assert not cut.has_high_cut


@pytest.mark.parametrize("stands", [True, False])
def test_a_call_is_brought_out_unless_it_is_lost_in_a_noise(stands):
    assert bool(cut_for([(6000, -50)], (1000, -30), in_noise=stands)) == stands


@pytest.mark.parametrize(("stands_db", "is_cut"), [(7.0, True), (13.0, True), (14.0, False)])
def test_calls_that_stand_are_brought_out_where_that_is_worth_a_file(stands_db, is_cut):
    """Fifteen decibels are enough, and a decibel and a half is the least that is worth it."""
    weight_db = 10 * np.log10(k_weighting(np.array([6000.0, 1000.0])))
    call_db = stands_db - 30 - weight_db[0] + weight_db[1]
    assert bool(cut_for([(6000, call_db)], (1000, -30))) == is_cut


def test_a_rumble_far_below_a_boom_is_cut_below_the_boom():
    cut = cut_for([(117, -30)], (23.4, -10))
    # of a tone of 117 Hz, a cut at 100 Hz leaves 0.8, as much as a call must keep
    assert 50 <= cut.low_hz < 100


def test_no_clear_call_is_cut_away_to_bring_out_another():
    assert cut_for([(6000, -50), (117, -30)], (1000, -30)) == UNCUT
