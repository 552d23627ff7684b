"""Calls of an animal near by in a chorus, and songs that stay whole."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import soundfile as sf
from hypothesis import example, given
from hypothesis import strategies as st

from calltag.arrays import FloatArray
from calltag.learn.finding import one_pass
from calltag.learn.finding.chorus import going_on, out_of_chorus
from calltag.learn.finding.finder import Finder
from calltag.learn.starter.synth_calls import FAMILIES
from calltag.media.probe import probe
from calltag.records.span import Span
from calltag.sound.spectrum import RATE_HZ

MINUTE_S = 60


def placed(scene: FloatArray, call: FloatArray, at_s: float, rms: float) -> Span:
    """Plant a call, its loud part at a level, and tell where that part is."""
    loud = np.flatnonzero(np.abs(call) > 0.05 * np.abs(call).max())
    call = call[loud[0] : loud[-1] + 1]
    first = round(at_s * RATE_HZ)
    call = call[: len(scene) - first]
    scene[first : first + len(call)] += rms * call / np.sqrt(np.mean(call**2))
    return Span(at_s, at_s + len(call) / RATE_HZ)


def crickets(rng: np.random.Generator, n: int) -> FloatArray:
    """Three crickets: tones in bursts of three to five beats, two or three times a second."""
    t = np.arange(n) / RATE_HZ
    sound = np.zeros(n)
    for _ in range(3):
        hz, bursts_hz, beats_hz = rng.uniform((3500, 1.5, 25), (7000, 3, 40))
        since_s = (t * bursts_hz % 1) / bursts_hz
        beat = np.maximum(0, np.sin(2 * np.pi * beats_hz * since_s))
        sound += np.sin(2 * np.pi * hz * t) * beat * (since_s < rng.integers(3, 6) / beats_hz)
    return sound / sound.std()


def voice(rng: np.random.Generator) -> FloatArray:
    """One invented call of two seconds at most."""
    make, _ = FAMILIES[rng.integers(len(FAMILIES))]
    return make(rng)()[: 2 * RATE_HZ]


def evening(seed: int, *, chorus: bool) -> tuple[FloatArray, list[Span]]:
    """Two animals near by call in a minute of air, with crickets or without."""
    rng = np.random.default_rng(seed)
    n = MINUTE_S * RATE_HZ
    scene = rng.normal(0, 0.001, n) + (0.01 * crickets(rng, n) if chorus else 0)
    near = [voice(rng) for _ in range(2)]
    calls, at_s = [], 2.0
    while at_s < MINUTE_S - 6:
        calls.append(placed(scene, near[rng.integers(2)], at_s, rng.uniform(0.05, 0.1)))
        at_s = calls[-1].end_s + rng.uniform(0.8, 5)
    return scene, calls


def iou(a: Span, b: Span) -> float:
    common = min(a.end_s, b.end_s) - max(a.start_s, b.start_s)
    return max(0.0, common) / (max(a.end_s, b.end_s) - min(a.start_s, b.start_s))


def found_in(finder: Finder, path: Path, *, chorus: bool, minutes: int) -> list[bool]:
    """Tell which near calls, of some minutes, are events of their own."""
    found = []
    for seed in range(minutes):
        scene, calls = evening(seed, chorus=chorus)
        sf.write(path, 0.5 * scene / np.abs(scene).max(), RATE_HZ, subtype="PCM_24")
        spans = [one.span for one in finder.analyse(path, probe(path)).calls]
        found += [max(iou(call, span) for span in spans) > 0.5 for call in calls]
    return found


def test_near_calls_are_found_among_crickets(finder, tmp_path, monkeypatch):
    path = tmp_path / "ashmere.wav"
    alone, among = (found_in(finder, path, chorus=chorus, minutes=4) for chorus in (False, True))
    assert np.mean(alone) > 0.95
    assert np.mean(among) > 0.8
    monkeypatch.setattr(one_pass, "going_on", lambda *_: [])
    still = found_in(finder, path, chorus=False, minutes=1)
    assert len(still) > 10
    assert still == alone[: len(still)]
    assert np.mean(found_in(finder, path, chorus=True, minutes=1)) < 0.2


def murmur(n: int) -> FloatArray:
    return np.random.default_rng(0).gamma(4, 0.25, (n, 64))


def test_what_lies_between_is_kept():
    power = murmur(1500)
    power[600:640, 20:24] *= 100
    assert out_of_chorus(power, 100, 1400) == [(100, 599), (599, 641), (641, 1400)]


def test_the_second_nearest_is_found_where_the_nearest_is_silent():
    power = murmur(1500)
    power[300:340, 20:24] *= 10_000
    power[900:940, 40:44] *= 100
    pieces = out_of_chorus(power, 0, 1500)
    assert [piece for piece in pieces if piece[1] - piece[0] < 60] == [(299, 341), (899, 941)]


def test_a_steady_reel_is_one():
    power = murmur(3000)
    power[:, 40:46] *= 100
    assert out_of_chorus(power, 0, 3000) == [(0, 3000)]


def test_a_song_of_many_notes_is_one():
    power = murmur(1500)
    rng = np.random.default_rng(1)
    for at in range(500, 900, 20):  # fifty milliseconds and more between them
        band = int(rng.integers(10, 55))
        power[at : at + 12, band : band + 3] *= 300
    assert out_of_chorus(power, 500, 900) == [(500, 900)]


def test_a_call_that_swells_is_one():
    power = murmur(1500)
    power[600:700, 20:24] *= 30
    power[700:730, 20:24] *= 1000
    assert (600, 730) in out_of_chorus(power, 600, 730)
    power[600:700, 20:24], power[600:700, 40:44] = power[600:700, 40:44], power[600:700, 20:24]
    assert len(out_of_chorus(power, 600, 730)) > 1


def test_a_call_by_itself_does_not_go_on():
    assert going_on([(600, 750)], 1500) == []
    assert going_on([(600, 850)], 1500) == [0]


def test_where_most_is_events_all_of_them_go_on():
    events = [(first, first + 130) for first in range(0, 1500, 150)]
    assert going_on(events, 1500) == list(range(1, 9))
    assert going_on(events[::2], 1500) == []


@given(
    st.integers(0, 400),
    st.integers(401, 1100),
    st.lists(st.tuples(st.integers(0, 990), st.integers(0, 60)), max_size=20),
)
@example(0, 401, [(0, 0)] * 5 + [(1, 0)])  # so loud that what comes after is lost in rounding
def test_pieces_lie_in_order_in_their_event(first, last, loud):
    power = murmur(1000)
    for step, band in loud:
        power[step : step + 10, band] *= 1000
    pieces = out_of_chorus(power, first, last)
    assert pieces
    assert all(begin < end for begin, end in pieces)
    assert all(a[1] <= b[0] for a, b in pairwise(pieces))
    assert first <= pieces[0][0]
    assert pieces[-1][1] <= min(last, 1000)
