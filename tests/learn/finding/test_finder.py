"""Finding calls in takes, whatever lies at the border of two blocks and whatever the take is like.

A plain ear stands in for the starter model wherever numbers count: it hears a call where a band
stands out of its floor. What is tested then is the finder, not how well the model was trained.
"""

from __future__ import annotations

import itertools
import subprocess
import sys
import tracemalloc
import weakref
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile as sf
from scipy.signal import butter, sosfilt

from calltag.errors import ModelError
from calltag.learn.finding import finder as finder_module
from calltag.learn.finding import measuring, one_pass
from calltag.learn.finding import windows as windows_module
from calltag.learn.finding.finder import Finder
from calltag.learn.finding.second_look import LEAST_PROBABILITY
from calltag.learn.finding.surroundings import EVIDENCE
from calltag.learn.finding.windows import CONTEXT_FRAMES
from calltag.learn.networks.starter_model import STEPS_PER_S, Heard
from calltag.media.probe import MediaInfo, probe
from calltag.records.found import Call
from calltag.records.label import NOISE_KINDS
from calltag.records.span import Span
from calltag.records.take import ChannelFault, FaultKind
from calltag.sound import events
from calltag.sound.features import FEATURE_NAMES, N_EMBEDDING, N_MEASURED, VOICE
from calltag.sound.floor import noise_floor_db
from calltag.sound.spectrum import RATE_HZ


