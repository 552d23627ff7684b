"""Two takes compared by their sound: where, how well, and when it is refused."""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import correlate, correlation_lags

from calltag.edit.sync import comparing
from calltag.edit.sync.comparing import Outcome, compare
from calltag.edit.sync.search import Bounds
from calltag.edit.sync.trace import EVEN_RATE_HZ, trace_take

DEMO = Path(__file__).resolve().parents[3] / "demo_audio"
RATE_HZ = 48_000
CLOSE_S = 0.005
"""What an edit needs: an eighth of a frame at 25 a second. All that is found is far closer."""


# Where


@settings(max_examples=8, deadline=None)
@given(shift=st.integers(-4 * RATE_HZ, 4 * RATE_HZ), seed=st.integers(0, 99))
def test_the_same_sound_is_found_to_a_tenth_of_a_millisecond(shift: int, seed: int, pairs) -> None:
    sound = np.random.default_rng(seed).normal(0, 0.1, 16 * RATE_HZ)
    a, b = sound[max(0, -shift) :][: 10 * RATE_HZ], sound[max(0, shift) :][: 10 * RATE_HZ]
    found = compare(pairs.traced(a), pairs.traced(b))
    assert found.outcome is Outcome.LINED_UP
    assert found.alignment.offset_s == pytest.approx(shift / RATE_HZ, abs=1e-4)
    assert found.alignment.drift_ppm == pytest.approx(0, abs=2)
    assert found.alignment.overlap_s == pytest.approx(10 - abs(shift) / RATE_HZ, abs=1e-3)
    assert found.alignment.confidence > 0.99


def test_a_plain_correlation_agrees(pairs) -> None:
    """With little noise, little room and no drift, scipy's own correlation tells the same lag."""
    rng = np.random.default_rng(3)
    events = pairs.chorus(rng, 20)
    dry = np.zeros(30 * RATE_HZ)
    for at, sound in events:
        dry[at : at + len(sound)] += sound
    a = (dry + 0.01 * pairs.pink(rng, len(dry)))[: 20 * RATE_HZ]
    b = (0.1 * dry + 0.001 * pairs.pink(rng, len(dry)))[4 * RATE_HZ : 19 * RATE_HZ]
    lags = correlation_lags(len(a), len(b))
    reference_s = lags[np.abs(correlate(a, b, method="fft")).argmax()] / RATE_HZ
    found = compare(pairs.traced(a), pairs.traced(b))
    assert found.alignment.offset_s == pytest.approx(reference_s, abs=1e-4)


@pytest.mark.parametrize(
    ("seed", "conditions"),
    [
        (6, {"snr_db": 10.0, "rate_b_hz": 32_000, "level_b_db": -30.0}),
        (2, {"snr_db": 10.0, "rate_b_hz": 48_000, "drift_ppm": 120.0}),
        (3, {"snr_db": 5.0, "level_b_db": 6.0}),
        (4, {"snr_db": 0.0, "seconds": 40.0}),
        (5, {"snr_db": 0.0, "seconds": 32.0}),
    ],
)
def test_two_microphones_are_lined_up(pairs, seed: int, conditions: dict) -> None:
    """Own noise, wind, room, clock, level and sampling rate."""
    pair = pairs.make_pair(seed, **({"seconds": 24.0} | conditions))
    found = compare(pairs.traced(pair.a), pairs.traced(pair.b, pair.rate_b_hz))
    assert found.outcome is Outcome.LINED_UP
    assert pair.worst_error_s(found.alignment) < CLOSE_S / 5
    assert found.alignment.drift_ppm == pytest.approx(pair.drift_ppm, abs=40)


