"""Calls of a near animal among many farther away, and songs that stay whole."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import soundfile as sf
from hypothesis import given
from hypothesis import strategies as st

from calltag.learn import segments as segments_module
from calltag.learn.chorus import out_of_chorus
from calltag.learn.finder import Finder
from calltag.learn.starter.synth_calls import FAMILIES
from calltag.media.probe import probe
from calltag.records import FloatArray, Span
from calltag.sound.spectrum import RATE_HZ

GAP = 15
MINUTE_S = 60


def placed(scene: FloatArray, call: FloatArray, at_s: float, rms: float) -> Span:
    """Plant a call, its loud part at a level, and tell where that part is."""
    loud = np.flatnonzero(np.abs(call) > 0.05 * np.abs(call).max())
    call = call[loud[0] : loud[-1] + 1]
    first = round(at_s * RATE_HZ)
    call = call[: len(scene) - first]
    scene[first : first + len(call)] += rms * call / np.sqrt(np.mean(call**2))
    return Span(at_s, at_s + len(call) / RATE_HZ)


def voice(rng: np.random.Generator) -> FloatArray:
    """One invented call of two seconds at most."""
    make, _ = FAMILIES[rng.integers(len(FAMILIES))]
    return make(rng)()[: 2 * RATE_HZ]


def first_light(seed: int, far_calls: int) -> tuple[FloatArray, list[Span]]:
    """Two near animals call in a minute of air, and six far ones a tenth as loud."""
    rng = np.random.default_rng(seed)
    scene = rng.normal(0, 0.001, MINUTE_S * RATE_HZ)
    far, near = ([voice(rng) for _ in range(n)] for n in (6, 2))
    for _ in range(far_calls):
        at_s, rms = rng.uniform(0, MINUTE_S - 3), rng.uniform(0.002, 0.01)
        placed(scene, far[rng.integers(6)], at_s, rms)
    calls, at_s = [], 2.0
    while at_s < MINUTE_S - 6:
        calls.append(placed(scene, near[rng.integers(2)], at_s, rng.uniform(0.08, 0.12)))
        at_s = calls[-1].end_s + rng.uniform(0.8, 5)
    return scene, calls


def iou(a: Span, b: Span) -> float:
    common = min(a.end_s, b.end_s) - max(a.start_s, b.start_s)
    return max(0.0, common) / (max(a.end_s, b.end_s) - min(a.start_s, b.start_s))


def share_found(finder: Finder, path: Path, far_calls: int) -> float:
    """Share of near calls, of four minutes, that are events of their own."""
    found = []
    for seed in range(4):
        scene, calls = first_light(seed, far_calls)
        sf.write(path, 0.5 * scene / np.abs(scene).max(), RATE_HZ, subtype="PCM_24")
        spans = [one.span for one in finder.analyse(path, probe(path)).calls]
        found += [max(iou(call, span) for span in spans) > 0.5 for call in calls]
    return float(np.mean(found))


def test_near_calls_are_found_in_a_chorus(tmp_path, monkeypatch):
    finder, path = Finder.load(), tmp_path / "ashmere.wav"
    alone, in_chorus = (share_found(finder, path, far_calls) for far_calls in (0, 150))
    assert alone > 0.75
    assert in_chorus > 0.5
    monkeypatch.setattr(segments_module, "out_of_chorus", lambda segments, *_, **__: segments)
    assert share_found(finder, path, 0) == alone
    assert share_found(finder, path, 150) < 0.4


def murmur(n: int) -> FloatArray:
    return np.random.default_rng(0).gamma(4, 0.25, (n, 64))


def test_what_lies_between_is_kept():
    power = murmur(1500)
    power[600:640, 20:24] *= 100
    assert out_of_chorus([(100, 1400)], power, gap=GAP) == [(100, 599), (599, 641), (641, 1400)]


def test_the_second_nearest_is_found_where_the_nearest_is_silent():
    power = murmur(1500)
    power[300:340, 20:24] *= 10_000
    power[900:940, 40:44] *= 100
    pieces = out_of_chorus([(0, 1500)], power, gap=GAP)
    assert [piece for piece in pieces if piece[1] - piece[0] < 60] == [(299, 341), (899, 941)]


def test_a_steady_reel_is_one():
    power = murmur(3000)
    power[:, 40:46] *= 100
    assert out_of_chorus([(0, 3000)], power, gap=GAP) == [(0, 3000)]


def test_a_song_of_many_notes_is_one():
    power = murmur(1500)
    rng = np.random.default_rng(1)
    for at in range(500, 900, 20):  # fifty milliseconds and more between them
        band = int(rng.integers(10, 55))
        power[at : at + 12, band : band + 3] *= 300
    assert out_of_chorus([(500, 900)], power, gap=GAP) == [(500, 900)]


def test_an_uneven_call_by_itself_is_one():
    power = murmur(1500)
    power[600:700, 20:24] *= 10
    power[700:730, 20:24] *= 1000
    assert out_of_chorus([(600, 730)], power, gap=GAP) == [(600, 730)]


def test_in_a_busy_place_it_is_two():
    power = murmur(1500)
    power[600:700, 20:24] *= 10
    power[700:730, 40:44] *= 1000
    around = [(first, first + 130) for first in range(0, 1500, 150)]
    around[4] = (600, 730)
    pieces = out_of_chorus(around, power, gap=GAP)
    assert pieces == [*around[:4], (600, 699), (699, 730), *around[5:]]


@given(
    st.lists(st.integers(0, 40), min_size=2, max_size=12, unique=True),
    st.lists(st.tuples(st.integers(0, 990), st.integers(0, 60)), max_size=20),
)
def test_pieces_lie_in_order_in_their_events(cuts, loud):
    edges = [25 * cut for cut in sorted(cuts)]
    events = list(zip(edges[::2], edges[1::2], strict=False))
    power = murmur(1000)
    for step, band in loud:
        power[step : step + 10, band] *= 1000
    pieces = out_of_chorus(events, power, gap=GAP)
    assert all(first < last for first, last in pieces)
    assert all(a[1] <= b[0] for a, b in pairwise(pieces))
    for first, last in pieces:
        assert any(begin <= first and last <= end for begin, end in events)
    for event in events:
        assert any(event[0] <= first and last <= event[1] for first, last in pieces)