class PlainEar:
    """Hears calls where a band stands 10 dB out of its floor, machines where low bands are loud."""

    def listen(self, level_db, floor_db=None):
        floor_db = noise_floor_db(level_db) if floor_db is None else floor_db
        if len(level_db) % 2:
            level_db, floor_db = (np.concatenate([x, x[-1:]]) for x in (level_db, floor_db))
        over = (level_db - floor_db)[:, 20:].max(axis=1).reshape(-1, 2).max(axis=1)
        call = np.clip((over - 10) / 2, -6, 6).astype(np.float32)
        kinds = np.full((len(call), len(NOISE_KINDS)), -6, np.float32)
        kinds[:, 0] = np.where(level_db[::2, :4].mean(axis=1) > -50, 5, -5)
        embedding = np.repeat(level_db[::2] / 50, N_EMBEDDING // 64, axis=1)
        return Heard(call, kinds, embedding.astype(np.float32))


class Nothing:
    """Takes nothing for talk, or for a hand."""

    def probability_of(self, _evidence):
        return 0.0


class Always(Nothing):
    """Takes everything for what it tells, as likely as that."""

    def __init__(self, probability: float) -> None:
        self.probability = probability

    def probability_of(self, _evidence):
        return self.probability


class PlainLook:
    """Believes the mean odds."""

    def __init__(self, bias: float = 0.0) -> None:
        self.bias = bias

    def probability(self, evidence):
        odds = self.bias + evidence[:, EVIDENCE.index("mean_odds")]
        return 1 / (1 + np.exp(-np.clip(odds, -30, 30)))

    def probability_of(self, evidence):
        return float(self.probability(evidence[None])[0])


@pytest.fixture
def plain() -> Finder:
    return Finder(PlainEar(), PlainLook(), Nothing(), Nothing())


@pytest.fixture
def blocks(monkeypatch):
    """Have takes looked at in windows of so many seconds, read in blocks of a third of that."""

    def use(seconds):
        monkeypatch.setattr(finder_module, "BLOCK_S", seconds / 3)
        monkeypatch.setattr(windows_module, "WINDOW_FRAMES", round(seconds * 100))

    return use


def hiss(seconds, level=1e-3, seed=0, rate_hz=RATE_HZ):
    rng = np.random.default_rng(seed)
    return level * rng.standard_normal(round(seconds * rate_hz))


def sing(sound, at_s, length_s=0.6, *, frequency_hz=3000.0, level=0.05):
    """Add a whistle with two harmonics, of even level between ends of 5 ms."""
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    whistle = sum(np.sin(2 * np.pi * k * frequency_hz * t) / k**2 for k in (1, 2, 3))
    fade = np.minimum(1, np.minimum(np.arange(len(t)), np.arange(len(t))[::-1]) / 240)
    first = round(at_s * RATE_HZ)
    sound[first : first + len(t)] += level * fade * whistle
    return sound


def write(path, sound, rate_hz=RATE_HZ):
    sf.write(path, np.asarray(sound, np.float32).T, rate_hz, subtype="FLOAT")
    return path


def found(finder, path):
    return finder.analyse(path, probe(path))


# --- what is found --------------------------------------------------------------------------------


def test_calls_are_found_where_they_are(plain, tmp_path):
    sound = hiss(20)
    at_s = [1.0, 4.003, 7.507, 12.0, 18.8]
    for start_s in at_s:
        sing(sound, start_s)
    calls = found(plain, write(tmp_path / "a.wav", sound)).calls
    assert len(calls) == len(at_s)
    for call, start_s in zip(calls, at_s, strict=True):
        assert call.start_s == pytest.approx(start_s, abs=0.02)
        assert call.end_s == pytest.approx(start_s + 0.6, abs=0.03)
        assert call.low_hz < 3000 < call.high_hz
        assert call.peak_hz == pytest.approx(3000, abs=30)
        assert call.snr_db > 20
        assert call.call_probability > 0.9
        assert call.confidence == call.call_probability
        assert call.noise == ()
        assert call.features.shape == (len(FEATURE_NAMES),)
        assert call.features.dtype == np.float32


@pytest.mark.parametrize(("hand", "left"), [(0.45, 1.0), (0.7, 0.6), (0.9, 0.2)])
def test_handling_is_told_where_a_find_is_no_longer_a_call(tmp_path, hand, left):
    """Where a hand is the likelier, twice what it leaves is left of a call; told below a half."""
    path = write(tmp_path / "a.wav", sing(hiss(20), 8, level=0.005))
    finder = Finder(PlainEar(), PlainLook(), Nothing(), Always(hand))
    findings = found(finder, path)
    (call,) = findings.calls
    assert call.snr_db < 25
    assert call.call_probability == pytest.approx(left, abs=0.03)
    assert finder.measure(path, [call.span])[0].call_probability == pytest.approx(left, abs=0.03)
    handling = [span for span in findings.noise if span.kind == "handling"]
    assert [span.start_s < 8.3 < span.end_s for span in handling] == [True] * (left < 0.5)


def test_unlikely_finds_are_not_kept(tmp_path):
    path = write(tmp_path / "a.wav", sing(hiss(8), 3))
    assert len(found(Finder(PlainEar(), PlainLook(-2), Nothing(), Nothing()), path).calls) == 1
    assert found(Finder(PlainEar(), PlainLook(-20), Nothing(), Nothing()), path).calls == ()
    assert 0 < LEAST_PROBABILITY < 0.5  # a user can still choose to see unlikely ones


def test_noise_at_the_same_time_is_named(plain, tmp_path):
    sound = hiss(12)
    t = np.arange(len(sound)) / RATE_HZ
    engine = 0.05 * sum(np.sin(2 * np.pi * 47 * k * t) for k in range(1, 8))
    swell = np.clip(np.minimum(t - 5.5, 12 - t), 0, 1)  # comes and goes without a click
    sound += engine * np.sin(np.pi / 2 * swell) ** 2
    sing(sing(sound, 2), 9)
    findings = found(plain, write(tmp_path / "a.wav", sound))
    assert [call.noise for call in findings.calls] == [(), ("machine",)]
    (span,) = findings.noise
    assert span.kind == "machine"
    assert span.start_s == pytest.approx(6, abs=0.6)
    assert span.end_s == pytest.approx(11.5, abs=0.6)


def test_levels_of_the_take(plain, tmp_path):
    sound = sing(hiss(12), 5, level=0.2)
    levels = found(plain, write(tmp_path / "a.wav", np.stack([sound, 0.25 * sound]))).levels
    assert levels.peak_dbfs == pytest.approx(20 * np.log10(np.abs(sound).max()), abs=0.01)
    assert levels.floor_dbfs == pytest.approx(-60, abs=0.3)
    assert levels.channel == "1"
    assert levels.clipped == 0
    assert np.isfinite(levels.loudness_lufs)


# --- the border of two blocks ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def borders(tmp_path_factory):
    """Fifty seconds with a call over every kind of border that blocks of 10 s make."""
    sound = hiss(52)
    at_s = [2.5, 3.7, 9.7, 13.6, 19.99, 23.99, 25.1, 29.4, 33.69, 39.9, 44.0, 50.9]
    for start_s in at_s:
        sing(sound, start_s)
    folder = tmp_path_factory.mktemp("borders")
    whole = write(folder / "whole.wav", sound)
    later = write(folder / "later.wav", np.concatenate([hiss(10, seed=9), sound]))
    return whole, later, at_s


def ends(calls, earlier_s=0.0):
    return np.array([(call.start_s - earlier_s, call.end_s - earlier_s) for call in calls])


@pytest.mark.parametrize("block_s", [10.0, 13.7, 20.0])
def test_blocks_leave_no_trace(plain, borders, blocks, block_s):
    whole, _, at_s = borders
    in_one = found(plain, whole)  # shorter than a block
    assert len(in_one.calls) == len(at_s)
    blocks(block_s)
    in_blocks = found(plain, whole)
    assert len(in_blocks.calls) == len(at_s)
    np.testing.assert_array_equal(ends(in_blocks.calls), ends(in_one.calls))
    for a, b in zip(in_blocks.calls, in_one.calls, strict=True):
        assert replace(a, call_probability=b.call_probability, confidence=b.confidence) == b
        assert a.call_probability == pytest.approx(b.call_probability, abs=0.01)
        np.testing.assert_allclose(a.features, b.features, atol=1e-3, rtol=1e-4)
    assert in_blocks.levels.peak_dbfs == in_one.levels.peak_dbfs
    assert in_blocks.levels.floor_dbfs == pytest.approx(in_one.levels.floor_dbfs, abs=0.02)
    assert in_blocks.levels.loudness_lufs == pytest.approx(in_one.levels.loudness_lufs, abs=0.05)
    assert in_blocks.noise == in_one.noise


@pytest.mark.parametrize("block_s", [10.0, 45.0])
def test_a_take_that_starts_ten_seconds_earlier_has_the_same_calls(plain, borders, blocks, block_s):
    blocks(block_s)
    whole, later, at_s = borders
    first, second = found(plain, whole).calls, found(plain, later).calls
    assert len(first) == len(second) == len(at_s)
    np.testing.assert_allclose(ends(second, earlier_s=10), ends(first), atol=0.0201)


def test_a_call_longer_than_a_block_is_one_call(tmp_path, blocks):
    # An ear that goes by the level alone, for a call so long is its own floor.
    class Level(PlainEar):
        def listen(self, level_db, _=None):
            return super().listen(level_db, np.full_like(level_db, -75))

    blocks(10)
    sound = hiss(60, level=1e-4)
    t = np.arange(38 * RATE_HZ) / RATE_HZ
    reel = 0.02 * np.sin(2 * np.pi * 3000 * t) * np.sin(np.pi * 26 * t) ** 2  # no whine: it beats
    sing(sound, 55)[round(8.5 * RATE_HZ) :][: len(reel)] += reel
    calls = found(
        Finder(Level(), PlainLook(), Nothing(), Nothing()), write(tmp_path / "a.wav", sound)
    ).calls
    assert len(calls) == 2
    assert calls[0].start_s == pytest.approx(8.5, abs=0.05)
    assert calls[0].end_s == pytest.approx(46.5, abs=0.1)
    assert calls[1].start_s == pytest.approx(55, abs=0.02)


def test_calls_in_every_gap_length_across_a_border(plain, tmp_path, blocks):
    # Two calls that are heard as one in one block and as two in the next must not be lost.
    blocks(12)
    border_s = 12.0 - CONTEXT_FRAMES / 100
    for gap_s, shift_s in itertools.product([0.25, 0.5], [-0.7, -0.1, 0.0, 0.1]):
        sound = hiss(30)
        start_s = border_s + shift_s
        sing(sing(sound, start_s), start_s + 0.6 + gap_s)
        calls = found(plain, write(tmp_path / "a.wav", sound)).calls
        covered = sum(call.end_s - call.start_s for call in calls)
        assert calls[0].start_s == pytest.approx(start_s, abs=0.02)
        assert calls[-1].end_s == pytest.approx(start_s + 1.2 + gap_s, abs=0.03)
        assert len(calls) == (1 if gap_s < 0.3 else 2)
        assert covered == pytest.approx(1.2 + (gap_s if gap_s < 0.3 else 0), abs=0.1)


# --- half-heard events ----------------------------------------------------------------------------


class HalfHearing(PlainEar):
    """Hears a likely event from 4 s on, and a half-heard one from 8 s on."""

    def listen(self, level_db, floor_db=None):
        heard = super().listen(level_db, floor_db)
        call = np.full_like(heard.call, -6.0)
        call[200:230], call[400:430] = 0.5, -0.5
        return Heard(call, np.full_like(heard.kinds, -6.0), heard.embedding)


@pytest.mark.parametrize(("bias", "starts_s"), [(2.0, [4, 8]), (0.0, [4]), (-1.0, [4]), (-4.0, [])])
def test_a_half_heard_event_is_kept_where_it_is_likely_a_call(tmp_path, bias, starts_s):
    finder = Finder(HalfHearing(), PlainLook(bias), Nothing(), Nothing())
    calls = found(finder, write(tmp_path / "a.wav", sing(sing(hiss(12), 4), 8))).calls
    assert [call.start_s for call in calls] == pytest.approx(starts_s, abs=0.1)


def test_noise_is_not_told_by_half_heard_events(tmp_path):
    finder = Finder(HalfHearing(), PlainLook(2.0), Nothing(), Always(0.9))
    sound = sing(sing(hiss(12), 4, level=2e-3), 8, level=2e-3)
    findings = found(finder, write(tmp_path / "a.wav", sound))
    handling = [span.span for span in findings.noise if span.kind == "handling"]
    assert [round(span.start_s) for span in handling] == [4]


# --- measuring what the user points at ------------------------------------------------------------


def test_measuring_a_found_call_gives_what_was_found(plain, borders):
    whole, *_ = borders
    calls = found(plain, whole).calls
    measured = plain.measure(whole, [call.span for call in calls])
    for a, b in zip(measured, calls, strict=True):
        assert (a.start_s, a.end_s) == (b.start_s, b.end_s)
        assert (a.low_hz, a.high_hz, a.peak_hz) == (b.low_hz, b.high_hz, b.peak_hz)
        assert a.snr_db == pytest.approx(b.snr_db, abs=0.1)
        assert a.level_dbfs == pytest.approx(b.level_dbfs, abs=0.01)
        assert a.call_probability == pytest.approx(b.call_probability, abs=0.05)
        np.testing.assert_allclose(
            a.features[:N_MEASURED], b.features[:N_MEASURED], atol=0.02, rtol=0.01
        )
        np.testing.assert_allclose(a.features[N_MEASURED:], b.features[N_MEASURED:], atol=0.02)


def test_a_long_find_is_asked_for_its_beat_wherever_it_lies(plain, blocks, tmp_path):
    """Pulses, 90 a second: their sound is still there when they are measured."""
    blocks(21)
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    pulses = 0.02 * sum(np.sin(2 * np.pi * 90 * k * t) for k in range(1, 60))
    sound = hiss(80)
    starts_s = (6.0, 19.5, 33.0, 70.0)
    for start_s in starts_s:
        sound[round(start_s * RATE_HZ) :][: len(pulses)] += pulses
    path = write(tmp_path / "a.wav", sound)
    calls = found(plain, path).calls
    assert [call.start_s for call in calls] == pytest.approx(starts_s, abs=0.05)
    measured = plain.measure(path, [call.span for call in calls])
    lines = FEATURE_NAMES.index("beat_lines")
    for a, b in zip(measured, calls, strict=True):
        assert b.features[lines] > 2
        np.testing.assert_allclose(a.features[lines:], b.features[lines:], atol=0.05)


def test_the_starter_model_hears_the_same_in_a_span_as_in_the_take(finder, borders):
    whole, *_ = borders
    calls = found(finder, whole).calls
    assert len(calls) > 3  # whatever the model: plain whistles 30 dB over a hiss
    for a, b in zip(finder.measure(whole, [call.span for call in calls]), calls, strict=True):
        measured, by_networks = slice(0, VOICE.start), slice(VOICE.start, None)
        np.testing.assert_allclose(a.features[measured], b.features[measured], atol=0.02, rtol=0.01)
        scale = np.abs(b.features[by_networks]).max()
        np.testing.assert_allclose(
            a.features[by_networks], b.features[by_networks], atol=0.05 * scale
        )


@pytest.mark.parametrize(
    "span",
    [Span(0, 0.01), Span(0, 3), Span(2.99, 3), Span(1, 1.0001), Span(2.5, 9), Span(8, 9),
     Span(0, 60)],
)  # fmt: skip
def test_any_span_can_be_measured(plain, finder, tmp_path, span):
    path = write(tmp_path / "a.wav", sing(hiss(3), 1))
    for one in (plain, finder):
        (call,) = one.measure(path, [span])
        assert isinstance(call, Call)
        assert np.isfinite(call.features).all()
        assert call.start_s < call.end_s
        assert call.low_hz < call.high_hz


# --- takes of every kind --------------------------------------------------------------------------


def test_an_aircraft_far_away_is_a_machine_by_its_beat(finder, tmp_path):
    """A propeller that comes and goes over the reeds, 20 dB over the air at most, and the mains.

    It is no machine to the starter model, which hears the air that its low noise is like.
    """
    n = 36 * RATE_HZ
    rng = np.random.default_rng(4)
    spectrum = np.fft.rfft(rng.standard_normal(n))
    air = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(n, 1 / RATE_HZ), 20)), n)
    turn = 2 * np.pi * np.cumsum(94 - 8 * np.tanh(np.linspace(-2, 2, n))) / RATE_HZ
    tones = sum(np.sin(k * turn + k * k) / k for k in range(1, 13))
    rumble = sosfilt(butter(1, [60, 900], "band", fs=RATE_HZ, output="sos"), air)
    plane = tones / tones.std() + rumble / rumble.std()
    swell = 10 ** (-1.2 * np.linspace(-1, 1, n) ** 2)
    loud = 2e-3 * air / air.std()
    hum = sum(np.sin(2 * np.pi * 50 * k * np.arange(n) / RATE_HZ) / k for k in range(1, 7))

    def machine_s(sound, name):
        noise = found(finder, write(tmp_path / name, sound)).noise
        return [(span.start_s, span.end_s) for span in noise if span.kind == "machine"]

    ((start_s, end_s),) = machine_s(loud + 1e-2 * swell * plane, "plane.wav")
    assert start_s < 15
    assert end_s > 21
    assert machine_s(loud, "air.wav") == []
    assert machine_s(loud / 20 + 1e-4 * hum, "hum.wav") == [], "too faint to be told as the mains"