def test_a_glance_is_enough_for_what_both_heard_clearly(pairs, monkeypatch) -> None:
    """As where a clock was set anew; the evened sound is not searched."""
    monkeypatch.setattr(comparing, "search_sound", lambda *_: pytest.fail("searched"))
    pair = pairs.make_pair(7, seconds=24.0, snr_db=10.0)
    a, b = pairs.traced(pair.a), pairs.traced(pair.b, pair.rate_b_hz)
    for one, other in ((a, b), (b, a)):
        assert compare(one, other, glance=True).outcome is Outcome.LINED_UP


@pytest.mark.parametrize("seed", [13, 15])
def test_it_is_closer_than_a_quarter_of_what_a_sample_of_the_trace_lasts(pairs, seed: int) -> None:
    """Windows tell lags between samples, and those that tell them worse count for less."""
    pair = pairs.make_pair(seed, seconds=24.0, snr_db={13: 5.0, 15: 10.0}[seed], drift_ppm=20.0)
    found = compare(pairs.traced(pair.a), pairs.traced(pair.b, pair.rate_b_hz))
    assert pair.worst_error_s(found.alignment) < 0.25 / EVEN_RATE_HZ


def test_a_long_take_is_lined_up_where_both_heard_the_same(pairs) -> None:
    """Of two minutes and more not every moment is looked at, and in many there is noise alone."""
    pair = pairs.make_pair(21, seconds=150.0, snr_db=0.0, overlap=(0.9, 0.95))
    found = compare(pairs.traced(pair.a), pairs.traced(pair.b, pair.rate_b_hz))
    assert pair.worst_error_s(found.alignment) < 0.25 / EVEN_RATE_HZ


def test_it_does_not_matter_which_take_comes_first(pairs) -> None:
    pair = pairs.make_pair(4, snr_db=10.0, seconds=24.0)
    a, b = pairs.traced(pair.a), pairs.traced(pair.b[: 18 * pair.rate_b_hz], pair.rate_b_hz)
    one, other = compare(a, b).alignment, compare(b, a).alignment
    for at_s in (0.0, 10.0, 20.0):
        assert other.in_a(at_s) == pytest.approx(one.in_b(at_s), abs=1e-6)
        assert other.in_b(at_s) == pytest.approx(one.in_a(at_s), abs=1e-6)


def test_an_inverted_channel_is_lined_up(pairs) -> None:
    pair = pairs.make_pair(2, snr_db=10.0, seconds=16.0)
    a = pairs.traced(pair.a)
    upright = compare(a, pairs.traced(pair.b, pair.rate_b_hz)).alignment
    found = compare(a, pairs.traced(-pair.b, pair.rate_b_hz)).alignment
    assert found.offset_s == pytest.approx(upright.offset_s, abs=1e-5)


def test_a_faster_clock_has_drift_above_zero(rng, pairs) -> None:
    """B's clock counts 100 samples in a million too many, so it hears things ever later."""
    sound = rng.normal(0, 0.1, 30 * RATE_HZ)
    faster = soxr.resample(sound, RATE_HZ, RATE_HZ * (1 + 100e-6))
    found = compare(pairs.traced(sound), pairs.traced(faster)).alignment
    assert found.drift_ppm == pytest.approx(100, abs=2)
    assert found.in_b(30.0) == pytest.approx(30.003, abs=2e-4)


# When it is refused


def test_unrelated_takes_have_no_common_sound(pairs) -> None:
    traces = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        noise = (pairs.windy if seed % 2 else pairs.pink)(rng, 12 * RATE_HZ)
        kind = 1 if seed > 3 else None  # the last two: one species only
        traces.append(pairs.traced(pairs.heard(rng, pairs.chorus(rng, 12, kind=kind), noise, 10)))
    outcomes = [compare(a, b).outcome for i, a in enumerate(traces) for b in traces[i + 1 :]]
    assert len(outcomes) == 15
    assert Outcome.LINED_UP not in outcomes
    assert outcomes.count(Outcome.NOTHING) >= 13