def test_a_snipe_that_drums_is_no_machine(finder, tmp_path):
    """It throbs as a rotor does, in bouts of two seconds, 25 dB over the air."""
    n = 20 * RATE_HZ
    rng = np.random.default_rng(4)
    spectrum = np.fft.rfft(rng.standard_normal(n))
    air = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(n, 1 / RATE_HZ), 20)), n)
    t = np.arange(n) / RATE_HZ
    drum = sosfilt(butter(2, [240, 400], "band", fs=RATE_HZ, output="sos"), air)
    drum *= np.sin(np.pi * 12 * t) ** 4 * np.clip(2 * np.sin(2 * np.pi * t / 5), 0, 1)
    sound = 2e-3 * air / air.std() + 4e-3 * drum / drum.std()
    assert [span.kind for span in found(finder, write(tmp_path / "drum.wav", sound)).noise] == []


def _odd_takes():
    rng = np.random.default_rng(2)
    n = 2 * RATE_HZ
    t = np.arange(n) / RATE_HZ
    return {
        "one sample": np.array([0.5]),
        "two samples": np.array([0.5, -0.5]),
        "10 ms": 0.1 * rng.standard_normal(480),
        "0.1 s": 0.1 * rng.standard_normal(4800),
        "just a window": 0.1 * rng.standard_normal(2048),
        "silence": np.zeros(n),
        "a long silence": np.zeros(60 * RATE_HZ),
        "DC": np.full(n, 0.3),
        "DC at full scale": np.ones(n),
        "noise at full scale": np.clip(rng.standard_normal(n), -1, 1),
        "square at full scale": np.sign(np.sin(2 * np.pi * 440 * t)),
        "one click": np.eye(1, n, n // 2)[0],
        "a click at each end": np.eye(1, n, 0)[0] + np.eye(1, n, n - 1)[0],
        "least bit of 24": np.where(rng.random(n) < 0.5, 0, 2.0**-23),
        "silence, then noise": np.concatenate([np.zeros(n), 0.2 * rng.standard_normal(n)]),
        "over full scale": 4 * rng.standard_normal(n),
    }


@pytest.mark.parametrize("name", _odd_takes())
def test_no_take_is_too_odd(finder, tmp_path, name):
    sound = _odd_takes()[name]
    findings = found(finder, write(tmp_path / "odd.wav", sound))
    length_s = len(sound) / RATE_HZ
    for call in findings.calls:
        assert 0 <= call.start_s < call.end_s <= length_s + 0.03
        assert np.isfinite(call.features).all()
        assert 0 <= call.call_probability <= 1
        assert np.isfinite([call.snr_db, call.level_dbfs]).all()
        assert 0 < call.low_hz < call.high_hz <= 24_000
    for span in findings.noise:
        assert 0 <= span.start_s < span.end_s <= length_s + 0.1
        assert 0 <= span.confidence <= 1
    assert not np.isnan([findings.levels.loudness_lufs, findings.levels.floor_dbfs]).any()
    if "silence" in name and "noise" not in name:
        assert findings.calls == ()
        assert findings.levels.floor_dbfs == float("-inf")


@pytest.mark.parametrize("rate_hz", [8000, 44_100, 96_000])
def test_other_rates_are_brought_to_48_khz(plain, tmp_path, rate_hz):
    t = np.arange(8 * rate_hz) / rate_hz
    sound = np.random.default_rng(0).normal(0, 1e-3, len(t))
    sound += np.where((t > 3) & (t < 3.8), 0.05 * np.sin(2 * np.pi * 2000 * t), 0)
    (call,) = found(plain, write(tmp_path / "a.wav", sound, rate_hz)).calls
    assert call.start_s == pytest.approx(3, abs=0.02)
    assert call.end_s == pytest.approx(3.8, abs=0.03)
    assert call.peak_hz == pytest.approx(2000, abs=30)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_what_a_recorder_of_another_rate_clipped_is_told(plain, tmp_path, rate_hz):
    t = np.arange(4 * rate_hz) / rate_hz
    whistle = np.clip(2 * np.sin(2 * np.pi * 3000 * t), -1, 1)  # two thirds of it: asin(1/2)
    levels = found(plain, write(tmp_path / "a.wav", whistle, rate_hz)).levels
    assert levels.clipped == pytest.approx(2 / 3 * 4 * rate_hz, rel=0.04)


@pytest.mark.parametrize("rate_hz", [8000, 44_100, RATE_HZ, 96_000, 192_000])
def test_peaks_and_dropouts_are_those_of_the_file_at_any_rate(plain, tmp_path, rate_hz):
    """A change of rate lowers a click, rings over flat tops and rounds the ends of silence."""
    sound = hiss(18, rate_hz=rate_hz)
    sound[5 * rate_hz] = 0.9
    gaps_s = [(4.0, 4.012), (9.0, 9.05), (14.9, 15.1)]  # the last over the border of a block
    for start_s, end_s in gaps_s:
        sound[round(start_s * rate_hz) : round(end_s * rate_hz)] = 0
    path = write(tmp_path / "a.wav", sound, rate_hz)
    levels = found(plain, path).levels
    assert levels.peak_dbfs == pytest.approx(20 * np.log10(0.9), abs=0.001)
    told = [fault for fault in levels.channel_faults if fault.kind == FaultKind.DROPS_OUT]
    starts_s, lengths_s = zip(*((fault.at_s, fault.amount) for fault in told), strict=True)
    assert starts_s == pytest.approx([start_s for start_s, _ in gaps_s], abs=5e-4)
    assert lengths_s == pytest.approx([end_s - start_s for start_s, end_s in gaps_s], abs=5e-4)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_channels_of_another_rate_die_at_the_sample(plain, tmp_path, rate_hz):
    sound = np.stack([hiss(20, rate_hz=rate_hz, seed=seed) for seed in (1, 2)])
    sound[0, round(12.345 * rate_hz) :] = 0
    levels = found(plain, write(tmp_path / "a.wav", sound, rate_hz)).levels
    (stops,) = levels.channel_faults
    assert (stops.kind, stops.channels, levels.channel) == (FaultKind.STOPS, (1,), "1, 2")
    assert stops.at_s == pytest.approx(12.345, abs=1e-4)


@pytest.mark.parametrize("beside", ["wind", "another place", "a copy", "one that dies"])
def test_loudness_is_that_of_all_channels(plain, tmp_path, rng, beside):
    """ITU-R BS.1770-4 sums the channels' energies; pyloudnorm filters every sample of them."""
    good = hiss(40)
    for at_s in (3, 8, 12, 19, 26, 33):
        sing(good, at_s + 0.03)
    other = {
        "wind": 0.8 * good + sosfilt(butter(2, 300, fs=RATE_HZ, output="sos"), hiss(40, level=0.5)),
        "another place": hiss(40, level=0.02, seed=5),
        "a copy": -0.25 * good,
        "one that dies": np.where(np.arange(len(good)) < 20 * RATE_HZ, hiss(40, level=0.02), 0),
    }[beside]
    sound = np.stack([good, other])
    path = write(tmp_path / "a.wav", sound)
    theirs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(sound.T)
    assert found(plain, path).levels.loudness_lufs == pytest.approx(theirs, abs=0.15)


@pytest.mark.parametrize("dead_s", [0.0, 0.5])
def test_an_offset_lifts_no_floor(plain, tmp_path, dead_s):
    sound = hiss(8, level=2e-3) + 0.05
    sound[: round(dead_s * RATE_HZ)] = 0
    levels = found(plain, write(tmp_path / "a.wav", sound)).levels
    assert levels.floor_dbfs == pytest.approx(20 * np.log10(2e-3), abs=0.3)
    assert levels.peak_dbfs == pytest.approx(20 * np.log10(sound.max()), abs=0.01)


def test_a_clip_with_a_picture_and_two_channels(plain, make_clip, tmp_path):
    sound = sing(hiss(6, level=3e-3), 2)
    path = make_clip(tmp_path / "A001.mp4", seconds=6, samples=np.stack([0 * sound, sound]))
    findings = found(plain, path)
    (call,) = findings.calls
    assert call.start_s == pytest.approx(2, abs=0.03)
    assert findings.levels.channel == "2"
    assert "channel 1 is dead" in findings.levels.faults
    assert findings.levels.channel_faults == (ChannelFault(FaultKind.DEAD, (1,)),)


def test_stretches_without_sound_are_noted(plain, make_clip, tmp_path):
    path = make_clip(
        tmp_path / "A001.mov",
        seconds=6,
        samples=hiss(3)[None],
        sound_delay_s=1.5,
        audio_codec="pcm_s16le",
    )
    levels = found(plain, path).levels
    assert levels.broken == ((0.0, 1.5), (4.5, 6.0))
    assert len(levels.faults) == 2


def test_sound_that_stops_in_all_channels_is_noted(plain, tmp_path, rng):
    sound = rng.normal(0, 0.01, (12 * RATE_HZ, 2))
    sound[7 * RATE_HZ :] = 0
    sound[2 * RATE_HZ : 3 * RATE_HZ] = 0
    sf.write(tmp_path / "A.wav", sound, RATE_HZ, subtype="PCM_24")
    levels = found(plain, tmp_path / "A.wav").levels
    assert np.array(levels.broken) == pytest.approx(np.array([(2, 3), (7, 12)]), abs=0.001)
    assert "sound stops at 7.0 s" in levels.faults


def test_hiss_that_a_cut_off_microphone_leaves_is_no_sound_of_the_place(plain, tmp_path, rng):
    sound = np.cumsum(rng.normal(0, 1e-4, 24 * RATE_HZ))
    sound -= np.convolve(sound, np.ones(4800) / 4800, "same")  # falls by 6 dB an octave
    sound[12 * RATE_HZ :] = 0
    sound += rng.normal(0, 1e-6, len(sound))
    sf.write(tmp_path / "A.wav", sound, RATE_HZ, subtype="FLOAT")
    levels = found(plain, tmp_path / "A.wav").levels
    assert levels.broken == ((12.0, 24.0),)
    assert "channel 1 carries nothing but hiss from 12 s on" in levels.faults


# --- memory ---------------------------------------------------------------------------------------


class Endless:
    """Stands in for the reader of a take: hands out so many blocks of ten seconds."""

    faults = broken = ()
    late = False
    joined_s = None

    def __init__(self, n_blocks, calls_at_s):
        self._n_blocks = n_blocks
        self._calls_at_s = calls_at_s

    def __call__(self, *_, **__):
        return self

    def __iter__(self):
        block = hiss(10)[None].astype(np.float32)
        for i, at_s in enumerate(self._calls_at_s):
            sing(block[0], at_s, 0.1, frequency_hz=2000.0 + 2500.0 * (i % 3))
        return (block.copy() for _ in range(self._n_blocks))


@pytest.fixture
def peak_mb(plain, tmp_path, monkeypatch):
    def measure(n_blocks, calls_at_s):
        monkeypatch.setattr(finder_module, "SoundReader", Endless(n_blocks, calls_at_s))
        tracemalloc.start()
        findings = plain.analyse(tmp_path / "endless.wav", MediaInfo(duration_s=10.0 * n_blocks))
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        assert len(findings.calls) == n_blocks * len(calls_at_s)
        return peak

    return measure


def test_memory_does_not_grow_with_the_take(peak_mb):
    # what may grow: the calls that are found, and levels of noise every tenth of a second
    assert peak_mb(80, [4.0]) < peak_mb(20, [4.0]) + 4


def test_memory_hardly_grows_with_the_calls_of_a_minute(peak_mb):
    """Each holds the sound around it while it is measured."""
    assert peak_mb(9, np.arange(0.5, 9.5, 0.6)) < peak_mb(9, [4.0]) + 40


def test_events_are_let_go_of_before_the_next_are_gathered(plain, tmp_path, monkeypatch):
    sound = hiss(28)
    for at_s in np.arange(0.5, 27.5, 0.6):
        sing(sound, at_s, 0.1)
    power = []  # of the events that were measured last
    left = []

    def measure_calls(found, *rest):
        power[:] = [weakref.ref(one.event.power) for one in found]
        return measuring.measure_calls(found, *rest)

    def measure_region(*event):
        left.append(sum(one() is not None for one in power))
        return events.measure_region(*event)

    monkeypatch.setattr(one_pass, "measure_calls", measure_calls)
    monkeypatch.setattr(one_pass, "measure_region", measure_region)
    assert len(found(plain, write(tmp_path / "a.wav", sound)).calls) == 45
    assert left == [0] * 45


# --- the model ------------------------------------------------------------------------------------


def test_a_missing_or_broken_model_is_named(tmp_path):
    with pytest.raises(ModelError, match=r"absent\.onnx.*install"):
        Finder.load(tmp_path / "absent.onnx")
    broken = tmp_path / "broken.onnx"
    broken.write_bytes(b"not a model")
    broken.with_suffix(".json").write_text("{}")
    with pytest.raises(ModelError, match=r"broken\.onnx.*install"):
        Finder.load(broken)


def test_finding_needs_no_librosa_no_torch_no_scikit_learn():
    # Each worker would pay for them in memory and start-up time.
    program = (
        "import sys; from calltag.learn.finding.finder import Finder; Finder.load();"
        "print([m for m in ('librosa', 'numba', 'torch', 'sklearn') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True,
        cwd=Path(finder_module.__file__).parents[3],
    )  # fmt: skip
    assert done.stdout.strip() == "[]"


def test_steps_and_frames_fit_together():
    assert 100 % STEPS_PER_S == 0
    assert CONTEXT_FRAMES % 20 == 0


# --- what is said of machines ---------------------------------------------------------------------


def motor(seconds, rate_hz, rng):
    """Firing pulses at a rate that wanders by a hundredth, through a box that rings."""
    n = round(seconds * RATE_HZ)
    knots = rng.normal(0, 0.01, round(seconds * 5) + 2)
    speed = rate_hz * (1 + np.interp(np.arange(n) / RATE_HZ * 5, np.arange(len(knots)), knots))
    fired = np.diff(np.floor(np.cumsum(speed) / RATE_HZ), prepend=0) > 0
    rung = sosfilt(butter(1, [60, 900], "band", fs=RATE_HZ, output="sos"), fired.astype(float))
    return 0.2 * rung / rung.std() + rng.normal(0, 0.01, n)


def test_the_log_says_how_fast_an_engine_runs(plain, tmp_path, rng):
    path = tmp_path / "engine.wav"
    sound = rng.normal(0, 1e-4, 100 * RATE_HZ)
    sound[10 * RATE_HZ : 95 * RATE_HZ] += motor(85, 75, rng)  # over the border of two windows
    sf.write(path, sound, RATE_HZ)
    machine = [n for n in plain.analyse(path, probe(path)).noise if n.kind == "machine"]
    assert machine
    # 75 Hz are 4500 turns a minute of an engine that fires at every turn
    assert all(n.detail == "beat of 75 Hz (4500 rpm if a one-cylinder two-stroke)" for n in machine)


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_the_log_says_that_the_mains_hum(plain, tmp_path, rng, mains_hz):
    path = tmp_path / "hum.wav"
    t = np.arange(20 * RATE_HZ) / RATE_HZ
    lines = sum(0.003 / k * np.sin(2 * np.pi * mains_hz * k * t) for k in (1, 2, 3, 4, 6))
    sf.write(path, lines + rng.normal(0, 3e-4, len(t)), RATE_HZ)
    hum = [n for n in plain.analyse(path, probe(path)).noise if n.detail.startswith("hum")]
    (span,) = hum
    assert span.detail == f"hum of the mains, {mains_hz} Hz and 4 of its multiples"
    assert (span.start_s, span.end_s) == pytest.approx((0, 20), abs=0.1)
    # the RMS level of the five sines
    power = sum((0.003 / k) ** 2 / 2 for k in (1, 2, 3, 4, 6))
    assert span.level_dbfs == pytest.approx(10 * np.log10(power), abs=0.3)


def test_no_hum_and_no_beat_in_plain_noise(plain, tmp_path, rng):
    path = tmp_path / "noise.wav"
    sf.write(path, rng.normal(0, 0.05, 20 * RATE_HZ), RATE_HZ)
    assert not any(n.detail for n in plain.analyse(path, probe(path)).noise)


def animals_that_beat(rng, seconds, rate_hz):
    """A long trill, a churr, a chorus of frogs, and a row of wide clicks, in quiet air."""
    n = round(seconds * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    air, hiss_ = (
        sosfilt(butter(2, band, "band", fs=RATE_HZ, output="sos"), rng.standard_normal(n))
        for band in ([100, 6000], [1500, 8000])
    )
    swell = np.sin(np.pi * rate_hz * t) ** 2 * (t % 6 < 5)

    def pulses(pulse):
        out = np.zeros(n)
        for of_rate in (0.93, 1.0, 1.06):
            for start in (np.arange(0.1, seconds - 0.2, 1 / (rate_hz * of_rate)) * RATE_HZ).astype(
                int
            ):
                out[start : start + len(pulse)] += rng.uniform(0.8, 1.2) * pulse
        return out

    croak = np.exp(-t[:3000] / 0.006) * np.sin(2 * np.pi * 1400 * t[:3000])
    click = np.exp(-t[:400] / 0.001) * np.sin(2 * np.pi * 3000 * t[:400])
    for sound in (
        0.05 * np.sin(2 * np.pi * 3200 * t) * swell,
        0.03 * hiss_ * swell,
        0.05 * pulses(croak),
        0.05 * pulses(click),
    ):
        yield 0.002 * air + sound


@pytest.mark.parametrize("rate_hz", [10, 18, 26, 35])
def test_animals_that_beat_are_no_machines(finder, tmp_path, rng, rate_hz):
    for i, sound in enumerate(animals_that_beat(rng, 12, rate_hz)):
        noise = found(finder, write(tmp_path / f"{i}.wav", sound)).noise
        assert sum(n.span.length_s for n in noise if n.kind == "machine") < 1.0, i


def test_clocks_gusts_rain_and_surf_are_no_machines(finder, tmp_path, rng):
    n = 12 * RATE_HZ
    t = np.arange(n) / RATE_HZ

    def band(low_hz, high_hz):
        filter_ = butter(2, [low_hz, high_hz], "band", fs=RATE_HZ, output="sos")
        return sosfilt(filter_, rng.standard_normal(n))

    tick = np.exp(-t[:1000] / 0.003) * np.sin(2 * np.pi * 3000 * t[:1000])
    sounds = {
        "gusts": 0.3 * band(20, 150) * np.maximum(0, np.sin(2 * np.pi * t / 5)) ** 2,
        "rain": 0.03 * band(800, 10_000),
        "surf": 0.1 * band(100, 4000) * (0.3 + np.maximum(0, np.sin(2 * np.pi * t / 6)) ** 2),
    }
    for per_s in (1, 2, 5, 8):
        clock = np.zeros(n)
        for start in (np.arange(0, 11.9, 1 / per_s) * RATE_HZ).astype(int):
            clock[start : start + 1000] += 0.05 * tick
        sounds[f"clock, {per_s} ticks a second"] = clock
    for name, sound in sounds.items():
        noise = found(finder, write(tmp_path / "take.wav", sound + 5e-4 * band(100, 6000))).noise
        assert not [n for n in noise if n.kind == "machine"], name


def test_gusts_and_knocks_from_sound_to_spans(finder, tmp_path, rng):
    n = 24 * RATE_HZ
    hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    shapes = [(np.maximum(hz, 60) / 60) ** -0.5, (np.maximum(hz, 40) / 40) ** -1.3 * (hz > 10)]
    air, wind = (np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * shape, n) for shape in shapes)
    sound = 0.002 * air / air.std()
    gusts_s, knocks_s = [(2, 5), (8, 10)], [13.0, 16.0, 19.5]
    for start_s, end_s in gusts_s:
        blows = slice(start_s * RATE_HZ, end_s * RATE_HZ)
        gate = np.hanning(blows.stop - blows.start) ** 0.7
        sound[blows] += 0.06 * gate * wind[blows] / wind.std()
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    for at_s in knocks_s:
        first = round(at_s * RATE_HZ)
        hit = np.sin(2 * np.pi * 90 * t) * np.exp(-t / 0.03) + 0.2 * rng.normal(
            0, np.exp(-t / 0.004)
        )
        sound[first : first + len(t)] += 0.3 * hit
    path = tmp_path / "rough.wav"
    sf.write(path, sound, RATE_HZ, subtype="PCM_24")
    noise = finder.analyse(path, probe(path)).noise
    for kind, places in (
        ("wind", gusts_s),
        ("handling", [(at_s, at_s + 0.1) for at_s in knocks_s]),
    ):
        spans = [n for n in noise if n.kind == kind]
        for start_s, end_s in places:
            assert any(n.start_s < end_s and n.end_s > start_s for n in spans), (kind, start_s)
        for n in spans:
            assert any(n.start_s < end_s + 1 and n.end_s > start_s - 1 for start_s, end_s in places)