@pytest.mark.parametrize("every_s", [1.0, 0.13])
def test_a_sound_that_repeats_is_not_certain(pairs, every_s: float) -> None:
    """The same tick, again and again: as good a second later."""
    rng = np.random.default_rng(5)
    tick = pairs.band_noise(rng, 2400, 2500, 6000) * np.exp(-np.arange(2400) / 400)
    sounds = []
    for begin in (0.2, 0.55):
        times = np.arange(begin, 19.5, every_s)
        events = [(int(t * RATE_HZ), tick) for t in times]
        sounds.append(pairs.heard(rng, events, pairs.pink(rng, 20 * RATE_HZ), 20))
    found = compare(*map(pairs.traced, sounds))
    assert found.outcome is Outcome.UNSURE
    assert found.reason.startswith("the sound repeats")
    assert found.alignment.confidence <= 0.5


def test_engines_at_the_same_speed_are_not_lined_up(pairs) -> None:
    sounds = [
        pairs.engine(np.random.default_rng(seed), 12 * RATE_HZ).astype(np.float32)
        for seed in (1, 2)
    ]
    assert compare(*map(pairs.traced, sounds)).outcome is not Outcome.LINED_UP


def test_one_sound_that_both_heard_is_not_enough(pairs) -> None:
    """A phrase that is played twice agrees with itself; the calls around it do not."""
    rng = np.random.default_rng(8)
    phrase = np.concatenate([pairs.call(rng) for _ in range(4)])
    sounds = []
    for at_s in (3.0, 11.0):
        events = [e for e in pairs.chorus(rng, 20) if not at_s - 1 < e[0] / RATE_HZ < at_s + 3]
        events.append((int(at_s * RATE_HZ), phrase))
        sounds.append(pairs.heard(rng, events, pairs.pink(rng, 20 * RATE_HZ), 15))
    found = compare(*map(pairs.traced, sounds))
    assert found.outcome is Outcome.UNSURE
    assert found.reason == "only one sound agrees, which may have occurred twice"
    assert found.alignment.offset_s == pytest.approx(-8.0, abs=0.005)


def test_the_user_may_say_where_to_look(pairs) -> None:
    """Of the places that a tick a second leaves, the one that is near."""
    rng = np.random.default_rng(5)
    tick = pairs.band_noise(rng, 2400, 2500, 6000) * np.exp(-np.arange(2400) / 400)
    events = [(int(t * RATE_HZ), tick) for t in np.arange(0.2, 29.5)]
    a, b = (pairs.heard(rng, events, pairs.pink(rng, 30 * RATE_HZ), 20) for _ in range(2))
    takes = pairs.traced(a[: 20 * RATE_HZ]), pairs.traced(b[7 * RATE_HZ :][: 20 * RATE_HZ])
    assert compare(*takes).outcome is Outcome.UNSURE
    for bounds, turned in ((Bounds(6.6, 7.4), False), (Bounds(-7.4, -6.6), True)):
        ordered = takes[::-1] if turned else takes
        found = compare(*ordered, bounds=bounds)
        assert found.outcome is Outcome.LINED_UP
        assert abs(found.alignment.offset_s) == pytest.approx(7.0, abs=0.001)


def test_silence_is_said(rng, pairs) -> None:
    sound = pairs.traced(rng.normal(0, 0.1, 5 * RATE_HZ))
    silent = pairs.traced(np.zeros(5 * RATE_HZ))
    found = compare(sound, silent, "a.mov", "b.mov")
    assert (found.outcome, found.reason) == (Outcome.NOTHING, "b.mov is silent")


@pytest.mark.parametrize("lengths_s", [(0.01, 5), (1.0, 1.0), (0.4, 0.4), (3.0, 1.5)])
def test_very_short_takes_are_not_lined_up(rng, lengths_s, pairs) -> None:
    sound = rng.normal(0, 0.1, 5 * RATE_HZ)
    takes = (pairs.traced(sound[: int(s * RATE_HZ)]) for s in lengths_s)
    assert compare(*takes).outcome is Outcome.NOTHING


def test_takes_that_ran_at_other_times_are_not_searched(rng, pairs, monkeypatch) -> None:
    monkeypatch.setattr(comparing, "search_sound", None)  # not called
    one = pairs.traced(pairs.pink(rng, 16 * RATE_HZ))
    for low_s, high_s in ((16.0, 36.0), (-36.0, -16.0)):
        found = compare(one, one, bounds=Bounds(low_s, high_s))
        assert found.outcome is Outcome.NOTHING
        assert found.reason.startswith("they did not run at the same time")


# The demo, and real recordings


def test_the_demos_two_cameras() -> None:
    """Offset and drift as demo_audio/sync.csv states them."""
    first = trace_take(DEMO / "ASH_A_0031.MP4")
    found = compare(first, trace_take(DEMO / "ASH_B_0012.MOV"))
    assert found.outcome is Outcome.LINED_UP
    assert found.alignment.offset_s == pytest.approx(5.540, abs=0.001)
    assert found.alignment.drift_ppm == pytest.approx(80, abs=40)
    for name in ("ASH_A_0032.MP4", "ASH_A_0040.MP4", "ASH_R_0007.WAV"):
        assert compare(first, trace_take(DEMO / name)).outcome is Outcome.NOTHING


@pytest.mark.field
def test_real_recordings_in_rain_and_surf(field: Path, pairs) -> None:
    """Real calls in real noise, 5 dB above it, from the field folder (ESC-10, Debian's stamps)."""

    def load(path: Path) -> np.ndarray:
        sound, rate_hz = sf.read(path, always_2d=True)
        sound = soxr.resample(sound.mean(axis=1), rate_hz, RATE_HZ)
        heard = np.flatnonzero(np.abs(sound) > 0.02 * np.abs(sound).max())
        return sound[heard[0] : heard[-1] + 1]

    unused = [
        path
        for kind in ("rain", "sea_waves", "fire_crackling")
        for path in sorted((field / "esc10" / kind).glob("*.ogg"))
    ]
    np.random.default_rng(1).shuffle(unused)

    def bed(rng: np.random.Generator, n: int) -> np.ndarray:
        """Noise of clips that no other microphone has."""
        pieces: list[np.ndarray] = []
        while sum(map(len, pieces)) < n:
            piece = load(unused.pop())
            pieces.append(0.01 * piece / piece.std())
        return np.concatenate(pieces)[:n]

    calls = [load(path)[: 3 * RATE_HZ] for path in sorted((field / "calls").glob("*.ogg"))]
    made = [
        pairs.make_pair(seed, snr_db=5.0, calls=calls, noises=[bed], seconds=24.0)
        for seed in range(2)
    ]
    traces = [(pairs.traced(p.a), pairs.traced(p.b, p.rate_b_hz)) for p in made]
    for (i, pair), (j, _) in product(enumerate(made), repeat=2):
        found = compare(traces[i][0], traces[j][1])
        if i == j:
            assert found.outcome is Outcome.LINED_UP
            assert pair.worst_error_s(found.alignment) < CLOSE_S
        else:  # the same recordings, but another moment
            assert found.outcome is not Outcome.LINED_UP


def test_a_picture_that_starts_late_is_allowed_for(tmp_path: Path, make_clip, rng) -> None:
    """Second 0 is the first picture: sound that starts 0.4 s after it is heard 0.4 s later."""
    sound = rng.normal(0, 0.1, (1, 8 * RATE_HZ)).astype(np.float32)
    early, late = (
        make_clip(
            tmp_path / f"{delay_s}.mov",
            seconds=9,
            fps=Fraction(25),
            samples=sound,
            audio_codec="pcm_s16le",
            sound_delay_s=delay_s,
        )
        for delay_s in (0.0, 0.4)
    )
    found = compare(trace_take(early), trace_take(late))
    assert found.alignment.offset_s == pytest.approx(-0.4, abs=2e-4)
